package fhirapi

import (
	"context"
	"encoding/base64"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/store"

	r4 "github.com/samply/golang-fhir-models/fhir-models/fhir"
)

// Parameters of a history.
const (
	sinceParam = "_since"
	countParam = "_count"
	pageParam  = "_page"
)

// Sizes of a page of a history, where the client or the options name none.
const (
	defaultPage = 50
	largestPage = 200
)

// past is a history that is asked for, as understood.
type past struct {
	store.HistoryQuery
	used url.Values // parameters that had an effect
}

// understandPast reads the parameters of a history. As in a search, one that is
// not known is ignored, or refused under handling=strict.
func (s *server) understandPast(a *ask, raw string) error {
	bad := func(name, text string) error {
		return ofParameter(name, casework.Refuse(casework.ErrMalformed, fhir.CodeValue, a.element("url"), name+": "+text))
	}
	values, err := url.ParseQuery(raw)
	if err != nil {
		return casework.Refuse(casework.ErrMalformed, fhir.CodeStructure, a.element("url"),
			"the parameters are not well formed: name=value, joined by &, with other signs escaped")
	}
	p := past{used: url.Values{}, HistoryQuery: store.HistoryQuery{Type: a.typ, ID: a.id, Count: defaultPage}}
	largest := orDefault(s.MaxCount, largestPage)
	for name, all := range values {
		all = slices.DeleteFunc(slices.Clone(all), func(v string) bool { return v == "" })
		known := slices.Contains([]string{sinceParam, countParam, pageParam, formatParam}, name)
		switch {
		case len(all) == 0:
			continue
		case !known && s.strict(a):
			return ofParameter(name, casework.Refuse(casework.ErrMalformed, fhir.CodeNotSupported, a.element("url"),
				"a history takes _since, _count and _page, and no other parameter"))
		case !known:
			continue
		case len(all) > 1:
			return bad(name, "may be given once")
		}
		ok := true
		switch name {
		case sinceParam:
			p.Since, ok = instantOf(all[0], s.Zone)
		case countParam:
			p.Count, err = strconv.Atoi(all[0])
			ok = err == nil && p.Count >= 0
		case pageParam:
			p.After, ok = parsePlace(all[0], a)
		}
		if !ok {
			return bad(name, "cannot be read: _since is an instant or a date, _count a whole number from 0, _page comes from a link of this history")
		}
		p.used[name] = all
	}
	p.Count = min(p.Count, largest)
	a.past = p
	return nil
}

// instantOf is the first moment of a date or an instant.
func instantOf(text string, zone *time.Location) (time.Time, bool) {
	d, err := fhir.ParseSearchDate(text)
	if err != nil {
		return time.Time{}, false
	}
	start, _ := d.Interval(zone)
	return start, true
}

// place is the opaque text that continues a history after a version.
func place(a *ask, m store.Moment) string {
	return base64.RawURLEncoding.EncodeToString([]byte(strings.Join([]string{
		a.typ, a.id, strconv.FormatInt(m.Updated.UnixMicro(), 10), m.Type, m.ID, strconv.FormatInt(m.Version, 10)}, " ")))
}

// parsePlace is the inverse of place, for the same history.
func parsePlace(text string, a *ask) (*store.Moment, bool) {
	raw, err := base64.RawURLEncoding.Strict().DecodeString(text)
	if err != nil {
		return nil, false
	}
	parts := strings.Split(string(raw), " ")
	if len(parts) != 6 || parts[0] != a.typ || parts[1] != a.id {
		return nil, false
	}
	at, err1 := strconv.ParseInt(parts[2], 10, 64)
	version, err2 := strconv.ParseInt(parts[5], 10, 64)
	return &store.Moment{Updated: time.UnixMicro(at), Type: parts[3], ID: parts[4], Version: version}, err1 == nil && err2 == nil
}

// history carries a history out. A page of none is asked for to see whether the
// address is known.
func (s *server) history(ctx context.Context, a *ask) (reply, error) {
	if a.id != "" && !validID(a.id) {
		return reply{}, casework.Refuse(casework.ErrNotFound, "not-found", a.at, "there is no such "+a.typ)
	}
	page, err := s.Office.History(ctx, a.past.HistoryQuery)
	if err != nil {
		return reply{}, err
	}
	b := fhir.NewResultBundle(r4.BundleTypeHistory)
	if a.id != "" {
		b.Total = &page.Total
	}
	b.AddLink("self", s.pastLink(a, a.past.used))
	if page.More && len(page.Items) > 0 {
		next := url.Values{}
		for name, v := range a.past.used {
			next[name] = v
		}
		next.Set(pageParam, place(a, page.Items[len(page.Items)-1].Moment()))
		b.AddLink("next", s.pastLink(a, next))
	}
	for _, v := range page.Items {
		b.AddVersion(s.versionOf(v))
	}
	body, err := fhir.Marshal(b)
	return reply{status: http.StatusOK, body: body}, err
}

// versionOf is one version as an entry of a history: what would have made it.
func (s *server) versionOf(v store.Stored) fhir.VersionEntry {
	e := fhir.VersionEntry{
		FullURL: s.Base + "/" + v.Type + "/" + v.ID, Method: http.MethodPut, URL: v.Type + "/" + v.ID,
		Status: statusLine(http.StatusOK), ETag: etag(v.Version), LastModified: v.Updated.In(s.Zone), Resource: v.Body,
	}
	switch {
	case v.Deleted:
		e.Method, e.Status, e.Resource = http.MethodDelete, statusLine(http.StatusNoContent), nil
	case v.Version == 1:
		e.Method, e.URL, e.Status = http.MethodPost, v.Type, statusLine(http.StatusCreated)
	}
	return e
}

func (s *server) pastLink(a *ask, values url.Values) string {
	link := s.Base
	for _, part := range []string{a.typ, a.id} {
		if part != "" {
			link += "/" + part
		}
	}
	link += "/_history"
	if len(values) > 0 {
		link += "?" + values.Encode()
	}
	return link
}

package fhirapi

import (
	"encoding/base64"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"github.com/gin-gonic/gin"
	r4 "github.com/samply/golang-fhir-models/fhir-models/fhir"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/casework"
)

// bundle takes a transaction or a batch.
func (s *server) bundle(c *gin.Context) {
	body, err := s.received(c)
	if err != nil {
		s.fail(c, err)
		return
	}
	c.Data(http.StatusOK, mediaType, body)
}

// received carries a Bundle out and gives the response Bundle.
func (s *server) received(c *gin.Context) ([]byte, error) {
	h := c.Request.Header
	if err := bodyIsJSON(h); err != nil {
		return nil, err
	}
	for _, name := range []string{"If-Match", "If-None-Match", "If-None-Exist"} {
		if h.Get(name) != "" {
			return nil, casework.Refuse(casework.ErrMalformed, fhir.CodeInvariant, "",
				name+" does not belong to a Bundle: its entries have their own in Bundle.entry.request")
		}
	}
	body, err := readBody(c, s.MaxBundle)
	if err != nil {
		return nil, err
	}
	res, issues := fhir.Parse(body, s.MaxBundle)
	if len(issues) > 0 {
		return nil, contentRefusal(issues)
	}
	if res.Type != "Bundle" {
		return nil, casework.Refuse(casework.ErrMalformed, fhir.CodeStructure, res.Type,
			"this address takes a Bundle; a single "+res.Type+" goes to the address of its type")
	}
	if t := res.String("type"); t != "transaction" && t != "batch" {
		return nil, casework.Refuse(casework.ErrInvalid, fhir.CodeNotSupported, "Bundle.type",
			"Bundle.type must be transaction or batch here: only these say what is to be done")
	}
	b, issues := res.Bundle(s.MaxEntries)
	if len(issues) > 0 {
		return nil, contentRefusal(issues)
	}
	m := message{c: c, bundle: b, prefer: preferred(h), sent: sent{
		source: sourceOfBundle(res, b), contentType: c.GetHeader("Content-Type"), method: http.MethodPost, body: body,
	}}
	if b.Type == "batch" {
		return s.batch(&m)
	}
	return s.transaction(&m)
}

// message is one received Bundle.
type message struct {
	c      *gin.Context
	bundle *fhir.Bundle
	prefer preferences
	sent   sent
}

// sourceOfBundle is who sent a Bundle: as it says itself, or as the first of
// its resources that does.
func sourceOfBundle(res *fhir.Resource, b *fhir.Bundle) string {
	if source := res.String("meta", "source"); source != "" {
		return source
	}
	fallback := ""
	for _, e := range b.Entries {
		if e.Resource == nil {
			continue
		}
		if source := e.Resource.String("meta", "source"); source != "" {
			return source
		}
		if fallback == "" {
			fallback = sourceOf(e.Resource)
		}
	}
	return fallback
}

// delivery reads what the entries of a transaction ask for.
func (s *server) delivery(m *message) (casework.Delivery, []*ask, error) {
	asks := make([]*ask, len(m.bundle.Entries))
	d := casework.Delivery{
		Source: m.sent.source, ContentType: m.sent.contentType, Method: m.sent.method, Target: m.sent.target, Body: m.sent.body,
	}
	for n := range m.bundle.Entries {
		a, err := s.entry(m, &m.bundle.Entries[n])
		if err != nil {
			return d, nil, whole(err)
		}
		if o, _ := offered(a.typ); a.kind.writes() && !o.received {
			return d, nil, casework.Refuse(casework.ErrInvalid, fhir.CodeBusinessRule, a.element("url"),
				"a "+a.typ+" is changed one by one: send it by itself or in a batch, not in a transaction")
		}
		asks[n] = a
		if a.kind.writes() {
			d.Requests = append(d.Requests, a.request())
		}
	}
	return d, asks, nil
}

// transaction carries all entries out or none.
func (s *server) transaction(m *message) ([]byte, error) {
	d, asks, err := s.delivery(m)
	if err != nil {
		return nil, err
	}
	var results []casework.Result
	if len(d.Requests) > 0 {
		if results, err = s.Office.Receive(m.c.Request.Context(), d); err != nil {
			return nil, locate(err, asks)
		}
	}
	out := fhir.NewResultBundle(r4.BundleTypeTransactionResponse)
	for _, a := range asks {
		if a.kind.writes() {
			out.AddResult(s.result(a, replyTo(results[0])))
			results = results[1:]
			continue
		}
		out.AddResult(s.one(m, a, nil))
	}
	return s.finished(m, out)
}

// batch carries each entry out for itself, in the order they were sent.
func (s *server) batch(m *message) ([]byte, error) {
	out := fhir.NewResultBundle(r4.BundleTypeBatchResponse)
	for n := range m.bundle.Entries {
		a, err := s.entry(m, &m.bundle.Entries[n])
		out.AddResult(s.one(m, a, err))
		if err := m.c.Request.Context().Err(); err != nil {
			return nil, err // nobody waits for the rest
		}
	}
	return s.finished(m, out)
}

// one carries one entry out, unless it was refused already.
func (s *server) one(m *message, a *ask, refused error) fhir.EntryResult {
	if refused != nil {
		return s.failed(m.c, refused)
	}
	r, err := s.carryOut(m.c.Request.Context(), a)
	if err != nil {
		return s.failed(m.c, a.placed(err))
	}
	return s.result(a, r)
}

// placed gives the refusal of an entry that reads its place in the Bundle.
func (a *ask) placed(err error) error {
	var r *casework.Refusal
	if !a.kind.writes() && errors.As(err, &r) {
		for n := range r.Issues {
			r.Issues[n].Expression = a.element("url")
		}
	}
	return err
}

func (s *server) finished(m *message, out *fhir.ResultBundle) ([]byte, error) {
	if err := m.c.Request.Context().Err(); err != nil {
		return nil, err
	}
	return fhir.Marshal(out)
}

func (i interaction) writes() bool { return i == create || i.changes() }

// whole turns the refusal of an entry into that of a transaction: what is not
// served for an entry is a fault of the Bundle, not of the address.
func whole(err error) error {
	f := failureOf(err)
	if f.status != http.StatusNotFound && f.status != http.StatusMethodNotAllowed {
		return err
	}
	return &casework.Refusal{Err: casework.ErrInvalid, Issues: f.outcome(err, "")}
}

// entry reads what an entry asks for.
func (s *server) entry(m *message, e *fhir.Entry) (*ask, error) {
	if len(e.Issues) > 0 {
		return nil, contentRefusal(e.Issues)
	}
	a := &ask{at: fmt.Sprintf("Bundle.entry[%d]", e.Index), prefer: m.prefer, fullURL: e.FullURL, resource: e.Resource,
		conditions: conditions{e.IfMatch, e.IfNoneMatch, e.IfNoneExist, e.IfModifiedSince}}
	if e.Resource != nil && len(e.Resource.Raw) > s.MaxResource {
		return nil, casework.Refuse(errTooLarge, fhir.CodeTooLong, a.at+".resource",
			fmt.Sprintf("the resource is larger than the %d bytes that are allowed for one", s.MaxResource))
	}
	raw, err := a.address(e)
	if err != nil {
		return nil, err
	}
	if err := a.served(e.Method); err != nil {
		return nil, err
	}
	if err := a.conditions.check(a); err != nil {
		return nil, err
	}
	switch a.kind {
	case read, vread:
		return a, a.askedRead(raw)
	case searchType:
		return a, s.understand(m.c.Request.Context(), a, raw)
	case historyInstance, historyType, historySystem:
		return a, s.understandPast(a, raw)
	}
	if a.kind.writes() {
		return a, s.entryWrite(a, e, raw)
	}
	return a, nil
}

// entryWrite reads what an entry writes. A JSON Patch comes as a Binary, as R4
// wants it: a Bundle holds nothing but resources. A FHIRPath Patch is one.
func (s *server) entryWrite(a *ask, e *fhir.Entry, condition string) error {
	a.condition = condition
	a.sent = sent{contentType: mediaType, method: e.Method, target: e.URL}
	switch a.kind {
	case remove, conditionalDelete:
		return nil
	case patch, conditionalPatch:
		return s.entryPatch(a, e.Resource)
	}
	a.sent.source, a.sent.body = sourceOf(e.Resource), e.Resource.Raw
	return nil
}

func (s *server) entryPatch(a *ask, binary *fhir.Resource) error {
	a.resource = nil
	at := a.at + ".resource"
	if binary.Type == "Parameters" {
		a.sent.contentType, a.sent.body = mediaType, binary.Raw
		if err := a.content(binary.Raw, s.MaxResource); err != nil {
			return a.inPlace(err)
		}
		return nil
	}
	if binary.Type != "Binary" || binary.String("contentType") != patchType {
		return casework.Refuse(errMediaType, fhir.CodeNotSupported, at, "a PATCH is a Parameters resource (a FHIRPath Patch), or a Binary with contentType "+patchType+" and the patch in data")
	}
	body, err := base64.StdEncoding.DecodeString(binary.String("data"))
	if err != nil {
		return casework.Refuse(casework.ErrMalformed, fhir.CodeValue, at+".data", "data is not base64")
	}
	a.sent.contentType, a.sent.body = patchType, body
	if err := a.content(body, s.MaxResource); err != nil {
		return a.inPlace(err)
	}
	return nil
}

// inPlace gives the refusal of what an entry holds its place in the Bundle.
func (a *ask) inPlace(err error) error {
	var r *casework.Refusal
	if errors.As(err, &r) {
		for n := range r.Issues {
			r.Issues[n].Expression = a.at + ".resource"
		}
	}
	return err
}

// address reads method and URL of an entry; query is what follows the '?'.
func (a *ask) address(e *fhir.Entry) (query string, err error) {
	path, query, conditional := strings.Cut(e.URL, "?")
	if p, err := url.PathUnescape(path); err == nil {
		path = p
	}
	parts := strings.Split(path, "/")
	a.typ = parts[0]
	if len(parts) > 1 {
		a.id = parts[1]
	}
	nowhere := casework.Refuse(errUnknown, fhir.CodeNotSupported, a.element("url"),
		"nothing is served at this url: it is Type, Type/id, Type/id/_history/version, Type?parameters, or one of these with /_history; no operations")
	switch {
	case strings.Contains(path, "$"):
		return "", casework.Refuse(errUnknown, fhir.CodeNotSupported, a.element("url"),
			"no operations are carried out in a Bundle: call it by itself, at its own address")
	case strings.HasSuffix(path, "/_search"):
		return "", nowhere
	case e.Method == http.MethodPost:
		a.kind = create
	case e.Method == http.MethodPut && conditional:
		a.kind = conditionalUpdate
	case e.Method == http.MethodPut:
		a.kind = update
	case e.Method == http.MethodPatch && conditional:
		a.kind = conditionalPatch
	case e.Method == http.MethodPatch:
		a.kind = patch
	case e.Method == http.MethodDelete && conditional:
		a.kind = conditionalDelete
	case e.Method == http.MethodDelete:
		a.kind = remove
	case e.Method != http.MethodGet && e.Method != http.MethodHead:
	case path == "metadata":
		a.kind, a.typ = capabilities, ""
	case path == "_history":
		a.kind, a.typ = historySystem, ""
	case len(parts) == 2 && parts[1] == "_history":
		a.kind, a.id = historyType, ""
	case len(parts) == 3 && parts[2] == "_history":
		a.kind = historyInstance
	case len(parts) == 1:
		a.kind = searchType
	case len(parts) == 2:
		a.kind = read
	case len(parts) == 4 && parts[2] == "_history":
		a.kind = vread
		a.version, _ = parseVersion(parts[3])
	default:
		return "", nowhere
	}
	return query, nil
}

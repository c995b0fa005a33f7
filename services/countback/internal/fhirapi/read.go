package fhirapi

import (
	"context"
	"net/http"

	r4 "github.com/samply/golang-fhir-models/fhir-models/fhir"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/search"
	"example.org/countback/services/countback/internal/store"
)

// read gives the current version of a resource, or a named one.
func (s *server) read(ctx context.Context, a *ask) (reply, error) {
	var held store.Stored
	var err error
	switch {
	case !validID(a.id), a.kind == vread && a.version == 0:
		return reply{}, casework.Refuse(casework.ErrNotFound, "not-found", a.at, "there is no such "+a.typ)
	case a.kind == vread:
		held, err = s.Office.Version(ctx, a.typ, a.id, a.version)
	default:
		held, err = s.Office.Get(ctx, a.typ, a.id)
	}
	if err != nil {
		return reply{}, err
	}
	r := reply{status: http.StatusOK, stored: held}
	if r.body, err = cut(held.Body, a.wanted); err != nil {
		return reply{}, err
	}
	if a.unchanged(held) {
		r.status, r.body = http.StatusNotModified, nil
	}
	return r, nil
}

// find carries a search out.
func (s *server) find(ctx context.Context, a *ask) (reply, error) {
	page, err := s.Office.Search(ctx, a.search)
	if err != nil {
		return reply{}, err
	}
	b := fhir.NewResultBundle(r4.BundleTypeSearchset)
	if !a.search.NoTotal {
		b.Total = &page.Total
	}
	b.AddLink("self", s.searchLink(a.typ, a.search.SelfLink()))
	if page.Next != "" {
		b.AddLink("next", s.searchLink(a.typ, a.search.NextLink(page.Next)))
	}
	for _, found := range page.Items {
		body, err := cut(found.Body, a.search.Wanted())
		if err != nil {
			return reply{}, err
		}
		b.AddMatch(s.Base+"/"+found.Type+"/"+found.ID, body, r4.SearchEntryModeMatch)
	}
	whole := search.Wanted{Summary: a.search.Summary} // _elements is about the matches
	for _, found := range page.Included {
		body, err := cut(found.Body, whole)
		if err != nil {
			return reply{}, err
		}
		b.AddMatch(s.Base+"/"+found.Type+"/"+found.ID, body, r4.SearchEntryModeInclude)
	}
	if page.Cut {
		b.AddOutcome(fhir.Issues{{Severity: fhir.SeverityWarning, Code: "incomplete",
			Text: "there is more to include than is given at once: ask for fewer matches with _count"}}.OperationOutcome())
	}
	body, err := fhir.Marshal(b)
	return reply{status: http.StatusOK, body: body}, err
}

// cut gives as much of a resource as is wanted. What is stored had been let in
// before, so an issue means that the store is damaged.
func cut(body []byte, w search.Wanted) ([]byte, error) {
	if w.Whole() {
		return body, nil
	}
	r, issues := fhir.Parse(body, len(body)+1)
	if len(issues) > 0 {
		return nil, issues
	}
	return w.Of(r), nil
}

func (s *server) searchLink(typ, query string) string {
	link := s.Base + "/" + typ
	if query != "" {
		link += "?" + query
	}
	return link
}

package fhirapi

import (
	"context"
	"net/http"

	r4 "github.com/samply/golang-fhir-models/fhir-models/fhir"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/casework"
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
	r := reply{status: http.StatusOK, stored: held, body: held.Body}
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
	b.Total = &page.Total
	b.AddLink("self", s.searchLink(a.typ, a.search.SelfLink()))
	if page.Next != "" {
		b.AddLink("next", s.searchLink(a.typ, a.search.NextLink(page.Next)))
	}
	for _, found := range page.Items {
		b.AddMatch(s.Base+"/"+found.Type+"/"+found.ID, found.Body, r4.SearchEntryModeMatch)
	}
	body, err := fhir.Marshal(b)
	return reply{status: http.StatusOK, body: body}, err
}

func (s *server) searchLink(typ, query string) string {
	link := s.Base + "/" + typ
	if query != "" {
		link += "?" + query
	}
	return link
}

package fhirapi

import (
	"context"
	"net/url"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/search"
)

// codesOf gives the codes of a ValueSet that is held, for searches by :in and
// :not-in. Only a set that lists its codes can be searched by: there is no
// terminology server here that could work out another.
func (s *server) codesOf(ctx context.Context) func(string) ([]search.Code, string) {
	return func(address string) ([]search.Code, string) {
		q, issues := search.Parse(setType, url.Values{"url": {address}}, search.Options{Zone: s.Zone, Base: s.Base})
		if len(issues) > 0 {
			return nil, "the value set is named by its url"
		}
		found, err := s.Office.Search(ctx, q)
		switch {
		case err != nil:
			return nil, "the value set cannot be read now"
		case len(found.Page.Items) != 1:
			return nil, "no value set with this url is held here"
		}
		set, issues := fhir.Parse(found.Page.Items[0].Body, len(found.Page.Items[0].Body)+1)
		if len(issues) > 0 {
			return nil, "the value set cannot be read"
		}
		return listed(set)
	}
}

// listed are the codes that a ValueSet lists one by one.
func listed(set *fhir.Resource) (out []search.Code, problem string) {
	const other = "the value set does not list its codes one by one, and there is no terminology server here"
	if set.Get("compose", "exclude").Exists() {
		return nil, other
	}
	for _, include := range set.Get("compose", "include").Items() {
		if include.Get("filter").Exists() || include.Get("valueSet").Exists() || !include.Get("concept").Exists() {
			return nil, other
		}
		for _, c := range include.Get("concept").Items() {
			out = append(out, search.Code{System: include.String("system"), Value: c.String("code")})
		}
	}
	if len(out) == 0 {
		return nil, other
	}
	return out, ""
}

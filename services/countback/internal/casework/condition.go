package casework

import (
	"net/url"
	"slices"
	"strings"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/search"
)

// found lists the resources that a condition finds: none, one, or the first two
// of several. A condition is a search as anybody may ask it, but for what shapes a
// result or follows a reference.
//
// Source: HL7 FHIR R4 (4.0.1), RESTful API, conditional create, update, patch and
// delete.
func (r *receipt) found(q *Request, query string) ([]string, error) {
	if id, other := condition(query, q.Type, ""); other == nil {
		return r.tx.ByIdentifier(q.Type, id.System, id.Value)
	}
	want, refusal := r.wanted(q, query)
	if refusal != nil {
		return nil, refusal
	}
	page, err := r.office.search(r.tx, want)
	if err != nil {
		return nil, err
	}
	ids := make([]string, 0, len(page.Items))
	for _, s := range page.Items {
		ids = append(ids, s.ID)
	}
	return ids, nil
}

// wanted reads a condition. What is not understood is refused: to leave it out
// would change what nobody named.
func (r *receipt) wanted(q *Request, query string) (search.Query, error) {
	values, err := url.ParseQuery(strings.TrimPrefix(query, q.Type+"?"))
	if err != nil {
		return search.Query{}, Refuse(ErrMalformed, fhir.CodeValue, q.path(""), "the condition is not well formed: name=value, joined by &, with other signs escaped")
	}
	want, issues := search.Parse(q.Type, values, search.Options{
		Zone: r.office.facility.Calendar.Zone(), Base: r.office.facility.Base, Strict: true, Now: r.tx.Now,
	})
	if len(issues) > 0 {
		for n := range issues {
			issues[n].Expression = q.path("")
		}
		return want, &Refusal{Err: ErrMalformed, Issues: issues}
	}
	stepped := slices.ContainsFunc(want.Clauses, func(c search.Clause) bool { return len(c.Hops) > 0 })
	empty := false
	for _, all := range values {
		empty = empty || slices.Contains(all, "")
	}
	switch {
	case empty || len(want.Clauses) == 0 || len(want.Used) != len(want.Clauses) || want.After != nil:
		return want, Refuse(ErrMalformed, fhir.CodeValue, q.path(""),
			"a condition says by search parameters of "+q.Type+" which one is meant, each with a value, and nothing about how a result is to look")
	case slices.ContainsFunc(want.Clauses, unsure):
		return want, Refuse(ErrMalformed, fhir.CodeValue, q.path(""), "an identifier in a condition is system|value: without its system, the number of another would match")
	case stepped:
		return want, Refuse(ErrMalformed, fhir.CodeNotSupported, q.path(""), "a condition does not follow references: no chains and no _has")
	}
	want.Count, want.NoTotal = 2, true
	return want, nil
}

// unsure reports whether a clause names an identifier without a system or a value.
func unsure(c search.Clause) bool {
	return c.Param.Code == "identifier" && slices.ContainsFunc(c.Matches, func(m search.Match) bool {
		return !m.HasSystem || m.System == "" || !m.HasValue
	})
}

func (q *Request) several() *Refusal {
	return Refuse(ErrMultiple, "multiple-matches", q.path(""), "the condition finds more than one "+q.Type)
}

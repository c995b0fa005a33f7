package search

import (
	"slices"
	"strings"

	"example.org/countback/pkg/fhir"
)

// summary reads _summary.
func (p *parser) summary(value string) bool {
	switch Summary(value) {
	case SummaryTrue, SummaryText, SummaryData:
		p.q.Summary = Summary(value)
	case "count":
		p.q.Count = 0
		p.counting = true
	case "false":
	default:
		p.fail(summaryParam, fhir.CodeValue, "must be true, text, data, count or false", value)
		return false
	}
	return true
}

// elements reads _elements. Names of other types, as Type.element, and names that
// no resource has, ask for nothing.
func (p *parser) elements(value string) bool {
	p.q.Elements = []string{}
	for name := range strings.SplitSeq(value, ",") {
		if typ, element, typed := strings.Cut(name, "."); !typed {
			p.q.Elements = append(p.q.Elements, name)
		} else if typ == p.q.Type {
			p.q.Elements = append(p.q.Elements, element)
		}
	}
	return true
}

// Wanted says how much of each resource is wanted.
type Wanted struct {
	Summary  Summary
	Elements []string
}

// Wanted is what the search wants of each match.
func (q Query) Wanted() Wanted { return Wanted{q.Summary, q.Elements} }

// ParseWanted reads _summary and _elements of a read.
func ParseWanted(typ string, values map[string][]string) (Wanted, fhir.Issues) {
	p := parser{q: Query{Type: typ}}
	for _, name := range []string{summaryParam, elementsParam} {
		if len(values[name]) == 1 && values[name][0] != "" {
			p.shape(name, values[name][0])
		}
	}
	if p.counting {
		p.fail(summaryParam, fhir.CodeValue, "count is for a search", "")
	}
	return p.q.Wanted(), p.issues
}

// Whole reports whether all of each resource is wanted.
func (w Wanted) Whole() bool { return w.Summary == SummaryNone && w.Elements == nil }

// Of cuts a resource down to what is wanted, and marks it as incomplete.
// Elements that are mandatory, or change the meaning of others, stay.
func (w Wanted) Of(r *fhir.Resource) []byte {
	var summary, kept []string
	for name := range strings.FieldsSeq(summaryElements[r.Type]) {
		name, star := strings.CutSuffix(name, "*")
		if summary = append(summary, name); star {
			kept = append(kept, name)
		}
	}
	return r.Subset(func(element string) bool {
		switch {
		case element == "implicitRules" || slices.Contains(kept, element):
			return true
		case w.Elements != nil && !slices.Contains(w.Elements, element):
			return false
		}
		switch w.Summary {
		case SummaryTrue:
			return slices.Contains(summary, element)
		case SummaryText:
			return element == "text"
		case SummaryData:
			return element != "text"
		}
		return true
	})
}

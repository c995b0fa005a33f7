package search

import (
	"example.org/countback/pkg/fhir"
)

// composed is the one type that has composites.
const composed = "Observation"

// composite joins two parameters whose values stand together in one resource at
// most once each, so that both clauses of it say what the pair says.
func composite(code, first, second string) Param {
	return Param{Code: code, Kind: Composite, Definition: composed + "-" + code, parts: []string{first, second}}
}

// pair reads first$second, with commas for alternatives.
func (p *parser) pair(c Clause, alternatives []string) (Clause, bool) {
	for _, alternative := range alternatives {
		values := splitUnescaped(alternative, '$')
		if len(values) != len(c.Param.parts) {
			p.fail(c.Param.Code, fhir.CodeValue, "is "+c.Param.parts[0]+"$"+c.Param.parts[1], alternative)
			return c, false
		}
		var both []Clause
		for i, code := range c.Param.parts {
			part, _ := Lookup(composed, code)
			one := Clause{Param: part, Rows: part.Rows()}
			m, ok := p.readers()[part.Kind](one, values[i])
			if !ok {
				p.fail(c.Param.Code, fhir.CodeValue, "not a valid "+part.Kind.String()+" value for "+code, values[i])
				return c, false
			}
			one.Matches = []Match{m}
			both = append(both, one)
		}
		c.Pairs = append(c.Pairs, both)
	}
	return c, true
}

// lacking is the parameter that a composite lacks when it is missing: the second, as
// the first is an element that no resource may be without.
func (p Param) lacking() Param {
	second, _ := Lookup(composed, p.parts[len(p.parts)-1])
	return second
}

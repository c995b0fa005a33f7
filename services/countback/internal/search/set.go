package search

import "example.org/countback/pkg/fhir"

// maxSet is the most codes of a value set that a search looks for.
const maxSet = 500

// Code is one code of a value set.
type Code struct{ System, Value string }

// within reads :in and :not-in, whose value is the url of a value set.
func (p *parser) within(c Clause, modifier, value string) (Clause, bool) {
	if p.Set == nil {
		p.fail(c.Param.Code, fhir.CodeNotSupported, "a value set cannot be named here", modifier)
		return c, false
	}
	codes, problem := p.Set(unescape(value))
	switch {
	case problem != "":
		p.fail(c.Param.Code, fhir.CodeNotSupported, problem, value)
		return c, false
	case len(codes) > maxSet:
		p.fail(c.Param.Code, fhir.CodeTooCostly, "the value set has too many codes to search by", value)
		return c, false
	}
	if modifier == "not-in" {
		c.Modifier = Not
	}
	for _, code := range codes {
		c.Matches = append(c.Matches, Match{HasSystem: true, System: code.System, HasValue: true, Value: code.Value})
	}
	return c, true
}

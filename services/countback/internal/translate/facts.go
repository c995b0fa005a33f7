package translate

import (
	"strings"

	"example.org/countback/pkg/fhir"
)

// factsOf gathers what the codes of the records say, by the protocol's rules.
// Two values of one fact that contradict each other leave it unknown, unless
// the fact has a value that stands for both.
func (p *Protocol) factsOf(records []*Record) map[string]any {
	found := map[string][]any{}
	for _, weak := range []bool{false, true} {
		had := len(found)
		known := make(map[string]bool, had)
		for name := range found {
			known[name] = true
		}
		for _, r := range records {
			if r.inError() {
				continue
			}
			for n := range p.rules {
				rule := &p.rules[n]
				if rule.Type != r.Type || rule.OnlyUnknown != weak || weak && known[rule.Fact] {
					continue
				}
				if rule.Set != nil && matches(r.Get(rule.Path), rule.Set) {
					found[rule.Fact] = append(found[rule.Fact], rule.Value)
				}
			}
		}
	}
	out := make(map[string]any, len(found))
	for name, values := range found {
		if v := merge(p.facts[name].Both, values); v != nil {
			out[name] = v
		}
	}
	return out
}

func merge(both string, values []any) any {
	for _, v := range values[1:] {
		if v == values[0] {
			continue
		}
		if both != "" {
			return both
		}
		return nil
	}
	return values[0]
}

// matches reports whether any coding of a CodeableConcept (or Coding, or a list
// of either) belongs to the set. A canonical belongs to it as a URI, whatever
// its version.
func matches(n *fhir.Node, set *ValueSet) bool {
	for _, concept := range n.Items() {
		if concept.Kind() == fhir.String {
			url, _, _ := strings.Cut(concept.Text(), "|")
			if set.Has(Coding{systemURI, url}) {
				return true
			}
		}
		if c := concept.String("code"); c != "" && set.Has(Coding{concept.String("system"), c}) {
			return true
		}
		for _, coding := range concept.Get("coding").Items() {
			if set.Has(Coding{coding.String("system"), coding.String("code")}) {
				return true
			}
		}
	}
	return false
}

package translate

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"example.org/countback/pkg/fhir"
)

// Matched is one code of a record and what the protocol reads from it.
type Matched struct {
	Ref, Path    string // of the record; where in it the code stands
	System, Code string
	Set          string // url of the value set that holds the code; empty: none that is asked at this place
	Means        string // in words
}

// reading is one place where the protocol looks for a code.
type reading struct {
	typ, means string
	path       []string
	set        *ValueSet
}

// readings are all places where the protocol looks for codes.
func (p *Protocol) readings() []reading {
	var out []reading
	add := func(typ, means string, path []string, set *ValueSet) {
		if set != nil {
			out = append(out, reading{typ, means, path, set})
		}
	}
	for _, r := range p.rules {
		add(r.Type, fmt.Sprintf("says %s: %v", r.Fact, r.Value), strings.Split(r.Path, "."), r.Set)
	}
	for _, r := range p.evidence {
		for _, f := range r.filters {
			add(r.Type, "may show that the step "+r.Step+" was done", f.path, f.set)
		}
	}
	for _, r := range p.holds {
		for _, f := range r.filters {
			add(r.Type, "may hold the case: "+r.kind, f.path, f.set)
		}
	}
	return out
}

// Matched says for each code of the records that stands where the protocol looks
// for one, which value set holds it and what follows, or that none does.
func (p *Protocol) Matched(records []*Record) []Matched {
	var out []Matched
	readings := p.readings()
	for _, r := range records {
		asked := map[string]Matched{} // places where some set was asked, by path and code
		var found []Matched
		for _, g := range readings {
			if g.typ != r.Type {
				continue
			}
			path := strings.Join(g.path, ".")
			for _, c := range codingsOf(r.Get(g.path...)) {
				m := Matched{Ref: r.Ref(), Path: path, System: c.System, Code: c.Code}
				if !g.set.Has(c) {
					m.Means = "belongs to no value set that the protocol asks at this place"
					asked[path+" "+c.System+" "+c.Code] = m
					continue
				}
				m.Set, m.Means = g.set.URL, g.means
				if !slices.Contains(found, m) {
					found = append(found, m)
				}
			}
		}
		for _, m := range found {
			delete(asked, m.Path+" "+m.System+" "+m.Code)
		}
		for _, key := range slices.Sorted(maps.Keys(asked)) {
			found = append(found, asked[key])
		}
		out = append(out, found...)
	}
	return out
}

// codingsOf are the codes of a CodeableConcept or Coding, or of a list of either.
func codingsOf(n *fhir.Node) []Coding {
	var out []Coding
	for _, concept := range n.Items() {
		if c := concept.String("code"); c != "" {
			out = append(out, Coding{concept.String("system"), c})
		}
		for _, c := range concept.Get("coding").Items() {
			out = append(out, Coding{c.String("system"), c.String("code")})
		}
	}
	return out
}

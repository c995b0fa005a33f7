package translate

import (
	"slices"
	"strings"

	"example.org/countback/pkg/fhir"
)

// medication is the code of what is taken: in the record itself, or in a
// Medication that it contains, where one without a code goes by its first active
// ingredient.
func (r *Record) medication() *fhir.Node {
	if all := r.named(); len(all) > 0 {
		return all[0]
	}
	return nil
}

// named are the concepts by which a record names what is taken: its code, and
// the active ingredients of a Medication that it contains. Of a combination each
// ingredient counts, so that the strictest of their rules does.
func (r *Record) named() []*fhir.Node {
	if c := r.Get("medicationCodeableConcept"); c.Exists() {
		return []*fhir.Node{c}
	}
	var out []*fhir.Node
	if m := r.inner(); m != nil {
		if c := m.Get("code"); c.Exists() {
			out = append(out, c)
		}
	}
	return append(out, r.ingredients()...)
}

// inner is the Medication that a record contains and refers to; nil: none.
func (r *Record) inner() *fhir.Resource {
	id, inner := strings.CutPrefix(r.String("medicationReference", "reference"), "#")
	if !inner || r.Get("medicationCodeableConcept").Exists() {
		return nil
	}
	m := r.Contained(id)
	if m == nil || m.Type != "Medication" {
		return nil
	}
	return m
}

// ingredients are the active ingredients of the Medication that a record contains.
func (r *Record) ingredients() []*fhir.Node {
	m := r.inner()
	if m == nil {
		return nil
	}
	var out []*fhir.Node
	for _, i := range m.Get("ingredient").Items() {
		active := i.Get("isActive")
		if c := i.Get("itemCodeableConcept"); c.Exists() && (!active.Exists() || active.Bool()) {
			out = append(out, c)
		}
	}
	return out
}

// holds reports whether the set has a code by which the record names what is
// taken. System and code must both match; words count for nothing.
func (r *Record) holds(set *ValueSet) bool {
	return slices.ContainsFunc(r.named(), func(c *fhir.Node) bool { return matches(c, set) })
}

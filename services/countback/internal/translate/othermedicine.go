package translate

import (
	"crypto/sha256"
	"encoding/hex"
	"maps"
	"slices"
	"strings"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// other adds a medicine that no rule knows to those that were found: each once,
// under the name of the record that names it first in the order of names.
func (f Facility) other(list []readiness.Medicine, r *Record, s stranger, surgery calendar.Date, like string) []readiness.Medicine {
	key, name := s.key(r), s.name(r)
	n := slices.IndexFunc(list, func(m readiness.Medicine) bool { return m.Key == key })
	if n < 0 {
		n = len(list)
		list = append(list, readiness.Medicine{Key: key, Name: name, Facts: map[string]any{}, Like: like})
	}
	list[n].Name = min(list[n].Name, name)
	f.dosed(&list[n], r, surgery)
	return list
}

// otherKey tells medicines that no rule knows apart, and is the same in every
// record of one: by its first code, else by its words, else by the record. It is
// a digest, because keys go where no free text may go.
func otherKey(r *Record, code *fhir.Node) string {
	of := r.Ref()
	first := code.Get("coding").Item(0)
	words := strings.Fields(strings.ToLower(code.String("text") + " " + r.String("medicationReference", "display")))
	switch {
	case first.String("code") != "":
		of = first.String("system") + "|" + first.String("code")
	case first.String("display") != "" && len(words) == 0:
		of = strings.ToLower(first.String("display"))
	case len(words) > 0:
		of = strings.Join(words, " ")
	}
	return digestKey(of)
}

func digestKey(of string) string {
	digest := sha256.Sum256([]byte(of))
	return readiness.OtherMedicine + hex.EncodeToString(digest[:8])
}

// nameWithCode names a medicine that no rule knows with its first code as well: it may
// be a product of one that is known, which only a person can tell.
func nameWithCode(name string, code *fhir.Node) string {
	c := code.Get("coding").Item(0).String("code")
	if c == "" || strings.EqualFold(c, name) {
		return name
	}
	return name + " (code " + c + ")"
}

// disownedOthers are the medicines that no rule knows and of which every record
// was entered in error.
func (p *Protocol) disownedOthers(records []*Record) []string {
	right := map[string]bool{} // by key: whether a record of it is no error
	for _, r := range records {
		if _, drug := takenStatuses[r.Type]; !drug {
			continue
		}
		for _, part := range p.strangers(r) {
			key := part.key(r)
			right[key] = right[key] || !r.inError()
		}
	}
	var out []string
	for _, key := range slices.Sorted(maps.Keys(right)) {
		if !right[key] {
			out = append(out, key)
		}
	}
	return out
}

// knows reports whether a rule fits a medicine.
func (p *Protocol) knows(r *Record) bool {
	return slices.ContainsFunc(p.drugs.kinds, func(k medicineKind) bool { return r.holds(k.set) })
}

// strangers are what no rule knows of what a record names: the medicine, or of a
// mixture with an ingredient that a rule knows each other one. What is known to go
// on must not take along what nobody has looked at.
func (p *Protocol) strangers(r *Record) []stranger {
	if !p.knows(r) {
		return []stranger{{code: r.medication()}}
	}
	parts := r.ingredients()
	if len(parts) < 2 {
		return p.within(r)
	}
	var out []stranger
	for _, c := range parts {
		if !slices.ContainsFunc(p.drugs.kinds, func(k medicineKind) bool { return matches(c, k.set) }) {
			out = append(out, stranger{code: c})
		}
	}
	return out
}

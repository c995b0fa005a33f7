package translate

import (
	"cmp"
	"slices"
	"strings"
	"unicode"

	"example.org/countback/pkg/fhir"
)

// like is what the words of a record name, of the ingredients that the sets of
// the rules name: a question to a person, and nothing that a rule goes by, as
// words are also written where a medicine is not taken, or is another. Of a mixture
// that a rule knows in part, only the words of the other part count. Only whole
// words do. Empty: none.
func (p *Protocol) like(r *Record, s stranger) string {
	if s.part != "" {
		return p.drugs.like(nil, s.part)
	}
	if p.knows(r) {
		return p.drugs.like([]*fhir.Node{s.code}, "")
	}
	return p.drugs.like(r.named(), r.String("medicationReference", "display"))
}

// like is what these concepts and words name, of the ingredients of the sets.
func (m *medicineRules) like(of []*fhir.Node, shown string) string {
	text := []string{shown}
	for _, c := range of {
		text = append(text, c.String("text"))
		for _, coding := range c.Get("coding").Items() {
			text = append(text, coding.String("display"))
		}
	}
	var found []string
	for n := range m.kinds {
		for _, name := range m.kinds[n].ingredients() {
			if slices.ContainsFunc(text, func(t string) bool { return strings.Contains(wholeWords(t), wholeWords(name)) }) {
				found = append(found, name)
			}
		}
	}
	slices.SortFunc(found, func(a, b string) int { return cmp.Or(len(b)-len(a), strings.Compare(a, b)) })
	var out []string // without what a longer name says already
	for _, name := range found {
		if !slices.ContainsFunc(out, func(o string) bool { return strings.Contains(o, name) }) {
			out = append(out, name)
		}
	}
	slices.Sort(out)
	return strings.Join(out, " and ")
}

// ingredients are the names of single ingredients of the set: names of products
// have figures, and names of groups and combinations have commas or "and".
func (k *medicineKind) ingredients() []string {
	var out []string
	for _, in := range k.set.includes {
		for _, name := range in.names {
			if !strings.ContainsAny(name, "0123456789,/") && !strings.Contains(name, " and ") {
				out = append(out, name)
			}
		}
	}
	if key := strings.TrimPrefix(k.key, "medicine-"); len(k.rules) > 0 && !strings.Contains(key, "-") && !contains(out, key) {
		out = append(out, key)
	}
	return out
}

// wholeWords are the words of a text, in small letters, each between blanks.
func wholeWords(s string) string {
	return " " + strings.Join(strings.FieldsFunc(strings.ToLower(s), func(r rune) bool { return !unicode.IsLetter(r) }), " ") + " "
}

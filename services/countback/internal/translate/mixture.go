package translate

import (
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"example.org/countback/pkg/fhir"
)

// stranger is what no rule knows of what a record names: what a code is of, or a
// part of a ready-made product that has one code for all that is in it.
type stranger struct {
	code *fhir.Node
	part string // empty: what the code is of
	in   string // the product that the part is of
}

// key is that of the part's own words, as if it were recorded by itself.
func (s stranger) key(r *Record) string {
	if s.part == "" {
		return otherKey(r, s.code)
	}
	return digestKey(strings.Join(strings.Fields(strings.ToLower(s.part)), " "))
}

func (s stranger) name(r *Record) string {
	if s.part == "" {
		return nameWithCode(nameOf(r, s.code), s.code)
	}
	first, size := utf8.DecodeRuneInString(s.part)
	name := string(unicode.ToUpper(first)) + s.part[size:]
	if strings.Contains(strings.ToLower(s.part), strings.ToLower(s.in)) {
		return name
	}
	return name + " (in " + s.in + ")"
}

// within are the parts of the products that a record names which no set knows: those
// that the sets tell of, and those that the words of the record tell of.
func (p *Protocol) within(r *Record) []stranger {
	var kinds []medicineKind
	for _, k := range p.drugs.kinds {
		if r.holds(k.set) {
			kinds = append(kinds, k)
		}
	}
	var out []stranger
	for _, c := range r.named() {
		if whole(c, kinds) {
			continue
		}
		others, product, words := contents(c, kinds)
		if product == "" {
			product = nameOf(r, c)
		}
		if shown := r.String("medicationReference", "display"); shown != "" {
			words = append(words, shown)
		}
		for _, text := range words {
			others = append(others, unaccounted(text, kinds, others)...)
		}
		for _, part := range others {
			if !slices.ContainsFunc(out, func(s stranger) bool { return strings.EqualFold(s.part, part) }) {
				out = append(out, stranger{code: c, part: part, in: product})
			}
		}
	}
	return out
}

// whole reports whether a concept is of a product that a set is about as a whole.
func whole(c *fhir.Node, kinds []medicineKind) bool {
	for _, coding := range c.Get("coding").Items() {
		is := Coding{coding.String("system"), coding.String("code")}
		if slices.ContainsFunc(kinds, func(k medicineKind) bool { return k.set.Whole(is) }) {
			return true
		}
	}
	return false
}

// contents is what the sets tell of a concept: what else is in it, and its name there;
// and its words, but for those that a set has for the same code and accounts for.
func contents(c *fhir.Node, kinds []medicineKind) (others []string, product string, words []string) {
	known := func(coding Coding, shown string) bool {
		for _, k := range kinds {
			name := k.set.Name(coding)
			others = append(others, k.set.Others(coding)...)
			if product == "" && strings.Contains(name, " ") {
				product = name
			}
			if name != "" && strings.EqualFold(name, shown) {
				return true
			}
		}
		return false
	}
	for _, coding := range c.Get("coding").Items() {
		shown := coding.String("display")
		if !known(Coding{coding.String("system"), coding.String("code")}, shown) && shown != "" {
			words = append(words, shown)
		}
	}
	if text := c.String("text"); text != "" && !strings.EqualFold(text, product) {
		words = append(words, text)
	}
	slices.Sort(others)
	return slices.Compact(others), product, words
}

// joint is what stands between the ingredients of a mixture.
var joint = regexp.MustCompile(`(?i)\s*(?:[/+&]|\b(?:and|y)\b)\s*`)

// unaccounted are the parts of a text that neither the sets nor the list of other
// ingredients account for. A set whose medicines are known by a pattern of codes
// does not tell their names: where a part may be the one that it knows, the text
// as a whole is asked about.
func unaccounted(text string, kinds []medicineKind, others []string) []string {
	var rest []string
	parts, met := ingredientsIn(text), map[string]bool{}
	for _, part := range parts {
		found := false
		for n := range kinds {
			if slices.ContainsFunc(kinds[n].ingredients(), func(name string) bool { return mentions(part, name) }) {
				found, met[kinds[n].key] = true, true
			}
		}
		for _, other := range others {
			if mentions(part, strings.Fields(other)[0]) {
				found, met[other] = true, true
			}
		}
		if !found && !slices.Contains(rest, part) {
			rest = append(rest, part)
		}
	}
	unmet := len(kinds) + len(others) - len(met)
	switch {
	case len(rest) <= unmet && len(rest) < len(parts), len(parts) < 2:
		return nil
	case unmet > 0:
		return []string{"the other part of " + text}
	}
	return rest
}

func mentions(text, name string) bool {
	return strings.Contains(wholeWords(fold(text)), wholeWords(fold(name)))
}

// ingredientsIn are the names, without strengths and forms, that a text joins;
// what begins with a figure, a form, a unit or a time names none.
func ingredientsIn(text string) []string {
	var out []string
	for _, part := range joint.Split(text, -1) {
		words := wordsOf(part)
		first, _ := utf8.DecodeRuneInString(part)
		if len(out) > 0 && !unicode.IsLetter(first) || len(words) == 0 || utf8.RuneCountInString(words[0]) < 3 || theWords().noIngredient[words[0]] {
			continue
		}
		if name, _, _ := strings.Cut(part, "("); len(out) > 0 {
			part = name
		}
		if at := strings.IndexFunc(part, unicode.IsDigit); at > 0 {
			part = part[:at]
		}
		if part = strings.TrimSpace(part); part != "" {
			out = append(out, part)
		}
	}
	return out
}

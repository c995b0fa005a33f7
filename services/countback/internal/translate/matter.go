package translate

import (
	"slices"
	"strings"
)

// matter says what a record that raises a kind of hold is about, whatever it is
// called: the value sets of all rules that read it, and those of its codes that
// are in them.
func (p *Protocol) matter(kind string, r *Record) (class string, codes []string) {
	var sets []string
	for n := range p.holds {
		rule := &p.holds[n]
		if rule.kind != kind || rule.asksOnly || rule.Type != r.Type || !all(rule.filters, r) {
			continue
		}
		for _, f := range rule.filters {
			sets = append(sets, f.set.URL)
			codes = append(codes, f.matched(r)...)
		}
	}
	return strings.Join(unique(sets), " "), unique(codes)
}

// matched are the codes of a record by which the filter fits it.
func (f *filter) matched(r *Record) []string {
	var out []string
	for _, concept := range r.Get(f.path...).Items() {
		for _, c := range concept.Get("coding").Items() {
			if code := (Coding{c.String("system"), c.String("code")}); f.set.Has(code) {
				out = append(out, code.System+"|"+code.Code)
			}
		}
	}
	return out
}

// matter says what an answer is about: its topic, of which details, and what was
// said of them.
func (a *holdAnswer) matter(f *Finding) (class string, codes []string) {
	class = strings.Join(append([]string{a.topic, a.role}, unique(slices.Clone(a.codes))...), " ")
	if d, said := f.Details[a.role]; said && a.role != "" && !d.Unknown {
		codes = []string{d.Code.System + "|" + d.Code.Code}
	}
	return class, codes
}

// unique sorts texts and leaves each once.
func unique(texts []string) []string {
	slices.Sort(texts)
	return slices.Compact(texts)
}

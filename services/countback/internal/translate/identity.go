package translate

import (
	"encoding/json"
	"slices"
	"strings"

	"example.org/countback/pkg/fhir"
)

// Professional is what the records held here say of who is meant by a reference.
type Professional struct {
	References []string // Type/id of the Practitioner, and of the role that names them
	Numbers    []string // system|value of their identifiers
	Names      []string
}

// Take adds what a Practitioner, or a PractitionerRole of the person in it, says.
// Every name that it holds is theirs, also one from before.
func (p *Professional) Take(r *fhir.Resource) {
	p.References = append(p.References, r.String("resourceType")+"/"+r.String("id"))
	number := func(id *fhir.Node) {
		if system, value := id.String("system"), id.String("value"); system != "" && value != "" {
			p.Numbers = append(p.Numbers, system+"|"+value)
		}
	}
	name := func(words ...string) {
		if s := strings.Join(strings.Fields(strings.Join(words, " ")), " "); s != "" {
			p.Names = append(p.Names, s)
		}
	}
	for _, id := range r.Get("identifier").Items() {
		number(id)
	}
	person := r.Get("practitioner")
	number(person.Get("identifier"))
	name(person.String("display"))
	if ref, _, _ := strings.Cut(person.String("reference"), "/_history/"); ref != "" {
		p.References = append(p.References, typeAndID(ref))
	}
	if r.String("resourceType") != "Practitioner" {
		return
	}
	for _, n := range r.Get("name").Items() {
		name(n.String("text"))
		words := []string{n.String("family")}
		for _, given := range n.Get("given").Items() {
			words = append(words, given.Text())
		}
		name(words...)
	}
}

// typeAndID are the last two parts of a reference.
func typeAndID(ref string) string {
	parts := strings.Split(ref, "/")
	return strings.Join(parts[max(0, len(parts)-2):], "/")
}

// identity is what a Reference to a person tells them apart by: what was sent,
// and what the records say of whom it refers to. Another name beside a reference
// takes nothing away from what the record says.
type identity struct{ references, numbers, names []string }

func (o *WorkOptions) identity(owner json.RawMessage) identity {
	var r struct {
		Reference, Display string
		Identifier         struct{ System, Value string }
	}
	if json.Unmarshal(owner, &r) != nil {
		return identity{}
	}
	var out identity
	if name := strings.TrimSpace(r.Display); name != "" {
		out.names = append(out.names, name)
	}
	if r.Identifier.System != "" && r.Identifier.Value != "" {
		out.numbers = append(out.numbers, r.Identifier.System+"|"+r.Identifier.Value)
	}
	ref, _, _ := strings.Cut(r.Reference, "/_history/")
	if ref == "" {
		return out
	}
	out.references = append(out.references, typeAndID(ref))
	if o.Known == nil {
		return out
	}
	known := o.Known(ref)
	out.references = append(out.references, known.References...)
	out.numbers = append(out.numbers, known.Numbers...)
	out.names = append(out.names, known.Names...)
	return out
}

// may reports whether two may be one person: they have a reference or a number in
// common, or a name of the one may be one of the other.
func (s identity) may(t identity) bool {
	for _, name := range s.names {
		if slices.ContainsFunc(t.names, func(other string) bool { return sameName(name, other) }) {
			return true
		}
	}
	in := func(list []string) func(string) bool {
		return func(one string) bool { return slices.Contains(list, one) }
	}
	return slices.ContainsFunc(s.references, in(t.references)) || slices.ContainsFunc(s.numbers, in(t.numbers))
}

// apart reports whether there is anything by which two that may not be one person
// can be told apart: names of both, or references or numbers of one kind.
func (s identity) apart(t identity) bool {
	if len(s.names) > 0 && len(t.names) > 0 {
		return true
	}
	alike := func(list, other []string, sep string) bool {
		return slices.ContainsFunc(list, func(one string) bool {
			kind, _, _ := strings.Cut(one, sep)
			return slices.ContainsFunc(other, func(o string) bool { return strings.HasPrefix(o, kind+sep) })
		})
	}
	return alike(s.references, t.references, "/") || alike(s.numbers, t.numbers, "|")
}

// another refuses whoever signed, and whoever cannot be told apart from them, for
// what only somebody else may do: "a second person looks at it".
func another(owner, signer json.RawMessage, o WorkOptions, rule string) fhir.Issues {
	a, b := o.identity(owner), o.identity(signer)
	switch {
	case a.may(b):
		return refuse("owner", "business-rule", "Task.owner is, or may be, whoever signed the last dose: "+rule+"; where two people have a name in common, give both names in full")
	case !a.apart(b):
		return refuse("owner", "business-rule", "Task.owner cannot be told apart from whoever signed the last dose: "+rule+"; give the name of the second person as its display")
	}
	return nil
}

// sameName reports whether two names may be those of one person: each word of the
// shorter one stands in the other, or is an initial of a word there, in any
// order. Titles and roles are no part of a name.
func sameName(a, b string) bool {
	short, long := nameWords(a), nameWords(b)
	if len(short) > len(long) {
		short, long = long, short
	}
	if len(short) == 0 {
		return false
	}
	for _, word := range short {
		n := slices.IndexFunc(long, func(other string) bool {
			return word == other || len([]rune(word)) == 1 && strings.HasPrefix(other, word) || len([]rune(other)) == 1 && strings.HasPrefix(word, other)
		})
		if n < 0 {
			return false
		}
		long = slices.Delete(slices.Clone(long), n, n+1)
	}
	return true
}

// nameWords are the words of a name in lower case, without accents or titles.
func nameWords(name string) []string {
	return slices.DeleteFunc(wordsOf(name), func(word string) bool { return theWords().ofNobody[word] })
}

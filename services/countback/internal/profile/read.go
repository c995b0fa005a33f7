package profile

import (
	"slices"
	"strconv"
	"strings"

	"example.org/countback/pkg/fhir"
)

// Set is the profiles that are known, by their urls.
type Set struct {
	profiles map[string]*structure
	codes    map[string][]string // of value sets: system|code
}

// structure is a profile of a resource, or the definition of an extension.
type structure struct {
	url, typ string
	version  string
	elements []rule
}

// rule is what a profile says of one element.
type rule struct {
	steps    []step // from below the root to the element
	min, max int    // max -1: any number
	fixed    string
	types    []string // of a choice
	targets  []string // types that a reference may point to
	profile  string   // of a slice of extension: its definition
	binding  string
}

// step is a name on the way to an element, and the slice of it that is meant.
type step struct{ name, slice string }

// Read takes profiles in, and the value sets that they are bound to. What is
// neither is passed over.
func Read(definitions ...*fhir.Resource) *Set {
	s := &Set{profiles: map[string]*structure{}, codes: map[string][]string{}}
	for _, d := range definitions {
		switch d.Type {
		case "StructureDefinition":
			one := &structure{url: d.String("url"), typ: d.String("type"), version: d.String("version")}
			for _, e := range d.Get("differential", "element").Items() {
				if r, ok := readRule(e); ok {
					one.elements = append(one.elements, r)
				}
			}
			s.profiles[one.url] = one
		case "ValueSet":
			for _, include := range d.Get("compose", "include").Items() {
				for _, c := range include.Get("concept").Items() {
					s.codes[d.String("url")] = append(s.codes[d.String("url")], include.String("system")+"|"+c.String("code"))
				}
			}
		}
	}
	return s
}

// Version is the version of the profile with the url; empty where none is known.
func (s *Set) Version(url string) string {
	if p := s.profiles[url]; p != nil {
		return p.version
	}
	return ""
}

// Of lists the profiles of a type, in the order of their urls.
func (s *Set) Of(typ string) []string {
	var out []string
	for url, p := range s.profiles {
		if p.typ == typ {
			out = append(out, url)
		}
	}
	slices.Sort(out)
	return out
}

func readRule(e *fhir.Node) (rule, bool) {
	r := rule{max: -1}
	parts := strings.Split(e.String("id"), ".")
	for _, part := range parts[1:] {
		name, slice, _ := strings.Cut(part, ":")
		r.steps = append(r.steps, step{name, slice})
	}
	r.min, _ = e.Get("min").Int()
	if n, err := strconv.Atoi(e.String("max")); err == nil {
		r.max = n
	}
	for name, v := range e.Members() {
		if strings.HasPrefix(name, "fixed") {
			r.fixed = v.Text()
		}
	}
	if e.String("binding", "strength") == "required" {
		r.binding, _, _ = strings.Cut(e.String("binding", "valueSet"), "|")
	}
	for _, t := range e.Get("type").Items() {
		r.types = append(r.types, t.String("code"))
		if t.String("code") == "Extension" {
			r.profile = t.String("profile")
		}
		for _, target := range t.Get("targetProfile").Items() {
			if typ, ok := strings.CutPrefix(target.Text(), "http://hl7.org/fhir/StructureDefinition/"); ok {
				r.targets = append(r.targets, typ)
			}
		}
	}
	return r, len(r.steps) > 0
}

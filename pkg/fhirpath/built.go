package fhirpath

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"

	"example.org/countback/pkg/fhir"
)

// built is a value of a patch: one of a type of its own, or a group of elements
// that has no name as a type, which is built from its parts.
type built struct {
	name   string // of the element that it is, inside a group
	suffix string // type of the value, as a choice writes it: CodeableConcept
	raw    []byte
	parts  []*built
}

var errNoValue = errors.New("value is a value[x], a resource, or parts that are the elements of a group")

// builtOf reads the value that a part of Parameters holds.
func builtOf(r *fhir.Resource, part *fhir.Node) (*built, error) {
	b := &built{name: part.String("name")}
	for name, v := range part.Members() {
		switch {
		case name == "resource":
			b.raw = r.Bytes(v)
		case strings.HasPrefix(name, "value"):
			b.suffix, b.raw = strings.TrimPrefix(name, "value"), r.Bytes(v)
		case name == "part":
			for _, inner := range v.Items() {
				p, err := builtOf(r, inner)
				if err != nil {
					return nil, err
				}
				b.parts = append(b.parts, p)
			}
		}
	}
	if (b.raw == nil) == (len(b.parts) == 0) {
		return nil, errNoValue
	}
	return b, nil
}

// render gives the value as JSON, for the place at a path of a resource of the
// type.
func (b *built) render(typ string, path []string) ([]byte, error) {
	if b.raw != nil {
		return b.raw, nil
	}
	var names []string
	values, lists := map[string][][]byte{}, map[string]bool{}
	for _, p := range b.parts {
		s, ok := fhir.SlotOf(typ, path, p.name)
		if !ok {
			return nil, fmt.Errorf("the value has a part %q, which is no element of its group", p.name)
		}
		member := p.name
		if len(s.Members) > 0 && !slices.Contains(s.Members, member) {
			member += p.suffix
		}
		value, err := p.render(typ, append(slices.Clone(path), member))
		if err != nil {
			return nil, err
		}
		if !slices.Contains(names, member) {
			names = append(names, member)
		} else if !s.List {
			return nil, fmt.Errorf("the value has more than one %q", p.name)
		}
		values[member], lists[member] = append(values[member], value), s.List
	}
	out := []byte("{")
	for n, name := range names {
		if n > 0 {
			out = append(out, ',')
		}
		key, err := json.Marshal(name)
		if err != nil {
			return nil, err
		}
		out = append(append(out, key...), ':')
		if lists[name] {
			out = append(out, '[')
		}
		for m, v := range values[name] {
			if m > 0 {
				out = append(out, ',')
			}
			out = append(out, v...)
		}
		if lists[name] {
			out = append(out, ']')
		}
	}
	return append(out, '}'), nil
}

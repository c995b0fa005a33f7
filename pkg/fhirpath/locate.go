package fhirpath

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Place is a value of a resource, and where it lies: names of members and numbers
// of items, as in a JSON Pointer.
type Place struct {
	Path  []string
	Value any
}

// Locate gives the places that the expression finds in a decoded resource. Only
// expressions that walk through the resource have places: members, [n], where(),
// extension(), first(), last(), single(), ofType() and as. For any other, the
// error is ErrUnsupported.
func (e *Expression) Locate(resource any) ([]Place, error) {
	out, err := locate(e.root, scope{resource})
	if err != nil {
		return nil, fmt.Errorf("%s: %w", e.source, err)
	}
	return out, nil
}

// Last takes the last step off an expression: what comes before it, and its name.
// ok is false when the expression does not end with the name of a member.
func (e *Expression) Last() (before *Expression, name string, ok bool) {
	s, ok := e.root.(*step)
	if !ok || s.first {
		return nil, "", false
	}
	return &Expression{source: e.source, root: s.of}, s.name, true
}

func locate(n node, s scope) ([]Place, error) {
	switch n := n.(type) {
	case focus, whole:
		return []Place{{Value: s.resource}}, nil
	case *step:
		return n.locate(s)
	case *index:
		from, err := locate(n.of, s)
		if err != nil {
			return nil, err
		}
		at, err := n.at.eval(s, []any{s.resource})
		if err != nil {
			return nil, err
		}
		i, err := whole1(at)
		if err != nil || i < 0 || i >= len(from) {
			return nil, err
		}
		return from[i : i+1], nil
	case *typed:
		from, err := locate(n.of, s)
		if err != nil || !n.only {
			return nil, orUnsupported(err)
		}
		return ofTypeIn(from, n.typ), nil
	case *call:
		return n.locate(s)
	}
	return nil, orUnsupported(nil)
}

func orUnsupported(err error) error {
	if err != nil {
		return err
	}
	return fmt.Errorf("%w as the place of a value", ErrUnsupported)
}

// ofTypeIn keeps the choices that are written with the type in their name.
func ofTypeIn(from []Place, typ string) []Place {
	var out []Place
	for _, p := range from {
		name := ""
		for _, token := range p.Path { // the last that is no number
			if token != "" && !isDigit(token[0]) {
				name = token
			}
		}
		if typ != "" && strings.HasSuffix(name, strings.ToUpper(typ[:1])+typ[1:]) {
			out = append(out, p)
		}
	}
	return out
}

func (n *step) locate(s scope) ([]Place, error) {
	from, err := locate(n.of, s)
	if err != nil {
		return nil, err
	}
	if n.first && isOf(s.resource, n.name) {
		return from, nil
	}
	var out []Place
	for _, p := range from {
		m, _ := p.Value.(map[string]any)
		name := n.name
		if _, ok := m[name]; !ok {
			for key := range m {
				if rest, found := strings.CutPrefix(key, name); found && rest != "" && isChoice(rest) {
					name = key
				}
			}
		}
		out = append(out, itemsOf(append(slices.Clone(p.Path), name), m[name])...)
	}
	return out, nil
}

// itemsOf are the places of a member: of each item, if it is a list.
func itemsOf(path []string, v any) []Place {
	list, ok := v.([]any)
	switch {
	case v == nil:
		return nil
	case !ok:
		return []Place{{path, v}}
	}
	var out []Place
	for i, item := range list {
		if item != nil {
			out = append(out, Place{append(slices.Clone(path), strconv.Itoa(i)), item})
		}
	}
	return out
}

func (n *call) locate(s scope) ([]Place, error) {
	if n.name == "extension" {
		from, err := (&step{of: n.of, name: "extension"}).locate(s)
		if err != nil {
			return nil, err
		}
		url, err := n.args[0].eval(s, []any{s.resource})
		return slices.DeleteFunc(from, func(p Place) bool {
			m, _ := p.Value.(map[string]any)
			return len(url) != 1 || m["url"] != url[0]
		}), err
	}
	from, err := locate(n.of, s)
	if err != nil {
		return nil, err
	}
	switch n.name {
	case "first":
		return from[:min(1, len(from))], nil
	case "last":
		return from[max(0, len(from)-1):], nil
	case "single":
		if len(from) > 1 {
			return nil, fmt.Errorf("%w: single() of %d values", ErrEvaluation, len(from))
		}
		return from, nil
	case "ofType":
		if named, ok := n.args[0].(*step); ok {
			return ofTypeIn(from, named.name), nil
		}
	case "where":
		var out []Place
		for _, p := range from {
			got, err := where(s, []any{p.Value}, n.args)
			if err != nil {
				return nil, err
			}
			if len(got) == 1 {
				out = append(out, p)
			}
		}
		return out, nil
	}
	return nil, fmt.Errorf("%w as the place of a value: %s()", ErrUnsupported, n.name)
}

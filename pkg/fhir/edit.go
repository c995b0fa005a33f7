package fhir

import (
	"errors"
	"slices"
)

// Amendment is a change of a resource that a sender asks for: a [JSONPatch], or
// one in another language.
type Amendment interface {
	// Apply gives the changed resource, which has to be parsed again, or says
	// what of the change cannot be carried out.
	Apply(r *Resource) ([]byte, Issues)
}

// Editing is a resource while it is changed, step by step. What it makes of the
// resource has to be parsed again.
type Editing struct{ d patching }

// Edit begins a change of the resource, which itself stays as it is.
func (r *Resource) Edit() *Editing {
	return &Editing{patching{root: fluidOf(r.tree, r.Raw, r.base)}}
}

// Bytes is the resource as it stands.
func (e *Editing) Bytes() []byte { return e.d.root.append(nil) }

// Do carries out one operation of RFC 6902 (add, remove, replace or move) on
// paths of member names and of numbers of items. The error says why it cannot be
// done, without any content.
func (e *Editing) Do(op string, path, from []string, value []byte) error {
	var f *fluid
	if value != nil {
		root, issue := readValue(value)
		if issue != nil {
			return errors.New(issue.Text)
		}
		f = fluidOf(root, value, 0)
	}
	if text := e.d.apply(patchOp{op: op, path: path, from: from}, f); text != "" {
		return errors.New(text)
	}
	return nil
}

// Slot is how an element is written in JSON.
type Slot struct {
	List    bool
	Members []string // of a choice, such as value[x]: what it may be written as
}

// SlotOf finds an element of R4 by the type of its resource, the path to what has
// it (names of members, and numbers of items, which mean nothing here) and its
// name, which for a choice is without the type. It does not look into contained
// resources.
func SlotOf(resourceType string, path []string, name string) (Slot, bool) {
	s := structureOf(resourceType)
	for _, token := range path {
		if _, number := arrayIndex(token); number {
			continue
		}
		if s == nil || s.elements[token] == nil {
			return Slot{}, false
		}
		s = s.elements[token].of
	}
	if s == nil {
		return Slot{}, false
	}
	if e := s.elements[name]; e != nil {
		if e.choice != nil {
			return Slot{Members: slices.Clone(e.choice.members)}, true
		}
		return Slot{List: e.list}, true
	}
	for _, c := range s.choices {
		if c.base == name {
			return Slot{Members: slices.Clone(c.members)}, true
		}
	}
	return Slot{}, false
}

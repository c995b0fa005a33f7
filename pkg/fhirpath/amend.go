package fhirpath

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"example.org/countback/pkg/fhir"
)

// working is a resource while a FHIRPath Patch is carried out.
type working struct {
	typ  string
	edit *fhir.Editing
}

func (w *working) do(op operationOf) error {
	tree, err := Decode(w.edit.Bytes())
	if err != nil {
		return err
	}
	switch op.kind {
	case "add":
		return w.add(tree, op)
	case "insert", "move":
		return w.inList(tree, op)
	case "delete":
		places, err := op.path.Locate(tree)
		if err != nil || len(places) == 0 { // R4: the element to delete, if found
			return err
		}
		return w.remove(tree, places)
	}
	return w.replace(tree, op)
}

// one is the single place that R4 demands.
func one(places []Place, err error) (Place, error) {
	switch {
	case err != nil:
		return Place{}, err
	case len(places) == 0:
		return Place{}, errors.New("its path finds nothing")
	case len(places) > 1:
		return Place{}, fmt.Errorf("its path finds %d elements, and must find one", len(places))
	}
	return places[0], nil
}

// slot finds what an element is, and refuses one that R4 does not know there.
func (w *working) slot(in Place, name string) (fhir.Slot, error) {
	s, ok := fhir.SlotOf(w.typ, in.Path, name)
	if !ok {
		return s, errors.New("there is no element of this name there, or it is in a contained resource, which a patch does not reach")
	}
	return s, nil
}

func (w *working) add(tree any, op operationOf) error {
	in, err := one(op.path.Locate(tree))
	if err != nil {
		return err
	}
	s, err := w.slot(in, op.name)
	if err != nil {
		return err
	}
	m, ok := in.Value.(map[string]any)
	if !ok {
		return errors.New("its path finds a primitive value, which has no elements to add to")
	}
	if there := membersOf(m, op.name); !s.List && len(there) > 0 {
		return errors.New("the element does not repeat, and is there already: replace it")
	}
	at := append(slices.Clone(in.Path), op.name)
	if s.List {
		return w.append(m, at, op.value)
	}
	return w.set(in.Path, op.name, op.value)
}

// append adds an item at the end of a list, and begins the list where it is.
func (w *working) append(in map[string]any, at []string, v *built) error {
	value, err := v.render(w.typ, at)
	if err != nil {
		return err
	}
	name := at[len(at)-1]
	if in["_"+name] != nil {
		return errSibling
	}
	if in[name] == nil {
		return w.edit.Do("add", at, nil, slices.Concat([]byte("["), value, []byte("]")))
	}
	return w.edit.Do("add", append(at, "-"), nil, value)
}

var errSibling = errors.New("the items of this list carry extensions of their own: use a JSON Patch")

// set writes an element that does not repeat, or a choice under the name that its
// type gives it.
func (w *working) set(path []string, name string, v *built) error {
	s, err := w.slot(Place{Path: path}, name)
	if err != nil {
		return err
	}
	if len(s.Members) > 0 && !slices.Contains(s.Members, name) {
		if name += v.suffix; !slices.Contains(s.Members, name) {
			return fmt.Errorf("%s is none of the types that this element may have", orNone(v.suffix))
		}
	}
	at := append(slices.Clone(path), name)
	value, err := v.render(w.typ, at)
	if err != nil {
		return err
	}
	return w.edit.Do("add", at, nil, value)
}

func orNone(suffix string) string {
	if suffix == "" {
		return "a value without a type"
	}
	return suffix
}

// inList inserts into a list, or moves an item in it. The path names the list, so
// that it may be one that is not there yet.
func (w *working) inList(tree any, op operationOf) error {
	before, name, ok := op.path.Last()
	if !ok {
		return errors.New("its path must name a list, such as Patient.identifier")
	}
	in, err := one(before.Locate(tree))
	if err != nil {
		return err
	}
	s, err := w.slot(in, name)
	if err != nil {
		return err
	}
	m, _ := in.Value.(map[string]any)
	list, _ := m[name].([]any)
	at := append(slices.Clone(in.Path), name)
	switch {
	case !s.List:
		return errors.New("its path must name a list, and this element does not repeat")
	case m["_"+name] != nil:
		return errSibling
	case op.kind == "move":
		if op.source >= len(list) || op.destination >= len(list) {
			return fmt.Errorf("the list has %d items, counted from 0", len(list))
		}
		return w.edit.Do("move", append(slices.Clone(at), strconv.Itoa(op.destination)), append(at, strconv.Itoa(op.source)), nil)
	case op.index > len(list):
		return fmt.Errorf("the list has %d items: index may be %d at most", len(list), len(list))
	case len(list) == 0:
		return w.append(m, at, op.value)
	}
	value, err := op.value.render(w.typ, at)
	if err != nil {
		return err
	}
	return w.edit.Do("add", append(at, strconv.Itoa(op.index)), nil, value)
}

func (w *working) replace(tree any, op operationOf) error {
	p, err := one(op.path.Locate(tree))
	if err != nil {
		return err
	}
	if len(p.Path) == 0 {
		return errors.New("the whole resource is replaced by an update, and not by a patch")
	}
	in, last := p.Path[:len(p.Path)-1], p.Path[len(p.Path)-1]
	if isDigit(last[0]) { // an item of a list
		if w.hasSibling(tree, in) {
			return errSibling
		}
		value, err := op.value.render(w.typ, in)
		if err != nil {
			return err
		}
		return w.edit.Do("replace", p.Path, nil, value)
	}
	s, err := w.slot(Place{Path: in}, last)
	if err != nil {
		return err
	}
	if len(s.Members) == 0 {
		return w.set(in, last, op.value)
	}
	base := strings.TrimSuffix(last, suffixOf(last)) // a choice may become another type
	if err := w.remove(tree, []Place{p}); err != nil {
		return err
	}
	return w.set(in, base, op.value)
}

// suffixOf is the type at the end of a member's name; the longest that fits.
func suffixOf(member string) string {
	out := ""
	for _, c := range choices {
		if strings.HasSuffix(member, c) && len(c) > len(out) && len(c) < len(member) {
			out = c
		}
	}
	return out
}

// remove takes an element out. A list that has no item left goes with its last,
// and so does what was said about a primitive beside it.
func (w *working) remove(tree any, places []Place) error {
	p, err := one(places, nil)
	if err != nil {
		return err
	}
	if len(p.Path) == 0 {
		return errors.New("the whole resource is deleted by a delete, and not by a patch")
	}
	in, last := p.Path[:len(p.Path)-1], p.Path[len(p.Path)-1]
	if isDigit(last[0]) {
		if w.hasSibling(tree, in) {
			return errSibling
		}
		if list, _ := at(tree, in).([]any); len(list) == 1 {
			return w.edit.Do("remove", in, nil, nil)
		}
		return w.edit.Do("remove", p.Path, nil, nil)
	}
	if w.hasSibling(tree, p.Path) {
		if err := w.edit.Do("remove", append(slices.Clone(in), "_"+last), nil, nil); err != nil {
			return err
		}
	}
	return w.edit.Do("remove", p.Path, nil, nil)
}

// hasSibling reports whether something is said about the primitive at a path.
func (w *working) hasSibling(tree any, path []string) bool {
	m, _ := at(tree, path[:len(path)-1]).(map[string]any)
	return m["_"+path[len(path)-1]] != nil
}

// at follows a path; nil when there is nothing.
func at(tree any, path []string) any {
	for _, token := range path {
		switch v := tree.(type) {
		case map[string]any:
			tree = v[token]
		case []any:
			i, err := strconv.Atoi(token)
			if err != nil || i < 0 || i >= len(v) {
				return nil
			}
			tree = v[i]
		default:
			return nil
		}
	}
	return tree
}

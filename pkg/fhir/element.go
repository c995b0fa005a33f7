package fhir

import (
	"encoding/json"
	"reflect"
	"strings"
	"sync"
)

// structure is a resource, a data type or a group of elements inside one.
type structure struct {
	name     string // of the samply struct, which for a resource is its type
	resource bool
	elements map[string]*element
	required []*element
	choices  []*choice
}

// element is one element of a structure, as its JSON member.
type element struct {
	name     string
	list     bool
	required bool
	prim     primitive  // of a primitive
	codes    []string   // of a primitive with a required binding
	of       *structure // of anything with elements of its own
	resource bool       // holds any resource
	choice   *choice
}

// choice is an element such as value[x], of which one alternative may be sent.
type choice struct {
	base     string
	index    int
	required bool
	members  []string
}

// tables are built once, from the json tags of the samply structs and the
// lists of elementtable_*.go.
var tables = sync.OnceValue(buildTables)

// structureOf is the table of a resource type; nil for an unknown one.
func structureOf(resourceType string) *structure {
	if !IsResourceType(resourceType) {
		return nil
	}
	return tables()[resourceType]
}

type builder struct {
	done  map[string]*structure
	hints map[string]map[string]string // structure, element: what the lists say
}

func buildTables() map[string]*structure {
	b := builder{done: map[string]*structure{}, hints: map[string]map[string]string{}}
	for line := range strings.Lines(elementsAToI + elementsJToZ) {
		fields := strings.Fields(line)
		if len(fields) == 0 {
			continue
		}
		hints := make(map[string]string, len(fields))
		for _, f := range fields[1:] {
			name, hint, _ := strings.Cut(f, ":")
			hints[name] = hint
		}
		b.hints[fields[0]] = hints
	}
	for _, t := range resourceTypes {
		s := b.structure(t)
		s.resource = true
		s.elements["id"].prim = primID
		s.elements["implicitRules"].prim = primURI
		s.elements["language"].prim = primCode
		if _, domain := s.elements["text"]; domain && s.elements["extension"] != nil {
			s.elements["contained"] = &element{name: "contained", list: true, resource: true}
		}
	}
	return b.done
}

func (b *builder) structure(t reflect.Type) *structure {
	if s := b.done[t.Name()]; s != nil {
		return s
	}
	s := &structure{name: t.Name(), elements: make(map[string]*element, t.NumField())}
	b.done[t.Name()] = s // before its elements: structures may hold themselves
	for i := range t.NumField() {
		e := b.element(t.Name(), t.Field(i))
		s.elements[e.name] = e
	}
	for name, hint := range b.hints[t.Name()] {
		if hint == "[x]" {
			s.addChoice(name, t)
		}
	}
	for i := range t.NumField() {
		name, _, _ := strings.Cut(t.Field(i).Tag.Get("json"), ",")
		if e := s.elements[name]; e.required && e.choice == nil {
			s.required = append(s.required, e)
		}
	}
	return s
}

func (b *builder) element(owner string, f reflect.StructField) *element {
	name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
	e := &element{name: name, required: !strings.Contains(options, "omitempty")}
	t := f.Type
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	if t == rawMessage {
		e.resource = true
		return e
	}
	if t.Kind() == reflect.Slice {
		e.list = true
		t = t.Elem()
	}
	e.prim, e.codes = primitiveOf(t)
	if e.prim == primNone {
		e.of = b.structure(t)
		return e
	}
	hint, codes, _ := strings.Cut(b.hints[owner][name], "=")
	if p, ok := primitives[hint]; ok {
		e.prim = p
	}
	if codes != "" {
		e.codes = strings.Split(codes, "|")
	}
	return e
}

// coder is what the enumerations of samply have in common.
type coder interface{ Code() string }

// primitiveOf is the primitive type that a Go type implies, with the codes of
// an enumeration; primNone for a struct.
func primitiveOf(t reflect.Type) (primitive, []string) {
	switch {
	case t.Kind() == reflect.Bool:
		return primBoolean, nil
	case t == jsonNumber:
		return primDecimal, nil
	case t.Kind() == reflect.String:
		return primString, nil
	case t.Kind() != reflect.Int:
		return primNone, nil
	case !t.Implements(reflect.TypeFor[coder]()):
		return primInteger, nil
	}
	var codes []string
	for v := reflect.New(t).Elem(); ; v.SetInt(v.Int() + 1) {
		code := v.Interface().(coder).Code()
		if code == "<unknown>" {
			return primCode, codes
		}
		codes = append(codes, code)
	}
}

// addChoice groups the elements named base + type: valueString, valueBoolean …
// The type in the name is also the primitive type of the alternative.
func (s *structure) addChoice(base string, t reflect.Type) {
	c := &choice{base: base, index: len(s.choices)}
	for i := range t.NumField() {
		name, _, _ := strings.Cut(t.Field(i).Tag.Get("json"), ",")
		suffix, found := strings.CutPrefix(name, base)
		if !found || suffix == "" || suffix[0] < 'A' || suffix[0] > 'Z' {
			continue
		}
		e := s.elements[name]
		if p, ok := primitives[strings.ToLower(suffix[:1])+suffix[1:]]; ok && e.prim != primNone {
			if e.codes == nil {
				e.prim = p
			}
		} else if e.of == nil || e.of.name != suffix && !isQuantity(suffix) {
			continue
		}
		e.choice = c
		c.required = c.required || e.required
		c.members = append(c.members, name)
	}
	s.choices = append(s.choices, c)
}

// isQuantity: the specialised quantities are alternatives of their own name,
// which some structs carry as a plain Quantity.
func isQuantity(suffix string) bool {
	switch suffix {
	case "Age", "Count", "Distance", "Duration", "Money":
		return true
	}
	return false
}

var (
	rawMessage = reflect.TypeFor[json.RawMessage]()
	jsonNumber = reflect.TypeFor[json.Number]()
)

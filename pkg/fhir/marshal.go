package fhir

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"sync"
)

// ErrUnwritable says that a value cannot be written as valid R4 JSON.
var ErrUnwritable = errors.New("cannot be written as FHIR R4")

// typed are this package's own resources; their constructors set the type.
type typed interface{ typeName() string }

// Marshal writes a resource as JSON: resourceType first, "<" and ">" of a
// narrative as they are, no line end.
//
// It takes the resource types of this package and any samply resource struct.
// What a samply struct leads to is checked with [Parse] first, because some of
// them write elements that R4 forbids: such a value is an error, not output.
// Data types that are not resources (an Extension, say) are written as they are.
func Marshal(v any) ([]byte, error) {
	if t, ok := v.(typed); ok {
		if t.typeName() == "" {
			return nil, fmt.Errorf("%T was not made by its constructor: %w", v, ErrUnwritable)
		}
		return encode(v)
	}
	rv := reflect.ValueOf(v)
	for rv.Kind() == reflect.Pointer && !rv.IsNil() {
		rv = rv.Elem()
	}
	if !rv.IsValid() || rv.Kind() == reflect.Pointer {
		return nil, fmt.Errorf("nothing to write: %w", ErrUnwritable)
	}
	if resourceTypes[rv.Type().Name()] != rv.Type() {
		return encode(v)
	}
	body, err := encode(plain(rv))
	if err != nil {
		return nil, err
	}
	if _, issues := Parse(body, len(body)); len(issues) > 0 {
		return nil, fmt.Errorf("%s: %w: %w", rv.Type().Name(), ErrUnwritable, issues)
	}
	return body, nil
}

func encode(v any) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return nil, fmt.Errorf("encode %T: %w", v, ErrUnwritable)
	}
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), nil
}

// plainTypes holds, for a samply resource type, a struct with resourceType
// before the same fields and without the type's own MarshalJSON.
var plainTypes sync.Map // reflect.Type → reflect.Type

func plain(v reflect.Value) any {
	t := v.Type()
	made, ok := plainTypes.Load(t)
	if !ok {
		fields := []reflect.StructField{{Name: "ResourceType", Type: reflect.TypeFor[string](), Tag: `json:"resourceType"`}}
		for i := range t.NumField() {
			f := t.Field(i)
			fields = append(fields, reflect.StructField{Name: f.Name, Type: f.Type, Tag: f.Tag})
		}
		made, _ = plainTypes.LoadOrStore(t, reflect.StructOf(fields))
	}
	out := reflect.New(made.(reflect.Type)).Elem()
	out.Field(0).SetString(t.Name())
	for i := range t.NumField() {
		out.Field(i + 1).Set(v.Field(i))
	}
	return out.Interface()
}

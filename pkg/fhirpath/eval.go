package fhirpath

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"unicode"

	"example.org/countback/pkg/fhir"
)

// scope is what stays the same through one evaluation.
type scope struct{ resource any }

// Decode reads JSON so that it can be evaluated: numbers keep their text.
func Decode(body []byte) (any, error) {
	d := json.NewDecoder(bytes.NewReader(body))
	d.UseNumber()
	var v any
	if err := d.Decode(&v); err != nil {
		return nil, err
	}
	return v, nil
}

// Evaluate gives the collection that the expression has for a decoded resource.
// Its error is ErrEvaluation.
func (e *Expression) Evaluate(resource any) ([]any, error) {
	out, err := e.root.eval(scope{resource}, []any{resource})
	if err != nil {
		return nil, fmt.Errorf("%s: %w", e.source, err)
	}
	return out, nil
}

// Texts is Evaluate with each item as text: primitives as they are, the rest as
// JSON.
func (e *Expression) Texts(resource any) ([]string, error) {
	items, err := e.Evaluate(resource)
	out := make([]string, 0, len(items))
	for _, item := range items {
		out = append(out, textOf(item))
	}
	return out, err
}

// Holds reports whether the expression is true. Empty is not; more than one
// item, or an item that is no boolean, is ErrEvaluation.
func (e *Expression) Holds(resource any) (bool, error) {
	items, err := e.Evaluate(resource)
	switch {
	case err != nil:
		return false, err
	case len(items) == 0:
		return false, nil
	}
	if b, ok := items[0].(bool); ok && len(items) == 1 {
		return b, nil
	}
	return false, fmt.Errorf("%s: %w: it is no condition, but %d values", e.source, ErrEvaluation, len(items))
}

// moment is a date or time that stands in an expression.
type moment string

func textOf(item any) string {
	switch v := item.(type) {
	case string:
		return v
	case moment:
		return string(v)
	case json.Number:
		return v.String()
	case bool:
		return fmt.Sprint(v)
	}
	out, err := json.Marshal(item)
	if err != nil {
		return fmt.Sprint(item)
	}
	return string(out)
}

type literal struct{ value any }

func (l literal) eval(scope, []any) ([]any, error) {
	if l.value == nil {
		return nil, nil
	}
	return []any{l.value}, nil
}

type focus struct{}

func (focus) eval(_ scope, in []any) ([]any, error) { return in, nil }

type whole struct{}

func (whole) eval(s scope, _ []any) ([]any, error) { return []any{s.resource}, nil }

// step goes to a member. A first step may name the type of the resource.
type step struct {
	of    node
	name  string
	first bool
}

func (n *step) eval(s scope, in []any) ([]any, error) {
	from, err := n.of.eval(s, in)
	if err != nil {
		return nil, err
	}
	if n.first && (fhir.IsResourceType(n.name) || n.name == "Resource" || n.name == "DomainResource") {
		return slices.DeleteFunc(slices.Clone(from), func(item any) bool { return !isOf(item, n.name) }), nil
	}
	var out []any
	for _, item := range from {
		if m, ok := item.(map[string]any); ok {
			out = append(out, membersOf(m, n.name)...)
		}
	}
	return out, nil
}

// membersOf gives the values of a member, or of a choice of types.
func membersOf(m map[string]any, name string) []any {
	v, ok := m[name]
	if !ok {
		for key, value := range m {
			rest, found := strings.CutPrefix(key, name)
			if found && rest != "" && isChoice(rest) {
				v = value
			}
		}
	}
	switch v := v.(type) {
	case nil:
		return nil
	case []any:
		return slices.DeleteFunc(slices.Clone(v), func(item any) bool { return item == nil })
	}
	return []any{v}
}

// choices are the types that end the name of a choice, those of R4 that occur.
var choices = []string{
	"Boolean", "Code", "Date", "DateTime", "Instant", "Integer", "Decimal", "String", "Time", "Uri", "Url", "Canonical",
	"Id", "Oid", "Uuid", "Markdown", "PositiveInt", "UnsignedInt", "Base64Binary", "Quantity", "Range", "Ratio", "Period",
	"Duration", "Age", "Timing", "CodeableConcept", "Coding", "Reference", "Identifier", "Attachment", "Annotation",
	"HumanName", "Address", "ContactPoint", "Money", "Signature", "SampledData", "Expression",
}

func isChoice(name string) bool { return slices.Contains(choices, name) }

// isOf reports whether an item is a resource of the type.
func isOf(item any, typ string) bool {
	m, ok := item.(map[string]any)
	if !ok {
		return false
	}
	is, ok := m["resourceType"].(string)
	return ok && (is == typ || typ == "Resource" || typ == "DomainResource")
}

// typed is the operators is and as, and ofType.
type typed struct {
	of   node
	typ  string
	only bool // as: the items of the type; else whether the one item is
}

func (n *typed) eval(s scope, in []any) ([]any, error) {
	from, err := n.of.eval(s, in)
	if err != nil {
		return nil, err
	}
	var out []any
	for _, item := range from {
		is, err := hasType(item, n.typ)
		if err != nil {
			return nil, err
		}
		if !n.only {
			out = append(out, is)
		} else if is {
			out = append(out, item)
		}
	}
	return out, nil
}

// hasType tells resources and the primitives of JSON apart; the other types are
// not written in JSON, and asking for one is refused.
func hasType(item any, typ string) (bool, error) {
	switch typ {
	case "string", "String":
		_, ok := item.(string)
		return ok, nil
	case "boolean", "Boolean":
		_, ok := item.(bool)
		return ok, nil
	}
	if unicode.IsUpper(rune(typ[0])) && fhir.IsResourceType(typ) {
		return isOf(item, typ), nil
	}
	return false, fmt.Errorf("%w: JSON does not say whether a value is of type %s", ErrEvaluation, typ)
}

type index struct{ of, at node }

func (n *index) eval(s scope, in []any) ([]any, error) {
	from, err := n.of.eval(s, in)
	if err != nil {
		return nil, err
	}
	at, err := n.at.eval(s, in)
	if err != nil {
		return nil, err
	}
	i, err := whole1(at)
	if err != nil || i < 0 || i >= len(from) {
		return nil, err
	}
	return from[i : i+1], nil
}

// whole1 is the one whole number of a collection.
func whole1(items []any) (int, error) {
	if len(items) == 1 {
		if n, ok := items[0].(json.Number); ok {
			if i, err := n.Int64(); err == nil {
				return int(i), nil
			}
		}
	}
	return 0, fmt.Errorf("%w: a whole number is wanted", ErrEvaluation)
}

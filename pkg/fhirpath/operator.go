package fhirpath

import (
	"encoding/json"
	"fmt"
	"math/big"
	"reflect"
	"slices"
	"strings"

	"example.org/countback/pkg/fhir"
)

type operation struct {
	sign        string
	left, right node
}

func (n *operation) eval(s scope, in []any) ([]any, error) {
	left, err := n.left.eval(s, in)
	if err != nil {
		return nil, err
	}
	right, err := n.right.eval(s, in)
	if err != nil {
		return nil, err
	}
	switch n.sign {
	case "and", "or", "xor", "implies":
		return logic(n.sign, left, right)
	case "=", "!=":
		return equality(left, right, n.sign == "=")
	case "<", ">", "<=", ">=":
		return order(n.sign, left, right)
	case "|":
		return union(left, right), nil
	case "in":
		return within(left, right)
	case "contains":
		return within(right, left)
	}
	return join(n.sign, left, right)
}

// truth is true, false or, as nil, not known.
func truth(items []any) (*bool, error) {
	if len(items) == 0 {
		return nil, nil
	}
	if len(items) > 1 {
		return nil, fmt.Errorf("%w: %d values where a condition is wanted", ErrEvaluation, len(items))
	}
	b, ok := items[0].(bool)
	if !ok {
		b = true // one item stands for true, by the singleton rule
	}
	return &b, nil
}

// logic is three-valued, as FHIRPath's.
func logic(sign string, left, right []any) ([]any, error) {
	l, err := truth(left)
	if err != nil {
		return nil, err
	}
	r, err := truth(right)
	if err != nil {
		return nil, err
	}
	is := func(p *bool, v bool) bool { return p != nil && *p == v }
	known := l != nil && r != nil
	switch {
	case sign == "and" && (is(l, false) || is(r, false)):
		return []any{false}, nil
	case sign == "or" && (is(l, true) || is(r, true)):
		return []any{true}, nil
	case sign == "implies" && (is(l, false) || is(r, true)):
		return []any{true}, nil
	case !known:
		return nil, nil
	case sign == "and":
		return []any{*l && *r}, nil
	case sign == "or":
		return []any{*l || *r}, nil
	case sign == "xor":
		return []any{*l != *r}, nil
	}
	return []any{!*l || *r}, nil
}

func equality(left, right []any, wanted bool) ([]any, error) {
	if len(left) == 0 || len(right) == 0 {
		return nil, nil
	}
	if len(left) != len(right) {
		return []any{!wanted}, nil
	}
	for i := range left {
		if same, known := equal(left[i], right[i]); !known {
			return nil, nil
		} else if !same {
			return []any{!wanted}, nil
		}
	}
	return []any{wanted}, nil
}

// equal compares two items; known is false for times of another precision.
func equal(a, b any) (same, known bool) {
	if x, ok := a.(json.Number); ok {
		if y, ok := b.(json.Number); ok {
			return rational(x).Cmp(rational(y)) == 0, true
		}
	}
	_, am := a.(moment)
	_, bm := b.(moment)
	if am || bm {
		c, known := compareTimes(textOf(a), textOf(b))
		return c == 0, known
	}
	return reflect.DeepEqual(a, b), true
}

func rational(n json.Number) *big.Rat {
	r, ok := new(big.Rat).SetString(n.String())
	if !ok {
		return new(big.Rat)
	}
	return r
}

// compareTimes compares dates of the same precision by their text, and moments
// by when they are; known is false for anything else.
func compareTimes(a, b string) (c int, known bool) {
	x, errX := fhir.ParseDateTime(a)
	y, errY := fhir.ParseDateTime(b)
	if errX != nil || errY != nil {
		return 0, false
	}
	if s, ok := x.Instant(); ok {
		if t, ok := y.Instant(); ok {
			return s.Compare(t), true
		}
	}
	if x.Precision() != y.Precision() {
		return 0, false
	}
	return strings.Compare(a, b), true
}

func order(sign string, left, right []any) ([]any, error) {
	if len(left) == 0 || len(right) == 0 {
		return nil, nil
	}
	if len(left) > 1 || len(right) > 1 {
		return nil, fmt.Errorf("%w: only single values have an order", ErrEvaluation)
	}
	c, known, err := compare(left[0], right[0])
	if err != nil || !known {
		return nil, err
	}
	return []any{strings.HasPrefix(sign, "<") && c < 0 || strings.HasPrefix(sign, ">") && c > 0 || len(sign) == 2 && c == 0}, nil
}

func compare(a, b any) (c int, known bool, err error) {
	x, xn := a.(json.Number)
	y, yn := b.(json.Number)
	if xn && yn {
		return rational(x).Cmp(rational(y)), true, nil
	}
	if xn || yn || !isText(a) || !isText(b) {
		return 0, false, fmt.Errorf("%w: %s and %s have no order", ErrEvaluation, textOf(a), textOf(b))
	}
	s, t := textOf(a), textOf(b)
	if c, known := compareTimes(s, t); known {
		return c, true, nil
	}
	_, am := a.(moment)
	_, bm := b.(moment)
	return strings.Compare(s, t), !am && !bm, nil
}

func isText(v any) bool {
	switch v.(type) {
	case string, moment:
		return true
	}
	return false
}

func has(items []any, item any) bool {
	return slices.ContainsFunc(items, func(other any) bool { same, known := equal(item, other); return same && known })
}

func union(left, right []any) []any {
	var out []any
	for _, item := range slices.Concat(left, right) {
		if !has(out, item) {
			out = append(out, item)
		}
	}
	return out
}

// within is the operator in.
func within(item, items []any) ([]any, error) {
	switch len(item) {
	case 0:
		return nil, nil
	case 1:
		return []any{has(items, item[0])}, nil
	}
	return nil, fmt.Errorf("%w: one value is looked for at a time", ErrEvaluation)
}

// join is + and - of numbers, + and & of texts.
func join(sign string, left, right []any) ([]any, error) {
	if len(left) > 1 || len(right) > 1 {
		return nil, fmt.Errorf("%w: %s takes single values", ErrEvaluation, sign)
	}
	if sign == "&" {
		out := ""
		for _, item := range slices.Concat(left, right) {
			if !isText(item) {
				return nil, fmt.Errorf("%w: & joins texts", ErrEvaluation)
			}
			out += textOf(item)
		}
		return []any{out}, nil
	}
	if len(left) == 0 || len(right) == 0 {
		return nil, nil
	}
	x, xn := left[0].(json.Number)
	y, yn := right[0].(json.Number)
	s, xs := left[0].(string)
	t, ys := right[0].(string)
	switch {
	case xn && yn && sign == "+":
		return []any{decimal(new(big.Rat).Add(rational(x), rational(y)))}, nil
	case xn && yn:
		return []any{decimal(new(big.Rat).Sub(rational(x), rational(y)))}, nil
	case xs && ys && sign == "+":
		return []any{s + t}, nil
	}
	return nil, fmt.Errorf("%w: %s of these values", ErrEvaluation, sign)
}

func decimal(r *big.Rat) json.Number {
	if r.IsInt() {
		return json.Number(r.Num().String())
	}
	return json.Number(strings.TrimRight(r.FloatString(12), "0"))
}

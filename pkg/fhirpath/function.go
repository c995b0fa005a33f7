package fhirpath

import (
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// call is a function of a collection.
type call struct {
	of   node
	name string
	args []node
}

// function is one that is known: how many arguments it takes, and what it does.
type function struct {
	least, most int
	do          func(s scope, in []any, args []node) ([]any, error)
}

// functions is filled below: functions call the evaluation, which calls them.
var functions map[string]function

func init() {
	functions = map[string]function{
		"where":      {1, 1, where},
		"select":     {1, 1, selected},
		"all":        {1, 1, all},
		"exists":     {0, 1, exists},
		"empty":      {0, 0, func(_ scope, in []any, _ []node) ([]any, error) { return []any{len(in) == 0}, nil }},
		"not":        {0, 0, not},
		"count":      {0, 0, func(_ scope, in []any, _ []node) ([]any, error) { return []any{intOf(len(in))}, nil }},
		"first":      {0, 0, func(_ scope, in []any, _ []node) ([]any, error) { return in[:min(1, len(in))], nil }},
		"last":       {0, 0, func(_ scope, in []any, _ []node) ([]any, error) { return in[max(0, len(in)-1):], nil }},
		"tail":       {0, 0, func(_ scope, in []any, _ []node) ([]any, error) { return in[min(1, len(in)):], nil }},
		"skip":       {1, 1, func(s scope, in []any, a []node) ([]any, error) { return cut(s, in, a, false) }},
		"take":       {1, 1, func(s scope, in []any, a []node) ([]any, error) { return cut(s, in, a, true) }},
		"single":     {0, 0, single},
		"distinct":   {0, 0, func(_ scope, in []any, _ []node) ([]any, error) { return union(in, nil), nil }},
		"isDistinct": {0, 0, func(_ scope, in []any, _ []node) ([]any, error) { return []any{len(union(in, nil)) == len(in)}, nil }},
		"ofType":     {1, 1, ofType},
		"extension":  {1, 1, extension},
		"iif":        {2, 3, iif},
		"length":     {0, 0, ofText(func(t string) (any, error) { return intOf(len([]rune(t))), nil })},
		"lower":      {0, 0, ofText(func(t string) (any, error) { return strings.ToLower(t), nil })},
		"upper":      {0, 0, ofText(func(t string) (any, error) { return strings.ToUpper(t), nil })},
		"toInteger":  {0, 0, toInteger},
		"toString":   {0, 0, ofSingle(func(v any) (any, error) { return textOf(v), nil })},
		"startsWith": {1, 1, ofTexts(strings.HasPrefix)},
		"endsWith":   {1, 1, ofTexts(strings.HasSuffix)},
		"contains":   {1, 1, ofTexts(strings.Contains)},
		"matches":    {1, 1, matches},
		"substring":  {1, 2, substring},
		"join":       {0, 1, joined},
		"allTrue":    {0, 0, func(_ scope, in []any, _ []node) ([]any, error) { return []any{!has(in, false)}, nil }},
		"anyTrue":    {0, 0, func(_ scope, in []any, _ []node) ([]any, error) { return []any{has(in, true)}, nil }},
	}
}

// check refuses a function that is not known, or one with wrong arguments.
func (n *call) check() error {
	f, ok := functions[n.name]
	switch {
	case !ok:
		return fmt.Errorf("%w: function %s()", ErrUnsupported, n.name)
	case len(n.args) < f.least || len(n.args) > f.most:
		return fmt.Errorf("%w: %s() takes %d to %d arguments", ErrSyntax, n.name, f.least, f.most)
	}
	return nil
}

func (n *call) eval(s scope, in []any) ([]any, error) {
	from, err := n.of.eval(s, in)
	if err != nil {
		return nil, err
	}
	args := n.args
	if !slices.Contains(perItem, n.name) {
		if args, err = n.known(s, in); err != nil {
			return nil, err
		}
	}
	return functions[n.name].do(s, from, args)
}

// perItem are the functions whose argument is evaluated for each item of their
// collection, or not at all. Those of the others belong to what is around them.
var perItem = []string{"where", "select", "all", "exists", "iif", "ofType"}

// known evaluates the arguments for what is around the call.
func (n *call) known(s scope, in []any) ([]node, error) {
	out := make([]node, len(n.args))
	for i, arg := range n.args {
		value, err := arg.eval(s, in)
		if err != nil {
			return nil, err
		}
		out[i] = constant(value)
	}
	return out, nil
}

// constant is a collection that is known already.
type constant []any

func (c constant) eval(scope, []any) ([]any, error) { return c, nil }

func intOf(n int) json.Number { return json.Number(strconv.Itoa(n)) }

func where(s scope, in []any, args []node) ([]any, error) {
	var out []any
	for _, item := range in {
		got, err := args[0].eval(s, []any{item})
		if err != nil {
			return nil, err
		}
		if is, err := truth(got); err != nil {
			return nil, err
		} else if is != nil && *is {
			out = append(out, item)
		}
	}
	return out, nil
}

func selected(s scope, in []any, args []node) ([]any, error) {
	var out []any
	for _, item := range in {
		got, err := args[0].eval(s, []any{item})
		if err != nil {
			return nil, err
		}
		out = append(out, got...)
	}
	return out, nil
}

func all(s scope, in []any, args []node) ([]any, error) {
	kept, err := where(s, in, args)
	return []any{len(kept) == len(in)}, err
}

func exists(s scope, in []any, args []node) ([]any, error) {
	var err error
	if len(args) > 0 {
		in, err = where(s, in, args)
	}
	return []any{len(in) > 0}, err
}

func not(_ scope, in []any, _ []node) ([]any, error) {
	is, err := truth(in)
	if err != nil || is == nil {
		return nil, err
	}
	return []any{!*is}, nil
}

func cut(s scope, in []any, args []node, take bool) ([]any, error) {
	at, err := args[0].eval(s, in)
	if err != nil {
		return nil, err
	}
	n, err := whole1(at)
	n = min(max(n, 0), len(in))
	if take {
		return in[:n], err
	}
	return in[n:], err
}

func single(_ scope, in []any, _ []node) ([]any, error) {
	if len(in) > 1 {
		return nil, fmt.Errorf("%w: single() of %d values", ErrEvaluation, len(in))
	}
	return in, nil
}

func ofType(s scope, in []any, args []node) ([]any, error) {
	named, ok := args[0].(*step)
	if !ok {
		return nil, fmt.Errorf("%w: ofType() takes the name of a type", ErrEvaluation)
	}
	return (&typed{of: focus{}, typ: named.name, only: true}).eval(s, in)
}

func extension(s scope, in []any, args []node) ([]any, error) {
	url, err := args[0].eval(s, in)
	if err != nil || len(url) != 1 {
		return nil, err
	}
	var out []any
	for _, item := range in {
		m, _ := item.(map[string]any)
		for _, e := range membersOf(m, "extension") {
			if one, ok := e.(map[string]any); ok && one["url"] == url[0] {
				out = append(out, e)
			}
		}
	}
	return out, nil
}

func iif(s scope, in []any, args []node) ([]any, error) {
	got, err := args[0].eval(s, in)
	if err != nil {
		return nil, err
	}
	is, err := truth(got)
	switch {
	case err != nil:
		return nil, err
	case is != nil && *is:
		return args[1].eval(s, in)
	case len(args) == 3:
		return args[2].eval(s, in)
	}
	return nil, nil
}

// ofSingle makes a function of one value.
func ofSingle(do func(any) (any, error)) func(scope, []any, []node) ([]any, error) {
	return func(_ scope, in []any, _ []node) ([]any, error) {
		if len(in) > 1 {
			return nil, fmt.Errorf("%w: a single value is wanted, not %d", ErrEvaluation, len(in))
		}
		if len(in) == 0 {
			return nil, nil
		}
		v, err := do(in[0])
		if err != nil || v == nil {
			return nil, err
		}
		return []any{v}, nil
	}
}

func ofText(do func(string) (any, error)) func(scope, []any, []node) ([]any, error) {
	return ofSingle(func(v any) (any, error) {
		if !isText(v) {
			return nil, fmt.Errorf("%w: a text is wanted", ErrEvaluation)
		}
		return do(textOf(v))
	})
}

// ofTexts makes a function of one text and one argument.
func ofTexts(do func(text, arg string) bool) func(scope, []any, []node) ([]any, error) {
	return func(s scope, in []any, args []node) ([]any, error) {
		arg, err := args[0].eval(s, in)
		if err != nil || len(arg) == 0 {
			return nil, err
		}
		return ofText(func(t string) (any, error) { return do(t, textOf(arg[0])), nil })(s, in, nil)
	}
}

func toInteger(s scope, in []any, _ []node) ([]any, error) {
	return ofSingle(func(v any) (any, error) {
		if _, err := strconv.Atoi(textOf(v)); err != nil {
			return nil, nil
		}
		return json.Number(textOf(v)), nil
	})(s, in, nil)
}

func matches(s scope, in []any, args []node) ([]any, error) {
	arg, err := args[0].eval(s, in)
	if err != nil || len(arg) != 1 {
		return nil, err
	}
	pattern, err := regexp.Compile(textOf(arg[0]))
	if err != nil {
		return nil, fmt.Errorf("%w: matches(): %w", ErrEvaluation, err)
	}
	return ofText(func(t string) (any, error) { return pattern.MatchString(t), nil })(s, in, nil)
}

func substring(s scope, in []any, args []node) ([]any, error) {
	var at [2]int
	at[1] = 1 << 30
	for n, arg := range args {
		got, err := arg.eval(s, in)
		if err != nil {
			return nil, err
		}
		if at[n], err = whole1(got); err != nil {
			return nil, err
		}
	}
	return ofText(func(t string) (any, error) {
		runes := []rune(t)
		if at[0] < 0 || at[0] >= len(runes) {
			return nil, nil
		}
		return string(runes[at[0]:min(len(runes), at[0]+max(0, at[1]))]), nil
	})(s, in, nil)
}

func joined(s scope, in []any, args []node) ([]any, error) {
	between := ""
	if len(args) == 1 {
		got, err := args[0].eval(s, in)
		if err != nil || len(got) != 1 {
			return nil, err
		}
		between = textOf(got[0])
	}
	texts := make([]string, len(in))
	for n, item := range in {
		if !isText(item) {
			return nil, fmt.Errorf("%w: join() joins texts", ErrEvaluation)
		}
		texts[n] = textOf(item)
	}
	return []any{strings.Join(texts, between)}, nil
}

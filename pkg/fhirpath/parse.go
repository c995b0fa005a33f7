package fhirpath

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
)

var (
	// ErrSyntax says that a text is no FHIRPath.
	ErrSyntax = errors.New("not a FHIRPath expression")
	// ErrUnsupported says that an expression uses more of FHIRPath than is known here.
	ErrUnsupported = errors.New("this part of FHIRPath is not supported")
	// ErrEvaluation says that an expression has no value for what it was given.
	ErrEvaluation = errors.New("FHIRPath cannot be evaluated")
)

// Expression is a parsed expression. It may be evaluated any number of times.
type Expression struct {
	source string
	root   node
}

// String is the source.
func (e *Expression) String() string { return e.source }

// node is one part of an expression, evaluated for the collection in focus.
type node interface {
	eval(s scope, in []any) ([]any, error)
}

// Parse reads an expression. Its error is ErrSyntax or ErrUnsupported.
func Parse(source string) (*Expression, error) {
	tokens, err := lex(source)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", source, err)
	}
	p := &parser{tokens: tokens}
	root, err := p.binary(0)
	if err == nil && p.peek().kind != end {
		err = fmt.Errorf("%w: %q at %d is one too many", ErrSyntax, p.peek().text, p.peek().at)
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", source, err)
	}
	return &Expression{source: source, root: root}, nil
}

type parser struct {
	tokens []token
	at     int
}

func (p *parser) peek() token { return p.tokens[p.at] }

func (p *parser) next() token {
	t := p.tokens[p.at]
	if t.kind != end {
		p.at++
	}
	return t
}

// take goes past a sign or a word, if it is next.
func (p *parser) take(what string) bool {
	t := p.peek()
	if (t.kind == sign || t.kind == name) && t.text == what {
		p.at++
		return true
	}
	return false
}

func (p *parser) expect(what string) error {
	if !p.take(what) {
		return fmt.Errorf("%w: %q is missing at %d", ErrSyntax, what, p.peek().at)
	}
	return nil
}

// levels are the binary operators, the weakest first. Source: FHIRPath N1,
// "Operator Precedence".
var levels = [][]string{
	{"implies"}, {"or", "xor"}, {"and"}, {"in", "contains"}, {"=", "~", "!=", "!~"},
	{"<", ">", "<=", ">="}, {"|"}, {"is", "as"}, {"+", "-", "&"}, {"*", "/", "div", "mod"},
}

// refusedOperators are part of FHIRPath, and not known here.
var refusedOperators = []string{"~", "!~", "*", "/", "div", "mod"}

func (p *parser) binary(level int) (node, error) {
	if level == len(levels) {
		return p.postfix()
	}
	left, err := p.binary(level + 1)
	for err == nil {
		t := p.peek()
		if t.kind != sign && t.kind != name || !slices.Contains(levels[level], t.text) {
			return left, nil
		}
		p.next()
		if slices.Contains(refusedOperators, t.text) {
			return nil, fmt.Errorf("%w: operator %s", ErrUnsupported, t.text)
		}
		if t.text == "is" || t.text == "as" {
			typ := p.next()
			if typ.kind != name {
				return nil, fmt.Errorf("%w: a type is missing at %d", ErrSyntax, typ.at)
			}
			left = &typed{of: left, typ: typ.text, only: t.text == "as"}
			continue
		}
		var right node
		if right, err = p.binary(level + 1); err == nil {
			left = &operation{sign: t.text, left: left, right: right}
		}
	}
	return nil, err
}

// postfix reads a term with its members, calls and indexes.
func (p *parser) postfix() (node, error) {
	of, err := p.term()
	for err == nil {
		switch {
		case p.take("."):
			of, err = p.member(of)
		case p.take("["):
			var at node
			if at, err = p.binary(0); err == nil {
				of, err = &index{of: of, at: at}, p.expect("]")
			}
		default:
			return of, nil
		}
	}
	return nil, err
}

func (p *parser) term() (node, error) {
	switch t := p.peek(); {
	case t.kind == text:
		p.next()
		return literal{t.text}, nil
	case t.kind == date:
		p.next()
		return literal{moment(t.text)}, nil
	case t.kind == number:
		p.next()
		return literal{json.Number(t.text)}, nil
	case p.take("{}"):
		return literal{}, nil
	case p.take("-"):
		t = p.next()
		if t.kind != number {
			return nil, fmt.Errorf("%w: - before what is no number", ErrUnsupported)
		}
		return literal{json.Number("-" + t.text)}, nil
	case p.take("("):
		inner, err := p.binary(0)
		if err != nil {
			return nil, err
		}
		return inner, p.expect(")")
	case p.take("true"):
		return literal{true}, nil
	case p.take("false"):
		return literal{false}, nil
	case p.take("$this"):
		return focus{}, nil
	case p.take("%resource"), p.take("%context"):
		return whole{}, nil
	case t.kind == name && (t.text[0] == '$' || t.text[0] == '%'):
		return nil, fmt.Errorf("%w: %s", ErrUnsupported, t.text)
	case t.kind == name:
		return p.member(nil)
	default:
		return nil, fmt.Errorf("%w: a value is missing at %d", ErrSyntax, t.at)
	}
}

// member reads the name of a member or of a function, of a term or, when that
// is nil, of what is in focus.
func (p *parser) member(of node) (node, error) {
	t := p.next()
	if t.kind != name {
		return nil, fmt.Errorf("%w: a name is missing at %d", ErrSyntax, t.at)
	}
	if !p.take("(") {
		if of == nil {
			return &step{of: focus{}, name: t.text, first: true}, nil
		}
		return &step{of: of, name: t.text}, nil
	}
	if of == nil {
		of = focus{}
	}
	c := &call{of: of, name: t.text}
	for !p.take(")") {
		if len(c.args) > 0 {
			if err := p.expect(","); err != nil {
				return nil, err
			}
		}
		arg, err := p.binary(0)
		if err != nil {
			return nil, err
		}
		c.args = append(c.args, arg)
	}
	return c, c.check()
}

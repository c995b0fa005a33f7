package readiness

import (
	"errors"
	"fmt"
	"sort"

	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/ast"
	"cel.dev/cel-go/common/cost"
	"cel.dev/cel-go/common/types"
)

// Fact is one named fact that conditions may use. The list is closed: an
// expression that names anything else is refused when the protocol is loaded.
type Fact struct {
	Name     string
	Type     string // boolean, string or number
	Unit     string // for numbers, e.g. mL/min
	Question string // what is needed when it is unknown: "whether ..."
	Default  any    // assumed when nothing says otherwise; nil: unknown
	Both     string // value that stands for two different ones (left and right)
}

// Answer is yes, no or unknown.
type Answer int

// The three answers of a condition.
const (
	Unknown Answer = iota
	Yes
	No
)

// maxCost bounds one evaluation, in CEL's own units. Conditions of a protocol
// are comparisons; the most elaborate of the default one costs about ten.
const maxCost = 200

// Conditions compiles expressions over a closed list of facts.
type Conditions struct {
	env   *cel.Env
	facts map[string]Fact
}

// NewConditions prepares a compiler for the facts.
func NewConditions(facts []Fact) (*Conditions, error) {
	c := &Conditions{facts: make(map[string]Fact, len(facts))}
	var options []cel.EnvOption
	for _, f := range facts {
		t, err := celType(f.Type)
		if err != nil {
			return nil, fmt.Errorf("fact %s: %w", f.Name, err)
		}
		c.facts[f.Name] = f
		options = append(options, cel.Variable(f.Name, t))
	}
	env, err := cel.NewEnv(options...)
	c.env = env
	return c, err
}

func celType(name string) (*cel.Type, error) {
	switch name {
	case "boolean":
		return cel.BoolType, nil
	case "string":
		return cel.StringType, nil
	case "number":
		return cel.DoubleType, nil
	}
	return nil, fmt.Errorf("type %q is not boolean, string or number", name)
}

// Condition is a compiled expression.
type Condition struct {
	Text, Words string // the expression, and what it says in plain words
	uses        []string
	facts       map[string]Fact
	program     cel.Program
}

// Compile checks an expression: unknown names, a result that is not boolean and
// an expression that could cost too much are errors that name the place.
func (c *Conditions) Compile(text, words string) (*Condition, error) {
	checked, issues := c.env.Compile(text)
	if issues.Err() != nil {
		return nil, issues.Err()
	}
	if checked.OutputType() != cel.BoolType {
		return nil, fmt.Errorf("the condition gives %s, not true or false", checked.OutputType())
	}
	estimate, err := c.env.EstimateCost(checked, noSizes{})
	if err != nil {
		return nil, err
	}
	if estimate.Max > maxCost {
		return nil, errors.New("the condition is too costly to evaluate for every case")
	}
	program, err := c.env.Program(checked, cel.EvalOptions(cel.OptPartialEval, cel.OptOptimize))
	if err != nil {
		return nil, err
	}
	uses := map[string]bool{}
	ast.PostOrderVisit(checked.NativeRep().Expr(), ast.NewExprVisitor(func(e ast.Expr) {
		if e.Kind() == ast.IdentKind {
			uses[e.AsIdent()] = true
		}
	}))
	out := &Condition{Text: text, Words: words, facts: c.facts, program: program}
	for name := range uses {
		if _, ok := c.facts[name]; ok {
			out.uses = append(out.uses, name)
		}
	}
	sort.Strings(out.uses)
	return out, nil
}

// noSizes lets the estimator take its own bounds for strings of unknown length.
type noSizes struct{}

func (noSizes) EstimateSize(cost.AstNode) *cost.SizeEstimate {
	return &cost.SizeEstimate{Min: 0, Max: 64}
}

func (noSizes) EstimateCallCost(_, _ string, _ *cost.AstNode, _ []cost.AstNode) *cost.CallEstimate {
	return nil
}

// Holds evaluates the condition over the known facts. With Unknown it returns
// the questions whose answers are missing.
func (c *Condition) Holds(known map[string]any) (Answer, []string) {
	vars := make(map[string]any, len(c.uses))
	var missing []string
	var patterns []*cel.AttributePatternType
	for _, name := range c.uses {
		if v, ok := known[name]; ok {
			vars[name] = v
		} else if d := c.facts[name].Default; d != nil {
			vars[name] = d
		} else {
			missing = append(missing, c.facts[name].Question)
			patterns = append(patterns, cel.AttributePattern(name))
		}
	}
	partial, err := cel.PartialVars(vars, patterns...)
	if err != nil {
		return Unknown, []string{err.Error()}
	}
	out, _, err := c.program.Eval(partial)
	if err != nil {
		return Unknown, []string{err.Error()}
	}
	switch out {
	case types.True:
		return Yes, nil
	case types.False:
		return No, nil
	}
	return Unknown, missing
}

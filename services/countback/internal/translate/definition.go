package translate

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// Definitions is what a PlanDefinition refers to.
type Definitions struct {
	Facts     *fhir.Resource // CodeSystem/fact
	Holds     *fhir.Resource // CodeSystem/hold
	ValueSets map[string]*ValueSet

	Questionnaires Questionnaires
	Medicines      *fhir.Resource // PlanDefinition of rules on medicines; nil: none
}

// Protocol is a readiness.Protocol with what the wire needs beside it.
type Protocol struct {
	*readiness.Protocol
	ID       string // of its PlanDefinition; the end of its url where that has none
	rules    []factRule
	evidence []evidenceRule
	holds    []holdRule
	risks    []riskRule
	facts    map[string]readiness.Fact
	kinds    map[string]HoldKind

	answerRules    []answerRule
	questionnaires Questionnaires
	drugs          medicineRules
	spoken         map[string]spokenStep // by step
	asked          map[string]string     // by step: canonical of what is filled in while it is done
}

// factRule says that a coding found at a path of a resource type gives a fact.
type factRule struct {
	Type, Path  string
	Set         *ValueSet
	Fact        string
	Value       any
	OnlyUnknown bool // used only when no other rule gives the fact
}

// ReadProtocol reads a PlanDefinition. Every fault found is in the error, each
// naming its action; a *readiness.ProtocolError when it was read but refused.
func ReadProtocol(r *fhir.Resource, defs Definitions) (*Protocol, error) {
	facts := readFacts(defs.Facts)
	conditions, err := readiness.NewConditions(facts)
	if err != nil {
		return nil, err
	}
	rd := &definitionReader{conditions: conditions, defs: defs, facts: map[string]readiness.Fact{}}
	for _, f := range facts {
		rd.facts[f.Name] = f
	}
	p := readiness.Protocol{
		URL: r.String("url"), Version: r.String("version"), Title: r.String("title"),
		Approved: r.String("approvalDate") != "" && r.String("status") == "active" && named(r),
		Facts:    facts,
	}
	p.DueWarning = rd.duration(value(extension(r.Root(), "due-warning")), "due-warning")
	if h := value(extension(r.Root(), "search-horizon")); h.Exists() {
		p.Horizon = rd.offset(h, 1, false).N
	}
	spoken, asked := map[string]spokenStep{}, map[string]string{}
	for _, a := range r.Get("action").Items() {
		rd.action = a.String("id")
		if readiness.IsAnchor(rd.action) {
			rd.anchor(a, &p)
			continue
		}
		p.Steps = append(p.Steps, rd.step(a))
		spoken[rd.action] = speak(a)
		asked[rd.action] = rd.asksWith(a.String("definitionCanonical"))
	}
	if len(p.Steps) == 0 {
		rd.faults = append(rd.faults, "it has no steps")
	}
	if len(p.Gates) == 0 {
		rd.faults = append(rd.faults, "its action surgery has no condition: nothing says which bookings open a case")
	}
	rd.watchedSteps(&p)
	drugs := rd.medicines(defs.Medicines, &p)
	checked, err := readiness.NewProtocol(p)
	if faults := append(rd.faults, further(rd.faults, err)...); len(faults) > 0 {
		return nil, &readiness.ProtocolError{Faults: faults}
	}
	if err != nil {
		return nil, err
	}
	return &Protocol{
		Protocol: checked, ID: idOf(r), rules: rd.rules, evidence: rd.evidenceRules, holds: rd.holdRules, risks: rd.risks,
		facts: rd.facts, kinds: readHoldKinds(defs.Holds), answerRules: rd.answerRules, questionnaires: defs.Questionnaires,
		drugs: drugs, spoken: spoken, asked: asked,
	}, nil
}

func idOf(r *fhir.Resource) string {
	if id := r.ID(); id != "" {
		return id
	}
	url := r.String("url")
	return url[strings.LastIndex(url, "/")+1:]
}

func readFacts(cs *fhir.Resource) []readiness.Fact {
	var out []readiness.Fact
	for _, c := range cs.Get("concept").Items() {
		f := readiness.Fact{Name: c.String("code"), Question: c.String("definition")}
		for _, p := range c.Get("property").Items() {
			v := value(p)
			switch p.String("code") {
			case "type":
				f.Type = v.Text()
			case "unit":
				f.Unit = v.Text()
			case "default":
				f.Default = v.Bool()
			case "merge":
				f.Both = v.Text()
			}
		}
		out = append(out, f)
	}
	return out
}

// definitionReader gathers faults instead of stopping at the first.
type definitionReader struct {
	conditions *readiness.Conditions
	defs       Definitions
	facts      map[string]readiness.Fact
	action     string
	rules      []factRule
	faults     []string

	evidenceRules []evidenceRule
	holdRules     []holdRule
	answerRules   []answerRule
	watched       []readiness.ItemHold
	risks         []riskRule
}

func (rd *definitionReader) fault(format string, args ...any) {
	rd.faults = append(rd.faults, rd.action+": "+fmt.Sprintf(format, args...))
}

func (rd *definitionReader) anchor(a *fhir.Node, p *readiness.Protocol) {
	if t := value(extension(a, "link-tolerance")); t.Exists() {
		p.LinkTolerance = rd.offset(t, 1, false).N
	}
	for _, in := range a.Get("input").Items() {
		rd.rules = append(rd.rules, rd.factRule(in)...)
	}
	for _, c := range a.Get("condition").Items() {
		p.Gates = append(p.Gates, readiness.Gate{
			Reason: c.String("expression", "description"), Condition: rd.condition(c),
		})
	}
	for _, e := range extensions(a, "expected-discharge") {
		d := rd.offset(value(part(e, "days")), 1, false)
		p.Stays = append(p.Stays, readiness.Stay{
			Code: value(part(e, "stay")).Text(), Days: d.N,
			At: rd.clock(value(part(e, "time")).Text()), Default: value(part(e, "default")).Bool(),
		})
	}
}

func (rd *definitionReader) factRule(in *fhir.Node) []factRule {
	gives := extension(in, "gives-fact")
	if gives == nil {
		return nil
	}
	rule := factRule{Type: in.String("type"), Fact: value(part(gives, "name")).Text(),
		OnlyUnknown: value(part(gives, "only-if-unknown")).Bool()}
	f, known := rd.facts[rule.Fact]
	if !known {
		rd.fault("input gives the fact %q, which is not in the list of facts", rule.Fact)
	}
	rule.Value = factValue(f, value(part(gives, "value")).Text())
	if rd.answerRule(in, rule) {
		return nil
	}
	var out []factRule
	for _, filter := range in.Get("codeFilter").Items() {
		url := filter.String("valueSet")
		if rule.Set = rd.defs.ValueSets[url]; rule.Set == nil {
			rd.fault("input names the value set %s, which is not known", url)
			continue
		}
		rule.Path = filter.String("path")
		out = append(out, rule)
	}
	return out
}

// factValue reads a fact's value as its type asks; anything that is not
// exactly "true" is false for a boolean, so that a typing error is no consent.
func factValue(f readiness.Fact, s string) any {
	switch f.Type {
	case "boolean":
		return s == "true"
	case "number":
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			return nil
		}
		return v
	}
	return s
}

func (rd *definitionReader) condition(c *fhir.Node) *readiness.Condition {
	e := c.Get("expression")
	if e.String("language") != "text/cel" {
		rd.fault("a condition is written in %q; only text/cel is understood", e.String("language"))
		return nil
	}
	out, err := rd.conditions.Compile(e.String("expression"), e.String("description"))
	if err != nil {
		rd.fault("condition %q: %s", e.String("expression"), strings.ReplaceAll(err.Error(), "\n", " "))
	}
	return out
}

func (rd *definitionReader) duration(n *fhir.Node, what string) time.Duration {
	o := rd.offset(n, 1, false)
	switch o.Unit {
	case readiness.Days:
		return time.Duration(o.N) * 24 * time.Hour
	case readiness.Minutes:
		return time.Duration(o.N) * time.Minute
	}
	rd.fault("%s must be in days or hours", what)
	return 0
}

// offset reads a Duration or Quantity; sign is -1 before the anchor and +1
// after it. An absent one is no distance.
func (rd *definitionReader) offset(n *fhir.Node, sign int, business bool) readiness.Offset {
	if !n.Exists() {
		return readiness.Offset{}
	}
	v, whole := n.Get("value").Int()
	if !whole {
		rd.fault("%q is not a whole number", n.String("value"))
	}
	v *= sign
	switch code := n.String("code"); code {
	case "d":
		if business {
			return readiness.Offset{N: v, Unit: readiness.BusinessDays}
		}
		return readiness.Offset{N: v, Unit: readiness.Days}
	case "wk":
		return readiness.Offset{N: 7 * v, Unit: readiness.Days}
	case "mo":
		return readiness.Offset{N: v, Unit: readiness.Months}
	case "a":
		return readiness.Offset{N: 12 * v, Unit: readiness.Months}
	case "h":
		return readiness.Offset{N: 60 * v, Unit: readiness.Minutes}
	case "min":
		return readiness.Offset{N: v, Unit: readiness.Minutes}
	default:
		rd.fault("the unit %q is none of min, h, d, wk, mo, a", code)
	}
	return readiness.Offset{}
}

func (rd *definitionReader) clock(s string) readiness.ClockTime {
	t, err := time.Parse("15:04:05", s)
	if err != nil {
		rd.fault("%q is not a time of day", s)
	}
	return readiness.ClockTime{Hour: t.Hour(), Minute: t.Minute()}
}

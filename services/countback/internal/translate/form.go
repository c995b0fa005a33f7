package translate

import (
	"cmp"
	"slices"
	"strings"

	"example.org/countback/pkg/fhir"
)

// FormQuestion is one item of a questionnaire for somebody who asks it aloud and
// writes down what was said.
type FormQuestion struct {
	LinkID   string
	Kind     string // item-type of R4; "boolean" for every question of yes, no and not known
	Text     string
	Depth    int // of groups and questions that hold it
	Required bool
	Repeats  bool
	Options  []FormOption // of a choice, in their order
	Units    []FormOption // of a quantity
	Only     string       // in words, when it is asked; empty: always
}

// FormOption is an answer that may be chosen: what a form sends, and how it reads.
type FormOption struct{ Value, Words string }

// What a form sends for a question of yes, no and not known.
const (
	SaidYes     = "yes"
	SaidNo      = "no"
	SaidUnknown = "unknown"
)

// saidCodes are the codes of yesnodontknow for them.
var saidCodes = map[string]struct {
	Coding
	display string
}{
	SaidYes:     {Coding{"http://terminology.hl7.org/CodeSystem/v2-0136", "Y"}, "Yes"},
	SaidNo:      {Coding{"http://terminology.hl7.org/CodeSystem/v2-0136", "N"}, "No"},
	SaidUnknown: {Coding{"http://terminology.hl7.org/CodeSystem/data-absent-reason", "asked-unknown"}, "Don't know"},
}

// formed is what of a question only a form needs.
type formed struct {
	options []option
	units   []option
	when    []enabling
	any     bool // one of when is enough
}

type option struct {
	Coding
	display string
}

func (o option) value() string { return o.System + "|" + o.Code }

// enabling is one condition on which a question is asked (R4, enableWhen).
type enabling struct {
	question, operator string
	answer             *fhir.Node
}

// unitOption names the units that a quantity may be answered in (HL7 FHIR R4).
const unitOption = "http://hl7.org/fhir/StructureDefinition/questionnaire-unitOption"

func readFormed(n *fhir.Node) formed {
	f := formed{any: n.String("enableBehavior") == "any"}
	for _, o := range n.Get("answerOption").Items() {
		if c := o.Get("valueCoding"); c.Exists() {
			f.options = append(f.options, optionOf(c))
		}
	}
	for _, e := range n.Get("extension").Items() {
		if e.String("url") == unitOption {
			f.units = append(f.units, optionOf(e.Get("valueCoding")))
		}
	}
	for _, w := range n.Get("enableWhen").Items() {
		e := enabling{question: w.String("question"), operator: w.String("operator")}
		for name, v := range w.Members() {
			if strings.HasPrefix(name, "answer") {
				e.answer = v
			}
		}
		f.when = append(f.when, e)
	}
	return f
}

func optionOf(c *fhir.Node) option {
	o := option{Coding{c.String("system"), c.String("code")}, c.String("display")}
	o.display = cmp.Or(o.display, o.Code)
	return o
}

// Form lists what is to be asked, in the order of the document.
func (q *Questionnaire) Form() []FormQuestion {
	var out []FormQuestion
	for _, i := range q.order {
		f := FormQuestion{LinkID: i.linkID, Kind: i.kind, Text: i.text, Required: i.required, Repeats: i.repeats, Only: q.only(i)}
		if i.yesNo {
			f.Kind = "boolean"
		}
		for p := i.parent; p != ""; p = q.questions[p].parent {
			f.Depth++
		}
		for _, o := range i.formed.options {
			f.Options = append(f.Options, FormOption{o.value(), o.display})
		}
		for _, o := range i.formed.units {
			f.Units = append(f.Units, FormOption{o.value(), o.display})
		}
		out = append(out, f)
	}
	return out
}

// only says in words when a question is asked.
func (q *Questionnaire) only(i *question) string {
	var parts []string
	for _, w := range i.formed.when {
		on := q.questions[w.question]
		if on == nil {
			continue
		}
		part := "“" + on.text + "” is answered"
		switch words := valueWords(w.answer); {
		case w.operator == "exists" && !w.answer.Bool():
			part = "“" + on.text + "” is not answered"
		case w.operator == "exists":
		case w.operator == "=":
			part += " with " + strings.ToLower(words)
		case w.operator == "!=":
			part += " with anything but " + strings.ToLower(words)
		default:
			part += " with " + map[string]string{">": "more than ", "<": "less than ", ">=": "at least ", "<=": "at most "}[w.operator] + words
		}
		parts = append(parts, part)
	}
	if len(parts) == 0 {
		return ""
	}
	return "only if " + strings.Join(parts, map[bool]string{true: " or ", false: " and "}[i.formed.any])
}

// StepForm is the questionnaire that a person answers for a step.
type StepForm struct {
	*Questionnaire // nil: there is none
	// Closes: its answers, and nothing less, show that the step was done.
	Closes bool
	// Grave: a yes to it may hold a case, or may be a sign that cannot wait.
	Grave bool
}

// FormOf finds the questionnaire of a step; a later version of it may be read now.
func (p *Protocol) FormOf(step string) (f StepForm) {
	for n := range p.evidence {
		rule := &p.evidence[n]
		if rule.Step != step || !rule.asks.any() {
			continue
		}
		for _, url := range canonicalsIn(rule.filters) {
			if f.Questionnaire == nil {
				f.Questionnaire = p.questionnaires[url]
			}
		}
		f.Closes = f.Closes || rule.asks.known != ""
	}
	if f.Questionnaire == nil {
		f.Questionnaire = p.questionnaires[p.asked[step]]
	}
	if f.Questionnaire == nil {
		return StepForm{}
	}
	f.Grave = len(f.levels) > 0 || slices.ContainsFunc(p.holds, func(h holdRule) bool {
		return h.answer != nil && slices.Contains(canonicalsIn(h.filters), f.URL)
	})
	return f
}

// canonicalsIn lists the questionnaires that filters ask for by their codes.
func canonicalsIn(filters []filter) (out []string) {
	for _, f := range filters {
		for _, i := range f.set.includes {
			for code := range i.codes {
				if i.system == systemURI {
					out = append(out, code)
				}
			}
		}
	}
	slices.Sort(out)
	return out
}

// asksWith reads the questionnaire that is filled in while a step is done, and
// does not show that it was (R4, action.definitionCanonical).
func (rd *definitionReader) asksWith(url string) string {
	bare, _, _ := strings.Cut(url, "|")
	if url != "" && rd.defs.Questionnaires[bare] == nil {
		rd.fault("definitionCanonical names the questionnaire %s, which is not known", url)
	}
	return bare
}

package translate

import (
	"fmt"
	"strings"
	"time"

	"example.org/countback/pkg/fhir"
)

// yesNoUnknown is the value set of R4 whose codes are yes, no and don't know.
const yesNoUnknown = "http://hl7.org/fhir/ValueSet/yesnodontknow"

// ternary are its codes (HL7 FHIR R4 4.0.1, ValueSet yesnodontknow).
var ternary = map[Coding]Answer{
	{"http://terminology.hl7.org/CodeSystem/v2-0136", "Y"}:                        Yes,
	{"http://terminology.hl7.org/CodeSystem/v2-0136", "N"}:                        No,
	{"http://terminology.hl7.org/CodeSystem/data-absent-reason", "asked-unknown"}: Unknown,
}

// Answer is what a question was answered with.
type Answer int

// The answers. A value is an answer to a question that asks for more than yes
// or no, such as a date.
const (
	Unanswered Answer = iota
	Yes
	No
	Unknown
	Value
)

// answerCodes are the answers as the extension answer names them.
var answerCodes = map[string]Answer{"yes": Yes, "no": No, "unknown": Unknown}

// Questionnaire is a FHIR Questionnaire as the rules read it.
type Questionnaire struct {
	URL       string
	Version   string // that responses name after the url; empty: none
	Title     string
	questions map[string]*question
	order     []*question // as in the document, groups before what they hold

	levels       []urgencyLevel // most urgent first; none: not a symptom report
	opens, shuts time.Duration  // of the office, since midnight by the facility's clock
}

// question is one item of a questionnaire.
type question struct {
	linkID, kind string
	text         string // as the person reads it
	parent       string // linkId of the item that holds it; empty at the top
	required     bool
	repeats      bool
	yesNo        bool
	options      map[Coding]bool
	codes        []Coding
	urgent       *urgency
	of, role     string // the question that it says more about, and what it says
	formed       formed
}

// urgency says when an answer is urgent.
type urgency struct {
	level              int // index of the questionnaire's levels
	limit, least, most *float64
}

// urgencyLevel is one level of urgency and what follows from it.
type urgencyLevel struct {
	code                     string
	advice, adviceClosed     string
	trigger, triggerWhenShut string
}

// ReadQuestionnaire reads a Questionnaire of ours. The error names the first
// item that could not be acted on.
func ReadQuestionnaire(r *fhir.Resource) (*Questionnaire, error) {
	q := &Questionnaire{URL: r.String("url"), Version: r.String("version"), Title: r.String("title"), questions: map[string]*question{}}
	for _, e := range extensions(r.Root(), "urgency-level") {
		q.levels = append(q.levels, readLevel(e))
	}
	hours := extension(r.Root(), "office-hours")
	for name, into := range map[string]*time.Duration{"from": &q.opens, "to": &q.shuts} {
		t, err := time.Parse(time.TimeOnly, value(part(hours, name)).Text())
		if err != nil && len(q.levels) > 0 {
			return nil, fmt.Errorf("%s: office-hours names no time of day as %q", q.URL, name)
		}
		*into = time.Duration(t.Hour())*time.Hour + time.Duration(t.Minute())*time.Minute
	}
	if err := q.items(r.Get("item"), ""); err != nil {
		return nil, fmt.Errorf("%s: %w", q.URL, err)
	}
	for _, i := range q.order {
		if i.of != "" && q.questions[i.of] == nil {
			return nil, fmt.Errorf("%s: %s says more about %s, which is no question", q.URL, i.linkID, i.of)
		}
	}
	return q, nil
}

func readLevel(e *fhir.Node) urgencyLevel {
	l := urgencyLevel{
		code:   value(part(e, "level")).Text(),
		advice: value(part(e, "advice")).Text(), adviceClosed: value(part(e, "advice-when-closed")).Text(),
		trigger: value(part(e, "raises")).Text(), triggerWhenShut: value(part(e, "raises-when-closed")).Text(),
	}
	if l.adviceClosed == "" {
		l.adviceClosed = l.advice
	}
	if l.triggerWhenShut == "" {
		l.triggerWhenShut = l.trigger
	}
	return l
}

func (q *Questionnaire) items(list *fhir.Node, parent string) error {
	for _, n := range list.Items() {
		i := &question{
			linkID: n.String("linkId"), kind: n.String("type"), parent: parent, text: n.String("text"),
			required: n.Get("required").Bool(), repeats: n.Get("repeats").Bool(),
			yesNo:   n.String("type") == "boolean" || n.String("answerValueSet") == yesNoUnknown,
			options: map[Coding]bool{}, formed: readFormed(n),
		}
		if i.linkID == "" || q.questions[i.linkID] != nil {
			return fmt.Errorf("linkId %q is missing or stands twice", i.linkID)
		}
		for _, c := range n.Get("code").Items() {
			i.codes = append(i.codes, Coding{c.String("system"), c.String("code")})
		}
		for _, o := range n.Get("answerOption").Items() {
			i.options[Coding{o.String("valueCoding", "system"), o.String("valueCoding", "code")}] = true
		}
		if i.kind == "choice" && !i.yesNo && len(i.options) == 0 {
			return fmt.Errorf("%s: a choice needs answerOption, or %s", i.linkID, yesNoUnknown)
		}
		if d := extension(n, "detail-of"); d != nil {
			i.of, i.role = value(part(d, "linkId")).Text(), value(part(d, "role")).Text()
		}
		if err := q.urgency(n, i); err != nil {
			return err
		}
		q.questions[i.linkID], q.order = i, append(q.order, i)
		if err := q.items(n.Get("item"), i.linkID); err != nil {
			return err
		}
	}
	return nil
}

func (q *Questionnaire) urgency(n *fhir.Node, i *question) error {
	e := extension(n, "urgency")
	if e == nil {
		return nil
	}
	u := &urgency{level: -1}
	for at, l := range q.levels {
		if l.code == value(part(e, "level")).Text() {
			u.level = at
		}
	}
	if u.level < 0 {
		return fmt.Errorf("%s: its urgency is none of the levels of the questionnaire", i.linkID)
	}
	for name, into := range map[string]**float64{"limit": &u.limit, "least": &u.least, "most": &u.most} {
		if p := part(e, name); p != nil {
			v, ok := celsius(value(p))
			if !ok {
				return fmt.Errorf("%s: the %s of its urgency is no temperature", i.linkID, name)
			}
			*into = &v
		}
	}
	if i.yesNo == (u.limit != nil) || u.limit != nil && i.kind != "quantity" {
		return fmt.Errorf("%s: only a yes-or-no question is urgent without a limit, only a quantity with one", i.linkID)
	}
	i.urgent = u
	return nil
}

// below reports whether the question stands in the group.
func (q *Questionnaire) below(i *question, group string) bool {
	for i.parent != "" {
		if i.parent == group {
			return true
		}
		i = q.questions[i.parent]
	}
	return false
}

// Questionnaires are those that a protocol names: by canonical url the one that
// counts, and by url|version that and those before it.
type Questionnaires map[string]*Questionnaire

// Add adds a questionnaire; of one url the last one added counts.
func (qs Questionnaires) Add(q *Questionnaire) {
	qs[q.URL] = q
	if q.Version != "" {
		qs[q.URL+"|"+q.Version] = q
	}
}

// Of is the questionnaire that a response answers, in the version that it names,
// else in the one that counts; nil when it is none of them.
func (qs Questionnaires) Of(r *fhir.Resource) *Questionnaire {
	if r.Type != "QuestionnaireResponse" {
		return nil
	}
	canonical := r.String("questionnaire")
	if q := qs[canonical]; q != nil {
		return q
	}
	url, _, _ := strings.Cut(canonical, "|")
	return qs[url]
}

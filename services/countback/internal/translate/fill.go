package translate

import (
	"encoding/json"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/countback/pkg/fhir"
)

// Given is what a person wrote down for one question, as a form sends it.
type Given struct {
	Values []string
	Unit   string // of a quantity
}

// Slip is why a form cannot be recorded as it stands, at a question of it.
type Slip struct{ LinkID, Says string }

// Heard is who asked the questions, of whom and when.
type Heard struct {
	Patient  string // reference
	By       string // name of the person who wrote the answers down
	At       time.Time
	System   string // of the identifier of this filling in
	Number   string // ditto; the same one is never recorded twice
	Finished bool
}

// Fill makes a response of what was written down, and says what is amiss: a
// required question without an answer, a value that is none of its kind, and an
// answer to a question that is not asked in view of the others. Nothing that was
// written is left out of the response in silence.
func (q *Questionnaire) Fill(given map[string]Given, h Heard) (map[string]any, []Slip) {
	f := filling{q: q, given: given, values: map[string][]written{}}
	for _, i := range q.order {
		f.take(i)
	}
	for _, i := range q.order {
		f.judge(i)
	}
	slices.SortStableFunc(f.slips, func(a, b Slip) int { return q.place(a.LinkID) - q.place(b.LinkID) })
	canonical, status := q.URL, "in-progress"
	if q.Version != "" {
		canonical += "|" + q.Version
	}
	if h.Finished {
		status = "completed"
	}
	return map[string]any{
		"resourceType": "QuestionnaireResponse", "questionnaire": canonical, "status": status,
		"identifier": map[string]any{"system": h.System, "value": h.Number},
		"subject":    map[string]any{"reference": h.Patient}, "authored": h.At.Format(time.RFC3339),
		"author": map[string]any{"display": h.By}, "item": f.items(""),
	}, f.slips
}

func (q *Questionnaire) place(linkID string) int { return slices.Index(q.order, q.questions[linkID]) }

// written is one answer: the element that holds it, and what it holds.
type written struct {
	element string
	value   any
	text    string // to be compared by
	nothing bool   // it is not known, and its type has no word for that
}

type filling struct {
	q      *Questionnaire
	given  map[string]Given
	values map[string][]written
	slips  []Slip
}

func (f *filling) slip(i *question, says string) {
	f.slips = append(f.slips, Slip{i.linkID, says})
}

// take reads what was written down for a question.
func (f *filling) take(i *question) {
	g := f.given[i.linkID]
	for _, raw := range g.Values {
		raw = strings.TrimSpace(raw)
		if raw == "" {
			continue
		}
		v, wrong := i.valueOf(raw, g.Unit)
		if wrong != "" {
			f.slip(i, wrong)
			continue
		}
		f.values[i.linkID] = append(f.values[i.linkID], v)
	}
	if !i.repeats && len(f.values[i.linkID]) > 1 {
		f.slip(i, "takes one answer only")
	}
}

// judge says what a question lacks, or has too much.
func (f *filling) judge(i *question) {
	has, asked := len(f.values[i.linkID]) > 0, f.asked(i)
	switch {
	case has && !asked:
		f.slip(i, "is answered, and is asked "+f.q.only(i)+": clear it, or change that answer")
	case !has && asked && i.required && i.kind != "group" && i.kind != "display":
		if !slices.ContainsFunc(f.slips, func(s Slip) bool { return s.LinkID == i.linkID }) {
			f.slip(i, "is not answered")
		}
	}
}

// asked reports whether a question is asked, in view of the answers to others.
func (f *filling) asked(i *question) bool {
	if up := f.q.questions[i.parent]; up != nil && !f.asked(up) {
		return false
	}
	met := 0
	for _, w := range i.formed.when {
		if f.met(w) {
			met++
		}
	}
	if i.formed.any {
		return met > 0 || len(i.formed.when) == 0
	}
	return met == len(i.formed.when)
}

func (f *filling) met(w enabling) bool {
	values := f.values[w.question]
	if w.operator == "exists" {
		return len(values) > 0 == w.answer.Bool()
	}
	want := comparableTo(w.answer)
	return slices.ContainsFunc(values, func(v written) bool {
		order := strings.Compare(v.text, want)
		if a, err := strconv.ParseFloat(v.text, 64); err == nil {
			if b, err := strconv.ParseFloat(want, 64); err == nil {
				order = map[bool]int{true: 1}[a > b] - map[bool]int{true: 1}[a < b]
			}
		}
		switch w.operator {
		case "=":
			return order == 0
		case "!=":
			return order != 0
		case ">":
			return order > 0
		case "<":
			return order < 0
		case ">=":
			return order >= 0
		}
		return order <= 0
	})
}

// comparableTo is an answer of enableWhen as [written] has it in text.
func comparableTo(n *fhir.Node) string {
	switch {
	case n.Get("value").Exists():
		return n.Get("value").Text()
	case n.Kind() == fhir.Object:
		return n.String("system") + "|" + n.String("code")
	}
	return n.Text()
}

var (
	wholeNumber = regexp.MustCompile(`^-?(0|[1-9][0-9]{0,8})$`)
	plainNumber = regexp.MustCompile(`^-?(0|[1-9][0-9]{0,8})(\.[0-9]{1,8})?$`)
	timeOfDay   = regexp.MustCompile(`^([01][0-9]|2[0-3]):[0-5][0-9](:[0-5][0-9])?$`)
)

// valueOf reads one answer as the form sends it, or says what is wrong with it.
func (i *question) valueOf(raw, unit string) (v written, wrong string) {
	if i.yesNo {
		return i.said(raw)
	}
	number := strings.ReplaceAll(raw, ",", ".")
	switch i.kind {
	case "choice", "open-choice":
		return i.chosen(raw)
	case "string", "text":
		return written{element: "valueString", value: raw, text: raw}, ""
	case "url":
		return written{element: "valueUri", value: raw, text: raw}, ""
	case "date":
		if _, err := time.Parse(time.DateOnly, raw); err != nil {
			return v, "is no day of the calendar: write it like 2027-01-31"
		}
		return written{element: "valueDate", value: raw, text: raw}, ""
	case "dateTime": // without a zone an hour would be no instant: the day is kept
		if _, err := time.Parse(time.DateOnly, raw); err != nil {
			return v, "is no day of the calendar: write it like 2027-01-31"
		}
		return written{element: "valueDateTime", value: raw, text: raw}, ""
	case "time":
		if !timeOfDay.MatchString(raw) {
			return v, "is no time of day: write it like 07:30"
		}
		if len(raw) == len("07:30") {
			raw += ":00"
		}
		return written{element: "valueTime", value: raw, text: raw}, ""
	case "integer":
		if !wholeNumber.MatchString(raw) {
			return v, "asks for a whole number"
		}
		return written{element: "valueInteger", value: json.Number(raw), text: raw}, ""
	case "decimal":
		if !plainNumber.MatchString(number) {
			return v, "asks for a number"
		}
		return written{element: "valueDecimal", value: json.Number(number), text: number}, ""
	case "quantity":
		return i.measured(number, unit)
	}
	return v, "cannot be answered here"
}

func (i *question) said(raw string) (written, string) {
	code, known := saidCodes[raw]
	switch {
	case !known:
		return written{}, "is answered with something that is none of its answers"
	case i.kind != "boolean":
		return codingValue(option{code.Coding, code.display}), ""
	case raw == SaidUnknown: // R4 has no boolean for it: it stays unanswered, and counts as that
		return written{nothing: true}, ""
	}
	return written{element: "valueBoolean", value: raw == SaidYes, text: map[bool]string{true: "true", false: "false"}[raw == SaidYes]}, ""
}

func codingValue(o option) written {
	return written{element: "valueCoding", value: map[string]any{"system": o.System, "code": o.Code, "display": o.display}, text: o.value()}
}

func (i *question) chosen(raw string) (written, string) {
	for _, o := range i.formed.options {
		if o.value() == raw {
			return codingValue(o), ""
		}
	}
	if i.kind == "open-choice" {
		return written{element: "valueString", value: raw, text: raw}, ""
	}
	return written{}, "is answered with something that is none of its answers"
}

func (i *question) measured(number, unit string) (written, string) {
	if !plainNumber.MatchString(number) {
		return written{}, "asks for a number"
	}
	value := map[string]any{"value": json.Number(number)}
	for _, o := range i.formed.units {
		if o.value() == unit || len(i.formed.units) == 1 {
			value["system"], value["code"], value["unit"] = o.System, o.Code, o.display
		}
	}
	if len(i.formed.units) > 0 && value["code"] == nil {
		return written{}, "has no unit: choose one"
	}
	return written{element: "valueQuantity", value: value, text: number}, ""
}

// items are the answers below an item, without what is empty.
func (f *filling) items(parent string) []any {
	var out []any
	for _, i := range f.q.order {
		if i.parent != parent {
			continue
		}
		item := map[string]any{"linkId": i.linkID}
		var answers []any
		for _, v := range f.values[i.linkID] {
			if !v.nothing {
				answers = append(answers, map[string]any{v.element: v.value})
			}
		}
		below := f.items(i.linkID)
		switch {
		case len(answers) > 0 && len(below) > 0:
			answers[0].(map[string]any)["item"] = below
		case len(below) > 0:
			item["item"] = below
		}
		if len(answers) > 0 {
			item["answer"] = answers
		}
		if len(item) > 1 {
			out = append(out, item)
		}
	}
	return out
}

// LeftWords names the required questions of a finished response that a person
// must still ask, as they are asked.
func (q *Questionnaire) LeftWords(r *fhir.Resource) (out []string) {
	a, _ := q.Read(r)
	for _, linkID := range q.open(a) {
		out = append(out, q.Text(linkID))
	}
	return out
}

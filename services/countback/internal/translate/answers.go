package translate

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"example.org/countback/pkg/fhir"
)

// Answers are what a response says to the questions of its questionnaire, by
// linkId. A question that was not answered is not in it.
type Answers map[string][]*fhir.Node

// Read reads a response. Each answer that cannot be read is an issue at its
// place, and not among the answers: a linkId that the questionnaire does not
// have, or not there; a value of another type; a code that is no option; more
// answers than the question takes. No issue repeats what was sent.
func (q *Questionnaire) Read(r *fhir.Resource) (Answers, fhir.Issues) {
	rd := &answerReader{q: q, answers: Answers{}, seen: map[string]bool{}}
	rd.items(r.Get("item"), "", r.Type+".item")
	return rd.answers, rd.issues
}

type answerReader struct {
	q       *Questionnaire
	answers Answers
	seen    map[string]bool
	issues  fhir.Issues
}

func (rd *answerReader) fault(at, format string, args ...any) {
	rd.issues = append(rd.issues, fhir.Issue{
		Severity: fhir.SeverityError, Code: fhir.CodeBusinessRule, Expression: at, Text: fmt.Sprintf(format, args...),
	})
}

func (rd *answerReader) items(list *fhir.Node, parent, at string) {
	for n, item := range list.Items() {
		here := at + "[" + strconv.Itoa(n) + "]"
		i := rd.q.questions[item.String("linkId")]
		switch {
		case i == nil:
			rd.fault(here+".linkId", "the questionnaire has no question with this linkId")
			continue
		case i.parent != parent:
			rd.fault(here+".linkId", "%s does not stand here in the questionnaire", i.linkID)
			continue
		case rd.seen[i.linkID]:
			rd.fault(here+".linkId", "%s stands here a second time", i.linkID)
			continue
		case (i.kind == "group" || i.kind == "display") && item.Get("answer").Len() > 0:
			rd.fault(here+".answer", "%s takes no answer", i.linkID)
		case item.Get("answer").Len() > 1 && !i.repeats:
			rd.fault(here+".answer", "%s takes one answer only", i.linkID)
		default:
			rd.given(i, item.Get("answer"), here)
		}
		rd.seen[i.linkID] = true
		rd.items(item.Get("item"), i.linkID, here+".item")
	}
}

// given reads the answers of one question.
func (rd *answerReader) given(i *question, answers *fhir.Node, at string) {
	for n, a := range answers.Items() {
		here := at + ".answer[" + strconv.Itoa(n) + "]"
		v := valueOf(a)
		switch {
		case v == nil: // only a reason why there is none: not answered
		case !slices.Contains(valueTypes[i.kind], v.Name()):
			rd.fault(here, "%s asks for %s", i.linkID, valueTypes[i.kind][0])
		case i.kind == "choice" && !i.offers(v):
			rd.fault(here, "%s was answered with a code that is none of its options", i.linkID)
		case i.kind == "quantity" && i.urgent != nil && !isTemperature(v):
			rd.fault(here, "%s asks for a number with the unit Cel or [degF] of UCUM", i.linkID)
		default:
			rd.answers[i.linkID] = append(rd.answers[i.linkID], v)
		}
		rd.items(a.Get("item"), i.linkID, here+".item")
	}
}

// valueTypes are the values that a type of question may have in a response (HL7
// FHIR R4, QuestionnaireResponse.item.answer.value[x], and Questionnaire
// item-type).
var valueTypes = map[string][]string{
	"boolean": {"valueBoolean"}, "choice": {"valueCoding"}, "date": {"valueDate"}, "dateTime": {"valueDateTime"},
	"time": {"valueTime"}, "decimal": {"valueDecimal"}, "integer": {"valueInteger"}, "quantity": {"valueQuantity"},
	"string": {"valueString"}, "text": {"valueString"}, "url": {"valueUri"}, "reference": {"valueReference"},
	"attachment": {"valueAttachment"}, "open-choice": {"valueCoding", "valueString"},
}

// valueOf is the value[x] of an answer.
func valueOf(answer *fhir.Node) *fhir.Node {
	for name, v := range answer.Members() {
		if len(name) > 5 && name[:5] == "value" && v.Exists() {
			return v
		}
	}
	return nil
}

func (i *question) offers(v *fhir.Node) bool {
	c := Coding{v.String("system"), v.String("code")}
	if i.yesNo {
		return ternary[c] != Unanswered
	}
	return i.options[c]
}

// To is the answer to a question. Of an answer with a code that means that it
// is not known, it is Unknown.
func (a Answers) To(linkID string) Answer {
	if len(a[linkID]) == 0 {
		return Unanswered
	}
	v := a[linkID][0]
	switch {
	case v.Kind() == fhir.Bool && v.Bool():
		return Yes
	case v.Kind() == fhir.Bool:
		return No
	}
	if t := ternary[Coding{v.String("system"), v.String("code")}]; t != Unanswered {
		return t
	}
	return Value
}

// allKnown reports whether each required question of a group is answered, and
// none of the group with unknown.
func (q *Questionnaire) allKnown(a Answers, group string) bool {
	for _, i := range q.order {
		if !q.below(i, group) {
			continue
		}
		switch to := a.To(i.linkID); {
		case i.required && to == Unanswered, i.yesNo && to == Unknown:
			return false
		}
	}
	return true
}

// Left says which required questions of a finished response are still to be
// asked by a person; empty for none.
func (q *Questionnaire) Left(r *fhir.Resource) string {
	a, _ := q.Read(r)
	switch open := q.open(a); {
	case len(q.levels) > 0:
		return "kept as it was filled in so far: it is not finished, and nobody has been told of it"
	case len(open) > 0:
		return "kept; still to be asked, as it was left out or is not known: " + strings.Join(open, ", ")
	}
	return ""
}

// open lists the required questions that are not answered, or with unknown.
func (q *Questionnaire) open(a Answers) []string {
	var out []string
	for _, i := range q.order {
		if to := a.To(i.linkID); i.required && (to == Unanswered || to == Unknown) {
			out = append(out, i.linkID)
		}
	}
	return out
}

// ucum is the system of the units of measure.
const ucum = "http://unitsofmeasure.org"

// celsius reads a temperature; false when it is none, or no plain number.
func celsius(n *fhir.Node) (float64, bool) {
	q, ok := quantityOf(n)
	if !ok || n.Get("comparator").Exists() {
		return 0, false
	}
	return q.in("Cel")
}

func isTemperature(n *fhir.Node) bool {
	_, ok := celsius(n)
	return ok
}

package translate

import (
	"cmp"
	"strconv"
	"strings"

	"example.org/countback/pkg/fhir"
)

// mostAnswers is how many answers are named in words; the report has all.
const mostAnswers = 3

// reported says in plain words what a report was sorted by: when it came, and
// which answers to which questions were urgent.
func (q *Questionnaire) reported(r *Record, f Facility) string {
	answers, _ := q.Read(r.Resource)
	unfinished := r.String("status") == "in-progress"
	var said []string
	for _, i := range q.order {
		if i.urgent != nil && i.counts(answers, unfinished) {
			said = append(said, "“"+cmp.Or(i.text, i.linkID)+"” "+i.answerWords(answers))
		}
	}
	out := "; it came on " + r.Updated.In(f.Calendar.Zone()).Format("Monday 2 January 2006, 15:04") + ". "
	switch more := len(said) - mostAnswers; {
	case len(said) == 0:
		out += "None of the answers is on the lists of urgent signs."
	case more > 0:
		out += "It says: " + strings.Join(said[:mostAnswers], "; ") + "; and " + strconv.Itoa(more) + " more like these."
	default:
		out += "It says: " + strings.Join(said, "; ") + "."
	}
	return out + " Read the whole report: the answers were sorted, and nobody has judged them yet."
}

// answerWords is an answer in words.
func (i *question) answerWords(a Answers) string {
	switch a.To(i.linkID) {
	case Yes:
		return "yes"
	case Unknown:
		return "the person does not know"
	case Unanswered:
		return "not answered"
	}
	v := a[i.linkID][0]
	switch {
	case v.Get("value").Exists():
		return strings.TrimSpace(v.Get("value").Text() + " " + cmp.Or(v.String("unit"), v.String("code")))
	case v.Kind() == fhir.Object:
		return cmp.Or(v.String("display"), v.String("code"), "answered")
	}
	return cmp.Or(v.Text(), "answered")
}

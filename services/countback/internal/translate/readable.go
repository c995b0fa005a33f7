package translate

import (
	"strings"

	"example.org/countback/pkg/fhir"
)

// Text is a question as the person read it; empty: the questionnaire has none
// with this linkId.
func (q *Questionnaire) Text(linkID string) string {
	if q == nil || q.questions[linkID] == nil {
		return ""
	}
	return q.questions[linkID].text
}

// AnswerWords say one answer of a response to a person: what was chosen or
// written, with its unit; empty: nothing was.
func AnswerWords(answer *fhir.Node) string {
	v := valueOf(answer)
	if v == nil {
		return ""
	}
	return valueWords(v)
}

func valueWords(v *fhir.Node) string {
	switch (Answers{"": {v}}).To("") {
	case Yes:
		return "Yes"
	case No:
		return "No"
	case Unknown:
		return "Don’t know"
	}
	if v.Kind() != fhir.Object {
		return v.Text()
	}
	for _, name := range []string{"display", "text", "code", "reference"} {
		if s := v.String(name); s != "" && !v.Get("value").Exists() {
			return s
		}
	}
	unit := v.String("unit")
	if unit == "" {
		unit = v.String("code")
	}
	return strings.TrimSpace(v.Get("comparator").Text() + v.Get("value").Text() + " " + unit)
}

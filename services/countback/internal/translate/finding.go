package translate

import (
	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
)

// Finding is a coded yes-or-no question that was answered with yes or unknown.
type Finding struct {
	LinkID string
	Codes  []Coding // of the question, such as a topic of CodeSystem/screening
	Answer Answer   // Yes or Unknown
	On     calendar.Date
	// Details are the answers that say more about it, by role: began, ended, on,
	// kind, reason. One that was answered with a date has Day; one with a code has
	// Code.
	Details map[string]Detail
}

// Detail is an answer that says more about another.
type Detail struct {
	Day     calendar.Date // zero: none, or less precise than a day
	Code    Coding
	Unknown bool // answered with "don't know"
}

// Findings lists what a completed or amended response says yes to, or does not
// know, in the order of its questionnaire, with the day on which it was filled
// in (zero when it does not say). Which topics matter is for the reader of the
// codes. Nil for a response to no questionnaire of ours.
func (p *Protocol) Findings(r *fhir.Resource, f Facility) []Finding {
	q := p.questionnaires.Of(r)
	if q == nil || r.String("status") != "completed" && r.String("status") != "amended" {
		return nil
	}
	answers, _ := q.Read(r)
	var out []Finding
	for _, i := range q.order {
		to := answers.To(i.linkID)
		if len(i.codes) == 0 || !i.yesNo || to != Yes && to != Unknown {
			continue
		}
		out = append(out, Finding{
			LinkID: i.linkID, Codes: i.codes, Answer: to, On: f.day(r.String("authored")), Details: q.details(answers, i.linkID, f),
		})
	}
	return out
}

func (q *Questionnaire) details(a Answers, of string, f Facility) map[string]Detail {
	out := map[string]Detail{}
	for _, i := range q.order {
		if i.of != of || len(a[i.linkID]) == 0 {
			continue
		}
		v := a[i.linkID][0]
		d := Detail{Unknown: a.To(i.linkID) == Unknown}
		if v.Kind() == fhir.String {
			d.Day = f.day(v.Text())
		} else if !d.Unknown {
			d.Code = Coding{v.String("system"), v.String("code")}
		}
		out[i.role] = d
	}
	return out
}

package translate

import (
	"fmt"
	"slices"
	"strings"

	"example.org/countback/pkg/fhir"
)

// Questionnaires are those that responses are read by under the protocol.
func (p *Protocol) Questionnaires() Questionnaires { return p.questionnaires }

// Outdated names the version that a response answers where the questionnaire is
// known, and that version of it is not; empty for none.
func (qs Questionnaires) Outdated(r *fhir.Resource) string {
	canonical := r.String("questionnaire")
	url, version, named := strings.Cut(canonical, "|")
	if q := qs[url]; r.Type != "QuestionnaireResponse" || !named || version == "" || q == nil || q.Version == "" || qs[canonical] != nil {
		return ""
	}
	return version
}

// Replaces says what is wrong with a questionnaire that is to stand in the place
// of another, beside what ReadQuestionnaire refuses: a condition on a question
// that is not there, words that lack one of the languages that others have, and a
// level of urgency that is gone, which would leave reports unsorted.
func (q *Questionnaire) Replaces(old *Questionnaire, r *fhir.Resource) []string {
	var out []string
	var languages []string
	each(r.Get("item"), func(i *fhir.Node) {
		for lang := range translations(i.Get("_text")) {
			if !slices.Contains(languages, lang) {
				languages = append(languages, lang)
			}
		}
	})
	slices.Sort(languages)
	each(r.Get("item"), func(i *fhir.Node) {
		for _, w := range i.Get("enableWhen").Items() {
			if on := w.String("question"); q.questions[on] == nil {
				out = append(out, fmt.Sprintf("%s is asked when %q is answered, which is no question", i.String("linkId"), on))
			}
		}
		told := translations(i.Get("_text"))
		for _, lang := range languages {
			if i.String("text") != "" && told[lang] == "" {
				out = append(out, fmt.Sprintf("%s is not in the language %q, which other items are in", i.String("linkId"), lang))
			}
		}
	})
	for _, l := range old.levels {
		if !slices.ContainsFunc(q.levels, func(n urgencyLevel) bool {
			return n.code == l.code && n.trigger == l.trigger && n.triggerWhenShut == l.triggerWhenShut && n.advice != ""
		}) {
			out = append(out, fmt.Sprintf("the level of urgency %q is missing, has no advice, or raises something else", l.code))
		}
	}
	return out
}

// Lacks says which topics that holds go by one questionnaire asks about and the
// one that is to stand in its place does not, or says less of.
func (p *Protocol) Lacks(old, now *Questionnaire) []string {
	var out []string
	for n := range p.holds {
		a := p.holds[n].answer
		if a == nil {
			continue
		}
		had, has := old.about(a.topic), now.about(a.topic)
		switch {
		case had == nil:
		case has == nil:
			out = append(out, fmt.Sprintf("no yes-or-no question has the code %q, by which cases are held", a.topic))
		default:
			for _, i := range old.order {
				if i.of == had.linkID && !slices.ContainsFunc(now.order, func(d *question) bool { return d.of == has.linkID && d.role == i.role }) {
					out = append(out, fmt.Sprintf("no question says more about %q as its %q", has.linkID, i.role))
				}
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// about is the yes-or-no question with a code; nil when there is none.
func (q *Questionnaire) about(code string) *question {
	for _, i := range q.order {
		if i.yesNo && slices.ContainsFunc(i.codes, func(c Coding) bool { return c.Code == code }) {
			return i
		}
	}
	return nil
}

// each visits items, groups before what they hold.
func each(items *fhir.Node, visit func(*fhir.Node)) {
	for _, i := range items.Items() {
		visit(i)
		each(i.Get("item"), visit)
	}
}

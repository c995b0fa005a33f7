package translate

import (
	"cmp"
	"slices"
	"strings"

	"example.org/countback/pkg/fhir"
)

// asks are the answers that a data requirement asks for beside its codes.
type asks struct {
	answers []ask  // all of them
	known   string // linkId of a group of which everything must be known; empty: none
	of      Questionnaires
}

type ask struct {
	linkID string
	is     Answer
}

func (a *asks) any() bool { return len(a.answers) > 0 || a.known != "" }

// asks reads the extensions answer and known-answers of an input, and checks
// that the questionnaires that it names have such questions.
func (rd *definitionReader) asks(in *fhir.Node) asks {
	out := asks{of: rd.defs.Questionnaires}
	for _, e := range extensions(in, "answer") {
		a := ask{linkID: value(part(e, "linkId")).Text(), is: answerCodes[value(part(e, "is")).Text()]}
		if a.is == Unanswered {
			rd.fault("input asks for an answer that is none of yes, no, unknown")
		}
		out.answers = append(out.answers, a)
	}
	if out.known = text(in, "known-answers"); !out.any() {
		return out
	}
	if in.String("type") != "QuestionnaireResponse" {
		rd.fault("input asks for answers of a %s, which has none", in.String("type"))
	}
	named := 0
	for _, f := range in.Get("codeFilter").Items() {
		for _, c := range f.Get("code").Items() {
			if f.String("path") == "questionnaire" {
				named++
				rd.questionsOf(c.String("code"), &out)
			}
		}
	}
	if named == 0 {
		rd.fault("input asks for answers and names no questionnaire by a code")
	}
	return out
}

func (rd *definitionReader) questionsOf(url string, a *asks) {
	q := rd.defs.Questionnaires[url]
	if q == nil {
		rd.fault("input asks for answers to the questionnaire %s, which is not known", url)
		return
	}
	for _, one := range a.answers {
		if i := q.questions[one.linkID]; i == nil || !i.yesNo {
			rd.fault("%s has no yes-or-no question %q", url, one.linkID)
		}
	}
	if g := q.questions[a.known]; a.known != "" && (g == nil || g.kind != "group") {
		rd.fault("%s has no group %q", url, a.known)
	}
}

// met reports whether a response gives the answers.
func (a *asks) met(r *fhir.Resource) bool {
	if !a.any() {
		return true
	}
	q := a.of.Of(r)
	if q == nil {
		return false
	}
	answers, _ := q.Read(r)
	for _, one := range a.answers {
		if answers.To(one.linkID) != one.is {
			return false
		}
	}
	return a.known == "" || q.allKnown(answers, a.known)
}

// answerRule says that an answer gives a fact.
type answerRule struct {
	factRule
	filters []filter
	asks    asks
}

// answerRule keeps an input that gives a fact by an answer; false when it asks
// for none.
func (rd *definitionReader) answerRule(in *fhir.Node, rule factRule) bool {
	a := answerRule{factRule: rule, asks: rd.asks(in)}
	if !a.asks.any() {
		return false
	}
	for _, f := range in.Get("codeFilter").Items() {
		a.filters = append(a.filters, rd.filter(f))
	}
	rd.answerRules = append(rd.answerRules, a)
	return true
}

// answered gathers the facts that answers give. Of a question that several
// responses answer, the newest decides, also when it says unknown, which gives
// no fact.
func (p *Protocol) answered(records []*Record, f Facility) map[string]any {
	if len(p.answerRules) == 0 {
		return nil
	}
	responses := completed(records, f)
	out := map[string]any{}
	for n := range p.answerRules {
		rule := &p.answerRules[n]
		if r := rule.asks.deciding(rule.filters, responses); r != nil && rule.asks.met(r.Resource) {
			out[rule.Fact] = rule.Value
		}
	}
	return out
}

// deciding is the newest response that answers any of the questions that are
// asked for.
func (a *asks) deciding(filters []filter, responses []*Record) *Record {
	for _, r := range responses {
		if q := a.of.Of(r.Resource); q != nil && all(filters, r) {
			answers, _ := q.Read(r.Resource)
			if slices.ContainsFunc(a.answers, func(one ask) bool { return answers.To(one.linkID) != Unanswered }) {
				return r
			}
		}
	}
	return nil
}

// completed are the responses that are, newest first; those of one moment
// always in the same order.
func completed(records []*Record, f Facility) []*Record {
	var out []*Record
	for _, r := range records {
		if r.Type == "QuestionnaireResponse" && slices.Contains(proofs[r.Type].statuses, r.status()) {
			out = append(out, r)
		}
	}
	slices.SortFunc(out, func(a, b *Record) int {
		return cmp.Or(f.authored(b).Compare(f.authored(a)), strings.Compare(b.ID, a.ID))
	})
	return out
}

func all(filters []filter, r *Record) bool {
	return !slices.ContainsFunc(filters, func(f filter) bool { return !matches(r.Get(f.path...), f.set) })
}

// Knows reports whether a response answers a questionnaire that some step, or
// some fact, is shown by.
func (p *Protocol) Knows(r *fhir.Resource) bool {
	named := func(filters []filter) bool {
		return slices.ContainsFunc(filters, func(f filter) bool {
			return f.path[0] == "questionnaire" && matches(r.Get(f.path...), f.set)
		})
	}
	return slices.ContainsFunc(p.evidence, func(e evidenceRule) bool { return e.Type == r.Type && named(e.filters) }) ||
		slices.ContainsFunc(p.answerRules, func(a answerRule) bool { return named(a.filters) })
}

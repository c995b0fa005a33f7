package translate

import (
	"slices"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// holdAnswer says which answer of a response the rule reads: the question's topic,
// and what a detail of it must say.
type holdAnswer struct {
	topic     string
	role      string   // of the detail; empty: none is asked for
	codes     []string // that the detail may have
	orUnknown bool     // a detail that is not known counts as well
}

// Modes of a QuestionnaireResponse, as those of what was answered about.
var answerModes = []string{modeIllness, modeDated, modeWork, modeVisit, modeDone}

func readHoldAnswer(e *fhir.Node) *holdAnswer {
	a := &holdAnswer{topic: value(part(e, "topic")).Text(), role: value(part(e, "detail")).Text(), orUnknown: value(part(e, "or-unknown")).Bool()}
	for _, p := range e.Get("extension").Items() {
		if p.String("url") == "detail-code" {
			a.codes = append(a.codes, value(p).Text())
		}
	}
	if a.topic == "" {
		return nil
	}
	return a
}

// groundsAnswered finds the grounds in a response: one for each topic that is
// answered with yes. What an older response said holds nothing any more by
// itself; what one says that was entered in error never was.
func (p *Protocol) groundsAnswered(r *Record, newest bool, f Facility, today calendar.Date) []readiness.Ground {
	findings := p.Findings(r.Resource, f)
	var out []readiness.Ground
	for n := range p.holds {
		rule := &p.holds[n]
		if rule.answer == nil || rule.asksOnly || !all(rule.filters, r) {
			continue
		}
		g := readiness.Ground{
			Kind: rule.kind, Record: r.Ref() + "#" + rule.answer.topic, Says: rule.says + ", by their own answer", Withdrawn: r.inError(),
			After: rule.after, Assess: rule.assess, NotBefore: rule.notBefore,
		}
		i := slices.IndexFunc(findings, rule.answer.found)
		if i >= 0 {
			g.Class, g.Codes = rule.answer.matter(&findings[i])
		}
		if g.Withdrawn || i >= 0 && (!newest || rule.stated(&g, &findings[i], today)) {
			out = append(out, g)
		}
	}
	return out
}

// found reports whether the finding is the one that the rule reads.
func (a *holdAnswer) found(f Finding) bool {
	if f.Answer != Yes || !slices.ContainsFunc(f.Codes, func(c Coding) bool { return c.Code == a.topic }) {
		return false
	}
	d, said := f.Details[a.role]
	switch {
	case a.role == "":
		return true
	case !said || d.Unknown:
		return a.orUnknown
	}
	return slices.Contains(a.codes, d.Code.Code)
}

// stated sets the days of the ground from the answer's details, and reports
// whether it is one.
func (h *holdRule) stated(g *readiness.Ground, f *Finding, today calendar.Date) bool {
	switch h.mode {
	case modeIllness:
		g.Day = f.Details["ended"].Day
		g.Ends = g.Day
		if g.Day.IsZero() || g.Day > today || !h.decides {
			g.Active, g.Day = true, 0
		}
	case modeDated:
		g.Day = f.Details["began"].Day
		g.Active = g.Day.IsZero()
	default:
		g.Day = f.Details["on"].Day
		g.Active = g.Day.IsZero()
		return !g.Active || h.mode != modeVisit
	}
	return true
}

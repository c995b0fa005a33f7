package translate

import (
	"fmt"
	"slices"
	"strconv"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// TriggerRisk is the event of a finding that can be made better before surgery.
// It is information and a question of a person's; it refuses and holds nothing.
const TriggerRisk = "risk-found"

// riskRule says which findings are such: an input with the extension flags-risk.
type riskRule struct {
	Type, code, says   string
	filters            []filter
	sex                string    // for whom the limit is; empty: for everybody
	atLeast, atMost    *quantity // of an Observation's value
	below              *quantity
	source, sourceMark string
}

func (rd *definitionReader) riskRule(in, e *fhir.Node) {
	str := func(name string) string { return value(part(e, name)).Text() }
	r := riskRule{Type: in.String("type"), code: str("code"), says: str("says"), sex: str("sex"), source: str("source"), sourceMark: str("mark")}
	limit := func(name string) *quantity {
		q, ok := quantityOf(value(part(e, name)))
		if !ok {
			return nil
		}
		return &q
	}
	r.atLeast, r.atMost, r.below = limit("at-least"), limit("at-most"), limit("below")
	for _, f := range in.Get("codeFilter").Items() {
		r.filters = append(r.filters, rd.filter(f))
	}
	if r.code == "" || r.says == "" || r.source == "" || len(r.filters) == 0 {
		rd.fault("flags-risk needs code, says, source and a codeFilter")
	}
	rd.risks = append(rd.risks, r)
}

// Risks finds the newest finding of each kind that is at or past its limit, as far
// as it was heard of before the operation.
func (p *Protocol) Risks(records []*Record, b *Booking, f Facility) []readiness.Raised {
	var out []readiness.Raised
	for n := range p.risks {
		rule := &p.risks[n]
		newest := rule.newest(records, f)
		late := newest != nil && !b.Case.Start.IsZero() && newest.Updated.After(b.Case.Start)
		if newest == nil || late || !all(rule.filters, newest) || slices.ContainsFunc(out, func(r readiness.Raised) bool { return r.Key == rule.code }) {
			continue
		}
		if words, ok := rule.met(newest, records); ok {
			if day := f.dayOf(newest); !day.IsZero() {
				words += " on " + day.Format(dayWords)
			}
			out = append(out, readiness.Raised{
				Trigger: TriggerRisk, Key: rule.code, At: newest.Updated,
				Why: words + ". " + rule.says + " (" + rule.source + "; " + rule.sourceMark + "). It refuses nothing.",
			})
		}
	}
	return out
}

// newest is the latest record of the kind; whether it says what is flagged stands
// in the other filters.
func (h *riskRule) newest(records []*Record, f Facility) *Record {
	var out *Record
	for _, r := range records {
		valid := slices.Contains(takenStatuses[r.Type], r.status()) || slices.Contains(proofs[r.Type].statuses, r.status())
		if r.Type == h.Type && valid && all(h.filters[:1], r) && (out == nil || f.dayOf(r) >= f.dayOf(out)) {
			out = r
		}
	}
	return out
}

// met reports whether the finding is at or past the limit, and says it in words.
// What is in a unit that is not known, or of a person whose sex is not, is not.
func (h *riskRule) met(r *Record, records []*Record) (string, bool) {
	if h.sex != "" && !slices.ContainsFunc(records, func(o *Record) bool { return o.Type == "Patient" && o.String("gender") == h.sex }) {
		return "", false
	}
	if h.atLeast == nil && h.atMost == nil && h.below == nil {
		code := r.Get("code")
		if h.Type != "Observation" {
			code = r.medication()
		}
		return nameOf(r, code), true
	}
	q, known := quantityOf(r.Get("valueQuantity"))
	past := func(limit *quantity, is func(v, limit float64) bool) bool {
		if limit == nil || !known {
			return false
		}
		v, same := q.in(limit.code)
		return same && is(v, limit.value)
	}
	met := past(h.atLeast, func(v, l float64) bool { return v >= l }) ||
		past(h.atMost, func(v, l float64) bool { return v <= l }) ||
		past(h.below, func(v, l float64) bool { return v < l })
	return fmt.Sprintf("%s %s %s", nameOf(r, r.Get("code")), strconv.FormatFloat(q.value, 'f', -1, 64), r.String("valueQuantity", "unit")), met
}

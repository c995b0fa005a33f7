package translate

import (
	"slices"
	"strings"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// systemURI is the system of codes that are URIs, such as the canonical of a
// questionnaire (FHIR R4, Identifier Registry).
const systemURI = "urn:ietf:rfc:3986"

// proof says when a resource of a type shows that something was done: its
// status, and the elements that tell the day, best first. A booked visit that
// was fulfilled is no proof: it tells that time was given, not that anyone came.
type proof struct {
	statuses []string
	days     []string
}

// proofs are the statuses and dates of R4 that mean "this has happened" and
// "these are results to act on".
var proofs = map[string]proof{
	"Encounter":             {[]string{"finished"}, []string{"period.end", "period.start"}},
	"Procedure":             {[]string{"completed"}, []string{"performedDateTime", "performedPeriod.end"}},
	"DiagnosticReport":      {[]string{"final", "amended", "corrected", "appended"}, []string{"effectiveDateTime", "effectivePeriod.end", "issued"}},
	"Observation":           {[]string{"final", "amended", "corrected"}, []string{"effectiveDateTime", "effectivePeriod.end", "effectiveInstant", "issued"}},
	"QuestionnaireResponse": {[]string{"completed", "amended"}, []string{"authored"}},
}

// evidenceRule says which resources show that a step was done.
type evidenceRule struct {
	Step    string
	Type    string
	filters []filter
	asks    asks
}

// filter asks that a coding at a path belongs to a set.
type filter struct {
	path []string
	set  *ValueSet
}

// filter reads one codeFilter, with a value set or with codes of its own.
func (rd *definitionReader) filter(n *fhir.Node) filter {
	f := filter{path: strings.Split(n.String("path"), ".")}
	url := n.String("valueSet")
	switch {
	case n.String("path") == "":
		rd.fault("an input has a codeFilter without a path")
	case url != "":
		if f.set = rd.defs.ValueSets[url]; f.set == nil {
			rd.fault("input names the value set %s, which is not known", url)
		}
	case n.Get("code").Exists():
		f.set = setOf(n.Get("code"))
	default:
		rd.fault("an input has a codeFilter on %s without a value set or codes", n.String("path"))
	}
	return f
}

// setOf is a value set made of codings.
func setOf(codings *fhir.Node) *ValueSet {
	v := &ValueSet{}
	for _, c := range codings.Items() {
		v.includes = append(v.includes, inclusion{system: c.String("system"), codes: map[string]bool{c.String("code"): true}})
	}
	return v
}

// evidence reads an input of a step: what shows that it was done. All its
// filters must hold.
func (rd *definitionReader) evidence(in *fhir.Node) {
	if extension(in, "gives-fact") != nil {
		rd.rules = append(rd.rules, rd.factRule(in)...)
		return
	}
	if e := extension(in, "flags-risk"); e != nil {
		rd.riskRule(in, e)
		return
	}
	if e := extension(in, "raises-hold"); e != nil {
		rd.holdRule(in, e)
		return
	}
	r := evidenceRule{Step: rd.action, Type: in.String("type")}
	if _, known := proofs[r.Type]; !known {
		rd.fault("an input of type %q cannot show that a step was done", r.Type)
	}
	for _, f := range in.Get("codeFilter").Items() {
		r.filters = append(r.filters, rd.filter(f))
	}
	if len(r.filters) == 0 {
		rd.fault("an input of type %s has no codeFilter: any %s would show that the step was done", r.Type, r.Type)
	}
	r.asks = rd.asks(in)
	for _, name := range []string{"dateFilter", "subjectCodeableConcept", "limit"} {
		if in.Get(name).Exists() {
			rd.fault("an input has %s, which is not understood here", name)
		}
	}
	rd.evidenceRules = append(rd.evidenceRules, r)
}

// proofsOf finds what shows that steps were done, by step.
func (p *Protocol) proofsOf(records []*Record, f Facility) map[readiness.Key][]readiness.Proof {
	var out map[readiness.Key][]readiness.Proof
	for n := range p.evidence {
		rule := &p.evidence[n]
		shown := records
		if len(rule.asks.answers) > 0 { // a later answer takes an earlier one back
			shown = nil
			if r := rule.asks.deciding(rule.filters, completed(records, f)); r != nil {
				shown = []*Record{r}
			}
		}
		for _, r := range shown {
			if r.Type != rule.Type || !rule.shows(r) {
				continue
			}
			on := f.dayOf(r)
			if on.IsZero() {
				continue // nobody can tell how old it is
			}
			if out == nil {
				out = map[readiness.Key][]readiness.Proof{}
			}
			key := readiness.Key{Step: rule.Step}
			if !slices.ContainsFunc(out[key], func(have readiness.Proof) bool { return have.Record == r.Ref() }) {
				out[key] = append(out[key], readiness.Proof{Record: r.Ref(), On: on, InTime: rule.asks.known != ""})
			}
		}
	}
	return out
}

func (e *evidenceRule) shows(r *Record) bool {
	if !slices.Contains(proofs[r.Type].statuses, r.status()) {
		return false
	}
	for _, f := range e.filters {
		if !matches(r.Get(f.path...), f.set) {
			return false
		}
	}
	return e.asks.met(r.Resource)
}

// ShowsNothing says why a resource that names a step's codes shows nothing yet;
// empty when it does, or names none.
func (p *Protocol) ShowsNothing(r *fhir.Resource, f Facility) string {
	rec := &Record{Resource: r, Type: r.Type}
	for n := range p.evidence {
		rule := &p.evidence[n]
		if rule.Type == r.Type && rule.shows(rec) && f.dayOf(rec).IsZero() {
			return "it names no day (" + strings.Join(proofs[r.Type].days, ", ") + "), so it cannot show when the step was done"
		}
	}
	return ""
}

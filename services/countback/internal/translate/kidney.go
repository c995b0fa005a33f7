package translate

import (
	"slices"
	"time"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// units of the figures that are computed with, in UCUM, each with its factor to
// mg/dL and kg. The international pound is 0.45359237 kg by definition.
var units = map[string]map[string]float64{
	"creatinine": {"mg/dL": 1, "umol/L": 1 / readiness.MicromolesPerMilligram},
	"weight":     {"kg": 1, "g": 0.001, "[lb_av]": 0.45359237},
}

// kidney gathers what a creatinine clearance is computed from: the newest
// figures, and the person's own age and sex.
func (p *Protocol) kidney(records []*Record, f Facility) *readiness.Kidney {
	k := &readiness.Kidney{}
	for _, rule := range p.drugs.readings {
		switch rule.name {
		case "creatinine":
			k.Creatinine = f.newest(records, rule)
		case "weight":
			k.Weight = f.newest(records, rule)
		}
	}
	for _, r := range records {
		if r.Type == "Patient" {
			k.Born = f.day(r.String("birthDate"))
			switch r.String("gender") {
			case "male":
				k.Sex = readiness.Male
			case "female":
				k.Sex = readiness.Female
			}
		}
	}
	return k
}

// newest is the newest figure of a kind, whether or not its unit is understood:
// an older one is not taken in its place.
func (f Facility) newest(records []*Record, rule readingRule) readiness.Reading {
	out := readiness.Reading{MaxAge: rule.maxAge}
	var at time.Time
	for _, r := range records {
		if r.Type != "Observation" || !slices.Contains(proofs[r.Type].statuses, r.status()) || !matches(r.Get("code"), rule.set) {
			continue
		}
		on := f.dayOf(r)
		if on.IsZero() || on < out.On {
			continue
		}
		when := f.instant(r.String("effectiveDateTime"))
		if on == out.On && when.Before(at) {
			continue
		}
		v, read := inUnit(r.Get("valueQuantity"), units[rule.name])
		out.Value, out.On, out.Unread, at = v, on, !read, when
	}
	return out
}

// medicineFacts are the facts that the rules on medicines take from other
// records. What contradicts itself stays unknown.
func (p *Protocol) medicineFacts(records []*Record) map[string]any {
	found := map[string][]any{}
	for _, r := range records {
		if !r.standsForFacts() {
			continue
		}
		for n := range p.drugs.facts {
			rule := &p.drugs.facts[n]
			if rule.Type == r.Type && rule.Set != nil && matches(r.Get(rule.Path), rule.Set) {
				found[rule.Fact] = append(found[rule.Fact], rule.Value)
			}
		}
	}
	out := make(map[string]any, len(found))
	for name, values := range found {
		if v := merge(p.facts[name].Both, values); v != nil {
			out[name] = v
		}
	}
	return out
}

// standsForFacts reports whether a record says something of the present: a
// diagnosis that is neither refuted nor over, and what is ordered or prepared.
func (r *Record) standsForFacts() bool {
	code := func(name string) string { return codeOf(r.Get(name)) }
	switch r.Type {
	case "Condition":
		v, c := code("verificationStatus"), code("clinicalStatus")
		return v != "refuted" && v != "entered-in-error" && c != "resolved" && c != "inactive" && c != "remission"
	case "Procedure":
		return r.status() == "preparation" || r.status() == "in-progress"
	case "ServiceRequest":
		return r.status() == "active" && !r.Get("doNotPerform").Bool()
	}
	return false
}

func codeOf(concept *fhir.Node) string { return concept.String("coding", "code") }

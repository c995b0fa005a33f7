package translate

import (
	"strings"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// TypeMedicineRules is the code of PlanDefinition.type (system
// plan-definition-type) of rules on medicines, as against a protocol of steps.
const TypeMedicineRules = "eca-rule"

// medicineRules is a PlanDefinition of rules on medicines.
type medicineRules struct {
	kinds    []medicineKind
	readings []readingRule
	facts    []factRule
}

// medicineKind is the rules for the medicines of one value set.
type medicineKind struct {
	key   string // the last part of the set's address
	set   *ValueSet
	rules []*readiness.MedicineRule
}

// readingRule says which observations give a figure, and how old it may be.
type readingRule struct {
	name   string
	set    *ValueSet
	maxAge int // days on the day of surgery
}

// medicines reads the rules on medicines, with the protocol's list of facts.
func (rd *definitionReader) medicines(r *fhir.Resource, p *readiness.Protocol) medicineRules {
	var out medicineRules
	if r == nil {
		return out
	}
	if d := value(extension(r.Root(), "undated-decision")); d.Exists() {
		p.UndatedDecision = rd.offset(d, 1, false).N
	}
	if e := extension(r.Root(), "early-last-dose"); e != nil {
		p.EarlyDose = rd.offset(value(part(e, "margin")), 1, false).N
		p.EarlyDoseMark = value(part(e, "mark")).Text()
		if p.EarlyDose <= 0 || p.EarlyDoseMark == "" {
			rd.fault("early-last-dose needs a margin of at least a day, and a mark")
		}
	}
	if r.String("approvalDate") == "" || r.String("status") != "active" || !r.Get("endorser").Exists() {
		p.MedicineNotice = "The rules on medicines are an example that no one at this hospital has approved."
	}
	for _, a := range r.Get("action").Items() {
		rd.action = a.String("id")
		if e := extension(a, "medicine-rule"); e != nil {
			rd.medicineRule(a, e, &out)
			continue
		}
		for _, in := range a.Get("input").Items() {
			if e := extension(in, "fact-reading"); e != nil {
				out.readings = append(out.readings, readingRule{
					name: value(part(e, "name")).Text(), set: rd.set(in),
					maxAge: rd.offset(value(part(e, "max-age")), 1, false).N,
				})
				continue
			}
			out.facts = append(out.facts, rd.factRule(in)...)
		}
	}
	return out
}

// set is the value set that an input names.
func (rd *definitionReader) set(in *fhir.Node) *ValueSet {
	url := in.String("codeFilter", "valueSet")
	s := rd.defs.ValueSets[url]
	if s == nil {
		rd.fault("input names the value set %q, which is not known", url)
	}
	return s
}

func (rd *definitionReader) medicineRule(a, e *fhir.Node, out *medicineRules) {
	r := &readiness.MedicineRule{
		Code: a.String("id"), Title: a.String("title"), Note: a.String("description"),
		Does:    rd.medicineAction(value(part(e, "does")).Text()),
		LowDose: rd.number(value(part(e, "low-dose")).Get("value")),
		Hold:    rd.distance(part(e, "hold")), From: rd.distance(part(e, "from")), To: rd.distance(part(e, "to")),
		Decides: value(part(e, "decides")).Text(), SetsDose: value(part(e, "sets-dose")).Bool(), Check: value(part(e, "check")).Text(),
		Restart: readiness.Restart{Text: value(part(e, "restart")).Text()},
	}
	if from, to := rd.distance(part(e, "restart-from")), rd.distance(part(e, "restart-to")); from != nil && to != nil {
		r.Restart.From, r.Restart.To, r.Restart.Dated = from.N, to.N, true
	}
	for _, c := range a.Get("condition").Items() {
		r.Condition = rd.condition(c)
	}
	for _, d := range a.Get("documentation").Items() {
		r.Sources = append(r.Sources, source(d))
	}
	rd.soundRule(r)
	var seen []string
	for _, in := range a.Get("input").Items() {
		if set := rd.set(in); set != nil {
			if key := set.URL[strings.LastIndex(set.URL, "/")+1:]; !contains(seen, key) {
				seen = append(seen, key)
				out.add(key, set, r)
			}
		}
	}
	if len(seen) == 0 {
		rd.fault("the rule fits no medicine: it has no input with a value set")
	}
}

func contains(list []string, s string) bool {
	for _, have := range list {
		if have == s {
			return true
		}
	}
	return false
}

func (m *medicineRules) add(key string, set *ValueSet, r *readiness.MedicineRule) {
	for n := range m.kinds {
		if m.kinds[n].set == set {
			m.kinds[n].rules = append(m.kinds[n].rules, r)
			return
		}
	}
	m.kinds = append(m.kinds, medicineKind{key, set, []*readiness.MedicineRule{r}})
}

// soundRule refuses a rule that could give no last dose, or one that nobody
// answers for.
func (rd *definitionReader) soundRule(r *readiness.MedicineRule) {
	switch r.Does {
	case readiness.MedicineHold:
		if r.Hold == nil || r.Hold.N < 0 || r.Hold.Unit != readiness.Days && r.Hold.Unit != readiness.Minutes {
			rd.fault("a hold needs whole days or hours")
		}
	case readiness.MedicineWindow:
		if r.From == nil || r.From.N <= 0 || r.To != nil && (r.To.Unit != r.From.Unit || r.To.N < r.From.N) {
			rd.fault("a window needs the distance from which surgery may be, and an end that is not before it")
		}
	case readiness.MedicineChoice, readiness.MedicineSpecialist:
		if r.Decides == "" {
			rd.fault("nothing says who decides")
		}
	}
	if len(r.Sources) == 0 {
		rd.fault("the rule has no source")
	}
}

func (rd *definitionReader) medicineAction(code string) readiness.MedicineAction {
	switch a := readiness.MedicineAction(code); a {
	case readiness.MedicineHold, readiness.MedicineWindow, readiness.MedicineContinue,
		readiness.MedicineNeverStop, readiness.MedicineChoice, readiness.MedicineSpecialist:
		return a
	}
	rd.fault("%q is no code of CodeSystem/medicine-action", code)
	return ""
}

// distance is a Duration of a part; nil when there is none.
func (rd *definitionReader) distance(e *fhir.Node) *readiness.Offset {
	if e == nil {
		return nil
	}
	o := rd.offset(value(e), 1, false)
	return &o
}

func (rd *definitionReader) number(n *fhir.Node) float64 {
	if !n.Exists() {
		return 0
	}
	v, ok := decimal(n)
	if !ok {
		rd.fault("%q is not a number", n.Text())
	}
	return v
}

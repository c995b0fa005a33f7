package translate

import (
	"cmp"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// RepeatMedicine is the name by which steps repeat for each medicine that needs
// a date or a decision.
const RepeatMedicine = "medicine"

// takenStatuses are the statuses with which a record says that the person takes,
// or may take, the medicine: what is unknown or on hold is asked about.
var takenStatuses = map[string][]string{
	"MedicationStatement": {"active", "intended", "on-hold", "unknown"},
	"MedicationRequest":   {"active", "on-hold", "unknown"},
}

// medicines adds to each booking what the person takes, and what the rules on
// medicines need to know; it names the items that repeat for each medicine.
func (p *Protocol) medicines(out []Booking, records []*Record, f Facility) {
	kidney := p.kidney(records, f)
	facts := p.medicineFacts(records)
	for n := range out {
		c := &out[n].Case
		for name, v := range facts {
			if _, known := c.Facts[name]; !known {
				c.Facts[name] = v
			}
		}
		c.Medicines, c.Disowned = p.taken(records, c, f), p.disowned(records)
		if len(c.Medicines) == 0 {
			continue
		}
		c.Kidney = kidney
		for m := range c.Medicines {
			a := readiness.Advise(&c.Medicines[m], c, f.Calendar)
			if !a.Asked() {
				continue
			}
			if c.Repeats == nil {
				c.Repeats = map[string][]string{}
			}
			c.Repeats[RepeatMedicine] = append(c.Repeats[RepeatMedicine], a.Medicine.Key)
			c.Details[readiness.DetailLastDose(a.Medicine.Key)] = a.Last.Words()
		}
	}
}

// taken lists what a person takes, each kind once, in the order of the rules;
// then what no rule knows, by name.
func (p *Protocol) taken(records []*Record, c *readiness.Case, f Facility) []readiness.Medicine {
	byKind, names := make([]*readiness.Medicine, len(p.drugs.kinds)), map[string][]string{}
	var others []readiness.Medicine
	for _, r := range records {
		if !f.takes(r, c) {
			continue
		}
		code := r.medication()
		for n := range p.drugs.kinds {
			k := &p.drugs.kinds[n]
			if !r.holds(k.set) {
				continue
			}
			if byKind[n] == nil {
				byKind[n] = &readiness.Medicine{Key: k.key, Rules: k.rules, Facts: map[string]any{}}
			}
			names[k.key] = append(names[k.key], inWords(nameOf(r, code), k.key))
			f.dosed(byKind[n], r, c.Day)
		}
		for _, part := range p.strangers(r) {
			others = f.other(others, r, part, c.Day, p.like(r, part))
		}
	}
	var out []readiness.Medicine
	for _, m := range byKind {
		if m == nil {
			continue
		}
		if m.Facts[readiness.FactDoseInterval] == contradicted {
			delete(m.Facts, readiness.FactDoseInterval)
		}
		m.Name = together(names[m.Key])
		out = append(out, *m)
	}
	slices.SortFunc(others, func(a, b readiness.Medicine) int {
		return cmp.Or(strings.Compare(a.Name, b.Name), strings.Compare(a.Key, b.Key))
	})
	return append(out, others...)
}

// disowned are the kinds of medicine of which every record was entered in error.
func (p *Protocol) disowned(records []*Record) []string {
	var out []string
	for n := range p.drugs.kinds {
		k := &p.drugs.kinds[n]
		wrong, right := false, false
		for _, r := range records {
			if _, drug := takenStatuses[r.Type]; drug && r.holds(k.set) {
				wrong, right = wrong || r.inError(), right || !r.inError()
			}
		}
		if wrong && !right {
			out = append(out, k.key)
		}
	}
	return append(out, p.disownedOthers(records)...)
}

// takes reports whether a record says that the person takes a medicine before
// the operation: one that begins on the day of surgery or later, or was over
// when the operation was booked, is none to stop.
func (f Facility) takes(r *Record, c *readiness.Case) bool {
	if !slices.Contains(takenStatuses[r.Type], r.status()) || r.Get("doNotPerform").Bool() {
		return false
	}
	if intent := r.String("intent"); intent == "proposal" || intent == "option" {
		return false
	}
	for _, period := range r.periods() {
		from, to := f.day(period.String("start")), f.day(period.String("end"))
		if !from.IsZero() && !c.Day.IsZero() && from >= c.Day || !to.IsZero() && to < f.Calendar.DateOf(c.Booked) {
			return false
		}
	}
	return true
}

// periods are the times for which a medicine is said to be taken.
func (r *Record) periods() []*fhir.Node {
	out := []*fhir.Node{r.Get("effectivePeriod")}
	for _, d := range r.dosages() {
		out = append(out, d.Get("timing", "repeat", "boundsPeriod"))
	}
	return out
}

func (r *Record) dosages() []*fhir.Node {
	name := "dosage"
	if r.Type == "MedicationRequest" {
		name = "dosageInstruction"
	}
	var out []*fhir.Node
	for _, d := range r.Get(name).Items() {
		out = append(out, d)
	}
	return out
}

// nameOf is what a medicine is called where it is listed.
func nameOf(r *Record, code *fhir.Node) string {
	for _, s := range []string{
		code.String("text"), code.String("coding", "display"), r.String("medicationReference", "display"), code.String("coding", "code"),
	} {
		if s = strings.TrimSpace(s); s != "" {
			return strings.ToUpper(s[:1]) + s[1:]
		}
	}
	return "A medicine without a name (" + r.Ref() + ")"
}

// inWords names a medicine of a known kind by the kind where its record gives a
// code and no word: nobody knows a medicine by its number.
func inWords(name, kind string) string {
	if strings.ContainsFunc(name, unicode.IsLetter) && !atcCode.MatchString(name) {
		return name
	}
	words := strings.ReplaceAll(strings.TrimPrefix(kind, "medicine-"), "-", " ")
	return strings.ToUpper(words[:1]) + words[1:] + " (code " + name + ")"
}

// together names a kind by the names of its records, whatever their order: two
// insulins are decided on together, and both are named. What a shorter name says
// already is not said again.
func together(names []string) string {
	slices.SortFunc(names, func(a, b string) int { return cmp.Or(len(a)-len(b), strings.Compare(a, b)) })
	var out []string
	for _, name := range names {
		if !slices.ContainsFunc(out, func(had string) bool { return strings.Contains(strings.ToLower(name), strings.ToLower(had)) }) {
			out = append(out, name)
		}
	}
	slices.Sort(out)
	return strings.Join(out, " and ")
}

// atcCode is a code of the Anatomical Therapeutic Chemical classification.
var atcCode = regexp.MustCompile(`^[A-Z]\d{2}[A-Z]{2}\d{2}$`)

// contradicted marks an interval on which records differ; none is nought.
const contradicted = 0.0

// dosed adds what a record tells of doses: of several the greater dose counts,
// two intervals that differ leave it unknown, and the last dose is the latest.
func (f Facility) dosed(m *readiness.Medicine, r *Record, surgery calendar.Date) {
	for _, d := range r.dosages() {
		for _, q := range d.Get("doseAndRate").Items() {
			m.Dose = max(m.Dose, milligrams(q.Get("doseQuantity")))
		}
		days, ok := interval(d.Get("timing", "repeat"))
		if !ok {
			continue
		}
		if had, known := m.Facts[readiness.FactDoseInterval]; known && had != days {
			days = contradicted
		}
		m.Facts[readiness.FactDoseInterval] = days
	}
	if r.Type != "MedicationStatement" {
		return
	}
	if at := f.momentOf(r.String("effectiveDateTime")); !at.IsZero() && at.Day > m.Last.Day && (surgery.IsZero() || at.Day <= surgery) {
		m.Last = at
	}
}

// momentOf reads a dateTime as a day, with the instant where it has one.
func (f Facility) momentOf(s string) readiness.Moment {
	return readiness.Moment{Day: f.day(s), At: f.instant(s)}
}

// milligrams reads a dose; zero when it is not in mg, g or µg.
func milligrams(q *fhir.Node) float64 {
	v, ok := inUnit(q, map[string]float64{"mg": 1, "g": 1000, "ug": 0.001})
	if !ok {
		return 0
	}
	return v
}

// perDay is the length of the units of Timing.repeat in days.
var perDay = map[string]float64{"h": 1.0 / 24, "d": 1, "wk": 7, "mo": 30, "a": 365}

// interval is the number of days between two doses.
func interval(repeat *fhir.Node) (float64, bool) {
	period, ok := decimal(repeat.Get("period"))
	unit := perDay[repeat.String("periodUnit")]
	if !ok || unit == 0 || period <= 0 {
		return 0, false
	}
	times := 1.0
	if n, ok := decimal(repeat.Get("frequency")); ok && n > 0 {
		times = n
	}
	return period * unit / times, true
}

func decimal(n *fhir.Node) (float64, bool) {
	if !n.Exists() {
		return 0, false
	}
	v, err := strconv.ParseFloat(n.Text(), 64)
	return v, err == nil
}

// inUnit reads a UCUM quantity in the unit that has factor 1. One in another
// unit, of another system or with a comparator is not read.
func inUnit(q *fhir.Node, factors map[string]float64) (float64, bool) {
	v, ok := decimal(q.Get("value"))
	factor := factors[q.String("code")]
	if !ok || factor == 0 || q.String("system") != ucum || q.Get("comparator").Exists() {
		return 0, false
	}
	return v * factor, true
}

// signedMoment reads a signed last dose back; it was written in the facility's
// own time.
func signedMoment(s string) readiness.Moment {
	if d, err := calendar.ParseDate(s); err == nil {
		return readiness.Moment{Day: d}
	}
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		return readiness.Moment{}
	}
	y, m, d := t.Date()
	return readiness.Moment{Day: calendar.NewDate(y, int(m), d), At: t}
}

// unnamed reports whether a step that somebody must answer for names no
// professional as its owner.
func unnamed(sent *fhir.Resource, s *readiness.Step) bool {
	return s.Named && !ownedByPerson(sent.Get("owner"))
}

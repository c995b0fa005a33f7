package translate

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// holdRule says which records hold a case: an input of the step that releases
// holds, with the extension raises-hold.
type holdRule struct {
	Type      string
	filters   []filter
	kind      string // of the hold
	says      string
	mode      string
	after     readiness.Offset
	assess    readiness.Offset
	notBefore readiness.Offset
	lookBack  readiness.Offset
	decides   bool        // after is given: nobody has to decide from when surgery may be
	atLeast   *quantity   // of an Observation's value
	answer    *holdAnswer // of a QuestionnaireResponse
	question  string      // what a person is asked where the record does not say enough
	confirm   string      // what a person is asked when the day that it was planned for is past
	missing   []string    // elements of which none may be there; only a question follows
	asksOnly  bool        // it holds nothing
	sameJoint bool        // a record of another joint or side than the operation's holds nothing
	joint     string      // that records which fit are about; empty: not known
}

// Modes of the extension raises-hold: how a record of the type is read.
const (
	modeIllness   = "illness"      // a Condition that goes on until it is over
	modeDated     = "dated"        // a Condition whose days count from when it began
	modeTreatment = "treatment"    // a medicine that is taken until it is finished
	modeFinding   = "finding"      // a measured value
	modeWork      = "planned-work" // an operation or visit that has or gets a day, or is asked for without one
	modeVisit     = "dated-work"   // the same, of which one without a day holds nothing
	modeDone      = "done"         // a procedure that was done
)

var holdModes = map[string][]string{
	modeIllness: {"Condition"}, modeDated: {"Condition"},
	modeTreatment: {"MedicationRequest", "MedicationStatement"},
	modeFinding:   {"Observation"},
	modeWork:      {"Appointment", "ServiceRequest", "Procedure"}, modeVisit: {"Appointment", "ServiceRequest", "Procedure"},
	modeDone: {"Procedure"},
}

func (rd *definitionReader) holdRule(in, e *fhir.Node) {
	r := holdRule{
		Type: in.String("type"), kind: value(part(e, "kind")).Text(), says: value(part(e, "says")).Text(), mode: value(part(e, "mode")).Text(),
		after: rd.span(e, "after"), assess: rd.span(e, "assess-until"), notBefore: rd.span(e, "not-before"), lookBack: rd.span(e, "look-back"),
		decides: part(e, "after") != nil,
	}
	r.answer, r.question = readHoldAnswer(e), value(part(e, "question")).Text()
	r.confirm = value(part(e, "confirm")).Text()
	for _, m := range e.Get("extension").Items() {
		if m.String("url") == "when-missing" {
			r.missing = append(r.missing, value(m).Text())
		}
	}
	r.asksOnly = value(part(e, "asks-only")).Bool() || len(r.missing) > 0
	fits := slices.Contains(holdModes[r.mode], r.Type)
	if r.Type == "QuestionnaireResponse" {
		fits = r.answer != nil && slices.Contains(answerModes, r.mode)
	}
	if !fits {
		rd.fault("raises-hold with the mode %q does not fit an input of type %q", r.mode, r.Type)
	}
	if r.kind == "" || r.says == "" {
		rd.fault("raises-hold needs kind and says")
	}
	if q := value(part(e, "at-least")); q.Exists() {
		limit, ok := quantityOf(q)
		if !ok {
			rd.fault("raises-hold: at-least is no quantity")
		}
		r.atLeast = &limit
	} else if r.mode == modeFinding {
		rd.fault("raises-hold of a finding needs at-least")
	}
	r.sameJoint, r.joint = value(part(e, "same-joint")).Bool(), value(part(e, "joint")).Text()
	for _, f := range in.Get("codeFilter").Items() {
		r.filters = append(r.filters, rd.filter(f))
	}
	if len(r.filters) == 0 {
		rd.fault("raises-hold on %s without a codeFilter would hold everybody", r.Type)
	}
	rd.holdRules = append(rd.holdRules, r)
}

// span reads a part that is a duration in days or months.
func (rd *definitionReader) span(e *fhir.Node, name string) readiness.Offset {
	o := rd.offset(value(part(e, name)), 1, false)
	if o.Unit != readiness.Days && o.Unit != readiness.Months || o.N < 0 {
		rd.fault("raises-hold: %s must be in days, weeks or months", name)
	}
	return o
}

// groundsOf finds what in a person's records may stand in the way of the
// operation; own are the records of the booking itself.
func (p *Protocol) groundsOf(records []*Record, own []string, f Facility, today calendar.Date) []readiness.Ground {
	var out []readiness.Ground
	responses := completed(records, f)
	for _, r := range records {
		if slices.Contains(own, r.Ref()) {
			continue
		}
		if r.Type == "QuestionnaireResponse" {
			out = append(out, p.groundsAnswered(r, newestOf(responses, r), f, today)...)
			continue
		}
		for n := range p.holds {
			rule := &p.holds[n]
			if rule.asksOnly || rule.Type != r.Type || !all(rule.filters, r) {
				continue
			}
			g := readiness.Ground{
				Kind: rule.kind, Record: r.Ref(), Says: rule.says, Withdrawn: withdrawn(r),
				After: rule.after, Assess: rule.assess, NotBefore: rule.notBefore,
			}
			g.Class, g.Codes = p.matter(rule.kind, r)
			if g.Withdrawn || f.read(&g, rule, r, today) {
				out = append(out, g)
				break // the first rule that fits: the classes of one kind exclude each other
			}
		}
	}
	return out
}

// newestOf reports whether no later response to the same questionnaire is there.
func newestOf(responses []*Record, r *Record) bool {
	for _, o := range responses { // newest first
		if canonical(o) == canonical(r) {
			return o == r
		}
	}
	return false
}

// canonical is the questionnaire that a response answers, whatever its version.
func canonical(r *Record) string {
	url, _, _ := strings.Cut(r.String("questionnaire"), "|")
	return url
}

// withdrawn reports whether a record says that it never was.
func withdrawn(r *Record) bool {
	return r.inError() || hasCode(r.Get("verificationStatus"), "refuted", "entered-in-error")
}

func hasCode(concept *fhir.Node, codes ...string) bool {
	for _, c := range concept.Get("coding").Items() {
		if slices.Contains(codes, c.String("code")) {
			return true
		}
	}
	return false
}

// read sets the days of the ground from its record, and reports whether it is
// one at all.
func (f Facility) read(g *readiness.Ground, rule *holdRule, r *Record, today calendar.Date) bool {
	switch rule.mode {
	case modeIllness:
		return f.illness(g, rule, r, today)
	case modeDated:
		g.Day = f.first(r, "onsetDateTime", "onsetPeriod.start", "recordedDate")
		g.Active = g.Day.IsZero()
		return true
	case modeTreatment:
		return f.treatment(g, rule, r, today)
	case modeFinding:
		return f.finding(g, rule, r, today)
	case modeDone:
		g.Day = f.performed(r)
		g.Active = g.Day.IsZero()
		return r.status() == "completed"
	}
	return f.work(g, rule, r)
}

// first is the first of the elements that names a day.
func (f Facility) first(r *Record, paths ...string) calendar.Date {
	for _, path := range paths {
		if d := f.day(r.String(strings.Split(path, ".")...)); !d.IsZero() {
			return d
		}
	}
	return 0
}

// illness: what is not said to be over goes on, and so does what will be over on a
// day to come, whatever its status says: an end that is expected is none. One that
// is over without a day is asked about, unless it was recorded so long ago that it
// says nothing.
func (f Facility) illness(g *readiness.Ground, rule *holdRule, r *Record, today calendar.Date) bool {
	g.Day = f.first(r, "abatementDateTime", "abatementPeriod.end")
	g.Ends = g.Day
	over := hasCode(r.Get("clinicalStatus"), "inactive", "remission", "resolved") || !g.Day.IsZero() && g.Day <= today || r.Get("abatementString").Exists()
	if !over || g.Day > today {
		g.Active, g.Day = true, 0
		return true
	}
	g.Over = true
	if g.Day.IsZero() {
		g.Active = true
		known := f.first(r, "onsetDateTime", "onsetPeriod.start", "recordedDate")
		return known.IsZero() || rule.recent(known, today)
	}
	if rule.decides {
		return true
	}
	recent := rule.recent(g.Day, today)
	g.Active, g.Day = true, 0 // over, but nothing says from when surgery may be: somebody decides
	return recent
}

// recent reports whether a day lies within the rule's look back.
func (h *holdRule) recent(day, today calendar.Date) bool {
	return h.lookBack.N == 0 || plusOffset(day, h.lookBack) >= today
}

func plusOffset(d calendar.Date, o readiness.Offset) calendar.Date {
	if o.Unit == readiness.Months {
		return d.AddMonths(o.N)
	}
	return d.Add(o.N)
}

// treatment: a course goes on until it is finished.
func (f Facility) treatment(g *readiness.Ground, rule *holdRule, r *Record, today calendar.Date) bool {
	end := f.first(r, "effectivePeriod.end", "dosageInstruction.timing.repeat.boundsPeriod.end", "dispenseRequest.validityPeriod.end")
	g.Ends = end
	switch r.status() {
	case "active", "on-hold", "intended":
		if end.IsZero() || end >= today {
			g.Active = true
			return true
		}
	case "completed", "stopped":
	default: // not-taken, cancelled, draft, unknown
		return false
	}
	g.Over = true
	if g.Day = end; !end.IsZero() {
		return true
	}
	g.Active = true
	began := f.first(r, "effectiveDateTime", "effectivePeriod.start", "dateAsserted", "authoredOn")
	return began.IsZero() || rule.recent(began, today)
}

// finding: a value at or over the limit, for as long as the rule says.
func (f Facility) finding(g *readiness.Ground, rule *holdRule, r *Record, today calendar.Date) bool {
	if !slices.Contains([]string{"final", "preliminary", "amended", "corrected"}, r.status()) {
		return false
	}
	q, known := quantityOf(r.Get("valueQuantity"))
	v, same := q.in(rule.atLeast.code)
	if !known || !same || v < rule.atLeast.value {
		return false
	}
	g.Day = f.first(r, proofs["Observation"].days...)
	g.Active = g.Day.IsZero() || today < g.Clear()
	return true
}

// work that was done, or has a day, counts from that day; asked for without a
// day, it may come at any time.
func (f Facility) work(g *readiness.Ground, rule *holdRule, r *Record) bool {
	switch r.status() {
	case "cancelled", "noshow", "revoked", "not-done", "stopped":
		return false
	}
	switch r.Type {
	case "Appointment":
		g.Day = f.day(r.String("start"))
	case "ServiceRequest":
		g.Day = f.first(r, "occurrenceDateTime", "occurrencePeriod.start")
	default:
		g.Day = f.performed(r)
	}
	g.Active = g.Day.IsZero()
	return !g.Active || rule.mode == modeWork
}

// quantity is a value with a unit of UCUM.
type quantity struct {
	system, code string
	value        float64
}

func quantityOf(n *fhir.Node) (quantity, bool) {
	v, err := strconv.ParseFloat(n.String("value"), 64)
	return quantity{n.String("system"), n.String("code"), v}, err == nil && !math.IsInf(v, 0)
}

// in converts to another unit; false where the units are not known to each other.
func (q quantity) in(code string) (float64, bool) {
	switch {
	case q.system != ucum:
		return 0, false
	case q.code == code:
		return q.value, true
	case q.code == "[degF]" && code == "Cel":
		return (q.value - 32) * 5 / 9, true
	case q.code == "g/L" && code == "g/dL":
		return q.value / 10, true
	}
	return 0, false
}

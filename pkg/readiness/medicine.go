package readiness

import (
	"maps"
	"slices"

	"example.org/countback/pkg/calendar"
)

// MedicineAction is what a rule says about a medicine; the codes are those of
// CodeSystem/medicine-action.
type MedicineAction string

// What rules say.
const (
	MedicineHold       MedicineAction = "hold"       // so many days or hours without a dose
	MedicineWindow     MedicineAction = "window"     // surgery between two distances after the last dose
	MedicineContinue   MedicineAction = "continue"   // taken as usual
	MedicineNeverStop  MedicineAction = "never-stop" // stopping it is dangerous
	MedicineChoice     MedicineAction = "choice"     // the prescriber chooses, no date is proposed
	MedicineSpecialist MedicineAction = "specialist" // a specialist decides, whatever other rules say
)

// Facts that differ from medicine to medicine.
const (
	FactDoseInterval = "dose_interval" // days between two doses
	FactLowDose      = "low_dose"
	FactClearance    = "creatinine_clearance" // mL/min
)

// MedicineRule is one rule for the medicines that it fits.
type MedicineRule struct {
	Code, Title, Note string
	Does              MedicineAction
	Condition         *Condition // nil: always
	LowDose           float64    // mg in one dose up to which it is a low one; zero: no such limit
	Hold              *Offset    // whole days without a dose, or minutes before the start of anaesthesia
	From, To          *Offset    // days or months from the last dose to surgery; nil To: no end
	Decides           string     // who decides, to follow "decided by"
	SetsDose          bool       // the dose around surgery is the prescriber's to say: "as usual" may not be signed
	Check             string     // a test on the last business day before surgery and on arrival
	Restart           Restart
	Sources           []Source
}

// Restart says when a medicine is usually taken again: a condition, and where
// Dated is set the days after surgery on which it is typically met.
type Restart struct {
	From, To int
	Dated    bool
	Text     string
}

// Medicine is one medicine that a person takes.
type Medicine struct {
	Key   string // stable name of its kind, not free text
	Name  string // as the record names it
	Rules []*MedicineRule
	Facts map[string]any // what is known of this medicine alone, see FactDoseInterval
	Dose  float64        // mg in one dose; zero: not known
	Last  Moment         // the last dose that is known of
	Like  string         // of one that no rule knows: what its words name, which no rule goes by; empty: nothing
}

// DoseCandidate is what one rule gives.
type DoseCandidate struct {
	Rule    *MedicineRule
	Applies Answer   // Yes or Unknown
	Needs   []string // what must be known before it gives a date
	Last    Moment   // the latest last dose; of a choice, if it is held
	First   Moment   // of a window: the earliest last dose that still reaches the day
	Fit     Fit      // of a window: where the day of surgery lies after the known last dose
}

// Fit says where a day lies in the window after a last dose.
type Fit int

// The places; NoFit where there is no window or no known dose.
const (
	NoFit Fit = iota
	TooSoon
	InWindow
	PastWindow
)

// MedicineAdvice is what the rules say of one medicine on one day of surgery.
// It is advice to a prescriber.
type MedicineAdvice struct {
	Medicine   *Medicine
	Candidates []DoseCandidate
	Last       Moment        // the strictest last dose; zero: none is proposed
	By         *MedicineRule // the rule that gives it
	Earliest   Moment        // the earliest last dose that may come out while facts are missing
	Needs      []string      // it cannot be computed: what must be known
	Asks       []string      // what the prescriber confirms before signing
	Decides    string        // who decides where no date is proposed
	Continues  bool          // it is taken as usual
	Day        calendar.Date // of surgery
	Clearance  float64       // mL/min; zero: not known, or of no concern to any rule
}

// OtherMedicine begins the keys of medicines that no rule knows.
const OtherMedicine = "medicine-other-"

// Asked reports whether the medicine needs a date or a decision: also one that
// no rule knows, as far as it can be told apart.
func (a *MedicineAdvice) Asked() bool { return a.Medicine.Key != "" && !a.Continues }

// Advise applies the rules that fit a medicine to a case. Several may give a
// last dose: all are told, and the strictest is taken. Where a fact is missing
// none is taken. A specialist's rule that applies takes away any date; one in
// doubt is asked about before signing.
func Advise(m *Medicine, c *Case, cal *calendar.Calendar) MedicineAdvice {
	a := MedicineAdvice{Medicine: m, Day: c.Day}
	known, clearance := c.medicineFacts(m)
	usual := false
	var doubts []DoseCandidate
	for _, r := range m.Rules {
		d := DoseCandidate{Rule: r, Applies: Yes}
		if r.Condition != nil {
			d.Applies, d.Needs = r.Condition.Holds(r.facts(m, known))
			d.Needs = r.Condition.kidneys(d.Needs, clearance)
			if v, ok := known[FactClearance].(float64); ok && r.Condition.asksKidneys() {
				a.Clearance = v
			}
		}
		if d.Applies == No {
			continue
		}
		may := d.date(m, c, cal)
		if !may.IsZero() && (a.Earliest.IsZero() || may.sooner(a.Earliest)) {
			a.Earliest = may
		}
		a.Candidates = append(a.Candidates, d)
		if d.Applies == Unknown && !d.Last.IsZero() && r.Does != MedicineChoice {
			doubts = append(doubts, d) // counted once the others are
			continue
		}
		usual = a.take(&d) || usual
	}
	for n := range doubts {
		if d := &doubts[n]; !d.idle(a.Last) {
			a.Needs = union(a.Needs, d.Needs)
		}
	}
	a.settle(usual)
	return a
}

// idle reports whether a rule in doubt would change nothing: it is no stricter
// than what stands. One in doubt over the kidneys always counts, because below
// the figures of its row there may be no rule at all.
func (d *DoseCandidate) idle(last Moment) bool {
	return !last.IsZero() && !d.Last.sooner(last) && !d.Rule.Condition.asksKidneys()
}

func (c *Condition) asksKidneys() bool { return slices.Contains(c.uses, FactClearance) }

// take counts one rule in; it reports whether it says that the medicine goes on.
func (a *MedicineAdvice) take(d *DoseCandidate) bool {
	switch r := d.Rule; {
	case r.Does == MedicineSpecialist && d.Applies == Unknown:
		a.Asks = union(a.Asks, d.Needs)
	case len(d.Needs) > 0:
		a.Needs = union(a.Needs, d.Needs)
	case r.Does == MedicineContinue || r.Does == MedicineNeverStop:
		return true
	case r.Does == MedicineSpecialist || r.Does == MedicineChoice:
		a.Decides = r.Decides
	case !d.Last.IsZero() && (a.Last.IsZero() || d.Last.sooner(a.Last)):
		a.Last, a.By = d.Last, r
	}
	return false
}

// settle draws the conclusion: a date only where nothing is missing and nobody
// else decides.
func (a *MedicineAdvice) settle(usual bool) {
	const (
		nobody = "the prescriber, because no rule here fits this person"
		person = "a prescriber, because no rule here knows it"
	)
	if len(a.Medicine.Rules) == 0 {
		a.Decides = person
		return
	}
	if len(a.Needs) > 0 || a.Decides != "" {
		a.Last, a.By = Moment{}, nil
		return
	}
	a.Continues = usual && a.Last.IsZero() && len(a.Asks) == 0
	if a.Last.IsZero() && !a.Continues && !a.Day.IsZero() {
		a.Decides = nobody
	}
}

// medicineFacts are the case's facts with those of a medicine and the clearance
// on the day of surgery; where it cannot be computed, what it needs.
func (c *Case) medicineFacts(m *Medicine) (known map[string]any, clearance []string) {
	known = maps.Clone(c.Facts)
	if known == nil {
		known = map[string]any{}
	}
	maps.Copy(known, m.Facts)
	if c.Kidney == nil || c.Day.IsZero() {
		return known, nil
	}
	v, needs := c.Kidney.Clearance(c.Day)
	if len(needs) == 0 {
		known[FactClearance] = v
	} else {
		delete(known, FactClearance)
	}
	return known, needs
}

// facts adds whether the dose is a low one by this rule; one that is not known
// is none.
func (r *MedicineRule) facts(m *Medicine, known map[string]any) map[string]any {
	if r.LowDose == 0 || m.Dose == 0 {
		return known
	}
	out := maps.Clone(known)
	out[FactLowDose] = m.Dose <= r.LowDose
	return out
}

// kidneys puts in place of the question for the clearance what it is computed
// from and is missing.
func (c *Condition) kidneys(needs, clearance []string) []string {
	n := slices.Index(needs, c.facts[FactClearance].Question)
	if n < 0 || len(clearance) == 0 {
		return needs
	}
	return slices.Concat(needs[:n], clearance, needs[n+1:])
}

// What a date needs beside the facts of the conditions.
const (
	needsStart = "at what time the anaesthesia is to start"
	needsDose  = "when the last dose of this medicine was given"
)

// date sets the last dose that a rule gives, and what it lacks. It returns the
// earliest one that may come out, as a whole day where the hour is not known.
func (d *DoseCandidate) date(m *Medicine, c *Case, cal *calendar.Calendar) Moment {
	r := d.Rule
	switch {
	case c.Day.IsZero():
		return Moment{}
	case r.From != nil:
		d.Last = Moment{Day: lastBefore(c.Day, *r.From)}
		if r.To != nil {
			d.First = Moment{Day: firstWithin(c.Day, *r.To)}
		}
		if m.Last.IsZero() {
			d.Needs = union(d.Needs, []string{needsDose})
		} else {
			d.Fit = r.fit(m.Last.Day, c.Day)
		}
		return d.Last
	case r.Hold == nil:
		return Moment{}
	case r.Hold.Unit == Minutes && c.Start.IsZero():
		d.Needs = union(d.Needs, []string{needsStart})
		return Moment{Day: c.Day.Add(-wholeDays(r.Hold.N))}
	}
	d.Last = r.lastDose(c, cal)
	return d.Last
}

// wholeDays is how many days cover so many minutes before some hour of a day.
func wholeDays(minutes int) int { return (minutes + 24*60 - 1) / (24 * 60) }

// lastDose is D-(n+1) for n whole days without a dose, and so much before the
// start of anaesthesia for a rule in hours.
func (r *MedicineRule) lastDose(c *Case, cal *calendar.Calendar) Moment {
	if r.Hold.Unit != Minutes {
		return Moment{Day: c.Day.Add(-(r.Hold.N + 1))}
	}
	d := &dating{cal: cal, surgery: Moment{Day: c.Day, At: c.Start}}
	return d.resolve(Point{Anchor: AnchorSurgery, Offset: Offset{N: -r.Hold.N, Unit: Minutes}})
}

// plus is a day so many days or months later.
func (o Offset) plus(day calendar.Date) calendar.Date {
	if o.Unit == Months {
		return day.AddMonths(o.N)
	}
	return day.Add(o.N)
}

// lastBefore is the latest day from which the distance is over on a day. Months
// are of different lengths, so that it is looked for.
func lastBefore(day calendar.Date, o Offset) calendar.Date {
	at := Offset{N: -o.N, Unit: o.Unit}.plus(day)
	for o.plus(at.Add(1)) <= day {
		at = at.Add(1)
	}
	return at
}

// firstWithin is the earliest day from which the distance is not over before a day.
func firstWithin(day calendar.Date, o Offset) calendar.Date {
	at := lastBefore(day, o)
	for o.plus(at.Add(-1)) >= day {
		at = at.Add(-1)
	}
	return at
}

// fit places a day of surgery in the window after a last dose.
func (r *MedicineRule) fit(last, day calendar.Date) Fit {
	switch {
	case day < r.From.plus(last):
		return TooSoon
	case r.To != nil && day > r.To.plus(last):
		return PastWindow
	}
	return InWindow
}

// union appends what is not there yet.
func union(a, b []string) []string {
	for _, s := range b {
		if !slices.Contains(a, s) {
			a = append(a, s)
		}
	}
	return a
}

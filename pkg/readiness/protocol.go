package readiness

import (
	"slices"
	"time"
)

// Anchors: the actions of a protocol that are moments, not steps.
const (
	AnchorBooking   = "booking"   // the day the operation was booked
	AnchorSurgery   = "surgery"   // D0 for days and months, T0 for minutes
	AnchorDischarge = "discharge" // H0, actual or expected from the planned stay
	AnchorRaised    = "raised"    // the moment an event raised the step
	// Of the step that releases a hold: the first day on which the hold keeps
	// something from being begun.
	AnchorPaused = "first-paused"

	// Of the medicine that a repeated step is for: its last dose, as signed, else
	// as advised; and the earliest that may come out while facts are missing.
	AnchorLastDose     = "last-dose"
	AnchorEarliestDose = "earliest-last-dose"
)

// IsAnchor reports whether id names a moment rather than a step.
func IsAnchor(id string) bool {
	switch id {
	case AnchorBooking, AnchorSurgery, AnchorDischarge, AnchorRaised, AnchorPaused, AnchorLastDose, AnchorEarliestDose:
		return true
	}
	return false
}

// Unit is what an offset counts.
type Unit int

// Days and months are civil; minutes are elapsed time.
const (
	Days Unit = iota
	BusinessDays
	Months
	Minutes
)

// Offset is a signed distance from an anchor; negative is before it.
type Offset struct {
	N    int
	Unit Unit
}

// ClockTime is a time of day in the facility's zone.
type ClockTime struct{ Hour, Minute int }

// Point is a moment counted from an anchor or from the day another step was done.
type Point struct {
	Anchor string // an anchor, or the code of the step that this one follows
	Offset Offset
	Clock  *ClockTime // nil: the whole day
}

// Window is when an item may be done: from the latest of Opens (or the earliest,
// where OpensEarliest is set) to the earliest of Due.
type Window struct {
	Opens         []Point
	Due           []Point
	OpensEarliest bool
}

// Need says what happens without the step.
type Need int

// From strongest to weakest.
const (
	Must        Need = iota // surgery does not go ahead without it
	MustToLeave             // nobody goes home without it
	Should                  // asked; may be waived with a reason
	Could                   // offered
)

// ExpiryKind says how long a finished item counts.
type ExpiryKind int

// The kinds of expiry.
const (
	NeverExpires ExpiryKind = iota
	ExpiresAfter            // Days before the day of surgery (or admission)
	ThisDate                // counts only for the date and time it was done for
	OwnEndDate              // counts until the date recorded with it
)

// Expiry says how old a finished item may be, and what voids it whatever its age.
type Expiry struct {
	Kind     ExpiryKind
	Days     int      // for ExpiresAfter: the greatest age in days on D0
	VoidedBy []string // names of booking details (side, procedure, ...) whose change voids it
}

// Performer is who does a step.
type Performer struct {
	Role    string // code of the role
	Display string
	Kind    PerformerKind
}

// PerformerKind is the FHIR participant type.
type PerformerKind int

// Patients and coaches are not bound by the facility's business days.
const (
	Staff PerformerKind = iota
	Patient
	Related
)

// Source is where a rule comes from. Mark is one of published, secondary,
// from-memory, common-practice.
type Source struct{ Text, URL, Mark string }

// Step is one action of the protocol.
type Step struct {
	Code, Title, Summary string
	Kind                 string // what sort of work it is, such as a call; empty: nothing special
	Priority             string // routine, urgent, asap; empty is routine
	Performers           []Performer
	Window               Window
	Last                 *Point // nil: the default of LastOn
	Fixed                bool
	Need                 Need
	Expiry               Expiry
	PausesOnHold         bool
	Condition            *Condition // nil: applies to every case
	RepeatFor            string     // one item for each of Case.Repeats[RepeatFor]
	Trigger              string     // exists only when this event was raised
	ForPerformer         string     // instruction for whoever does it
	ForPatient           string     // instruction for the patient and the coach
	Sources              []Source
	ListsMedicines       bool // tells what the rules say on every medicine
	Named                bool // counts only with a professional named, who answers for it
	Outlives             bool // is still asked when the case ended without surgery
	UntilDone            bool // that it could not be done is no answer: it stays asked
	ReportedAs           Reported
}

// StaffStep reports whether only staff take part in the step, so that its due
// day moves off closed days. What patient or coach take part in happens where
// they are: at home, or on a ward that is open every day.
func (s *Step) StaffStep() bool {
	for _, p := range s.Performers {
		if p.Kind != Staff {
			return false
		}
	}
	return len(s.Performers) > 0
}

// beforeSurgery reports whether the step belongs to the preparation, so that
// the last useful day is the day before surgery unless the step says otherwise.
func (s *Step) beforeSurgery() bool {
	if s.Trigger != "" || s.opensWithSurgery() {
		return false
	}
	for _, p := range s.Window.Due {
		if p.Anchor == AnchorDischarge || p.Anchor == AnchorSurgery && p.Offset.N > 0 {
			return false
		}
	}
	return true
}

// opensWithSurgery reports whether the window opens on the day of surgery or
// later, whatever the dates.
func (s *Step) opensWithSurgery() bool {
	for _, p := range s.Window.Opens {
		if p.Anchor == AnchorDischarge || p.Anchor == AnchorSurgery && p.Offset.N >= 0 {
			return true
		}
	}
	return false
}

// Stay is a planned stay and the discharge expected from it.
type Stay struct {
	Code    string
	Days    int       // nights: discharge is this many days after D0
	At      ClockTime // facility time of the expected discharge
	Default bool
}

// Gate is a condition that a booking must meet to open a case, with the reason
// shown when it does not.
type Gate struct {
	Reason    string
	Condition *Condition
}

// Protocol is the hospital's rules, checked by NewProtocol.
type Protocol struct {
	URL, Version, Title string
	Approved            bool // a named approver and date stand in the definition
	DueWarning          time.Duration
	Horizon             int    // days ahead in which an earliest safe date is looked for
	LinkTolerance       int    // days between two dates that may still be one operation
	MedicineNotice      string // what stands under advice on medicines; empty when they are approved
	UndatedDecision     int    // days before surgery from which a medicine without a last dose counts
	EarlyDose           int    // days that a last dose may be taken before its day without a question; 0: it is never asked
	EarlyDoseMark       string // how that was checked, see Source
	Stays               []Stay
	Gates               []Gate
	ItemHolds           []ItemHold
	Facts               []Fact
	Steps               []Step

	index   map[string]int // step code → place in Steps
	order   []int          // places in Steps, every step after those its dates count from
	decides []int          // of order: musts, and the steps that their dates count from
	flows   []flow         // demands between steps, see arrange
}

// Canonical is the protocol's url|version.
func (p *Protocol) Canonical() string { return p.URL + "|" + p.Version }

// Step finds a step by its code, nil when the protocol has none.
func (p *Protocol) Step(code string) *Step {
	if i, ok := p.index[code]; ok {
		return &p.Steps[i]
	}
	return nil
}

// deciding picks out of the order the musts, and the steps that their dates are
// counted from.
func (p *Protocol) deciding() []int {
	decides := make([]bool, len(p.Steps))
	for at := len(p.order) - 1; at >= 0; at-- {
		n := p.order[at]
		if decides[n] = decides[n] || p.Steps[n].Need == Must; !decides[n] {
			continue
		}
		for _, pt := range p.Steps[n].points() {
			if before, ok := p.index[pt.Anchor]; ok {
				decides[before] = true
			}
		}
	}
	return slices.DeleteFunc(slices.Clone(p.order), func(n int) bool { return !decides[n] })
}

// stay finds the planned stay by its code, else the default one.
func (p *Protocol) stay(code string) (Stay, bool) {
	var fallback Stay
	found := false
	for _, s := range p.Stays {
		if s.Code == code {
			return s, true
		}
		if s.Default {
			fallback, found = s, true
		}
	}
	return fallback, found
}

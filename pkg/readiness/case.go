package readiness

import (
	"time"

	"example.org/countback/pkg/calendar"
)

// Key names an item within its case. Round is 1 at first and rises when a
// finished item no longer counts and a new one takes its place.
type Key struct {
	Step   string
	Repeat string // which medicine, which event; empty for most
	Round  int
}

// Outcome is what a person recorded on an item.
type Outcome int

// What people may record.
const (
	NoOutcome Outcome = iota
	Done
	Waived    // left out with a reason; never a must
	NotNeeded // a person answered that it does not apply
	Failed    // tried, and it could not be done
	Applies   // a person answered that a step in doubt does apply; still to be done
)

// Entry is a person's record on an item. It hangs on the item's key and
// survives every change of plan.
type Entry struct {
	Outcome Outcome
	On      calendar.Date     // the day it was done: the date of the evidence
	At      time.Time         // the instant, where it was told
	Until   calendar.Date     // the evidence's own end date, if it has one
	For     map[string]string // booking details it was done for, see Case.Details
	Reason  string            // why waived, not needed or failed
	Record  string            // the record that shows it was done; empty: a person says so
	Against string            // a record that a person does not accept
	Signed  Moment            // the last dose that a prescriber signed; zero: as advised
	Decided Decision          // what a prescriber signed instead of a last dose
	Words   string            // with DecidedOtherDose: the dose, in the prescriber's own words for the person
	By      string            // who answers for it, in words; empty: nobody is named
	Look    Look              // what a second person says of a signature
	Nth     int64             // numbers what was done in the order in which people recorded it; 0: not known, long ago
}

// Proof is a record that shows that a step was done, so that nobody has to say
// so on its Task.
type Proof struct {
	Record string        // what names it, such as a FHIR reference
	On     calendar.Date // the day it was done
	Until  calendar.Date // the evidence's own end date, if it has one
	// InTime is set where one kind of record shows several steps done, each in
	// its own window: outside it the record says nothing of the step, not even
	// that it was done too early.
	InTime bool
}

// Ending says why a case ended without surgery.
type Ending string

// The endings.
const (
	Running       Ending = ""
	Cancelled     Ending = "cancelled"
	NoShow        Ending = "no-show"
	EnteredInErr  Ending = "entered-in-error"
	NoLongerMeets Ending = "no-longer-meets" // the booking no longer opens a case
)

// Raised is an event that brings a triggered step into a case.
type Raised struct {
	Trigger string
	Key     string // tells two events of one kind apart
	At      time.Time
	Why     string
	Role    string        // who is asked, of the step's performers; empty: all of them
	By      string        // who raised it, where a person did
	Day     calendar.Date // that is asked for, see TriggerMove
	// Of a medicine that is stopped: the day of surgery that it was stopped for,
	// and its last dose as it was planned or, where it is about that, recorded.
	For   calendar.Date
	Dose  Moment
	Among []string // references to the records between which a person is asked to choose
	Name  string   // of the medicine, as it was last known
	// About tells a signature that it is about from another one; empty: none.
	About string
}

// Case is the facts of one booked operation.
type Case struct {
	Booked  time.Time     // Appointment.created, else first receipt
	Day     calendar.Date // D0; zero: postponed without a date
	Start   time.Time     // T0; zero: not known
	Stay    string        // planned stay; empty: the protocol's default
	Arrived time.Time     // zero: not yet
	Left    time.Time     // actual discharge; zero: not yet
	// Operated is when the operation was done, where a record says that it was; Seen
	// names the record that says that the person came, left or was operated on.
	Operated time.Time
	Seen     string
	Held     bool         // a hold is open
	Spared   map[Key]bool // items that a hold does not pause, by step and repeat: they clear it
	Dated    time.Time    // since when the day of surgery is known; zero: since it was booked
	Ending   Ending
	Facts    map[string]any      // known facts only
	Repeats  map[string][]string // for steps that repeat: one key for each item
	Raised   []Raised
	Details  map[string]string // side, procedure, stay, surgeon: what may void evidence
	Entries  map[Key]Entry
	Proofs   map[Key][]Proof // by step and repeat, Round 0; in any order
	Grounds  []Ground        // what may hold the case
	Holds    []Hold          // what does, or did

	Medicines []Medicine // what the person takes, each kind once
	Kidney    *Kidney    // nil: nothing is known
	Disowned  []string   // keys of medicines of which every record was entered in error
}

// forDate is the entry's name for the date and time an item was done for.
const (
	DetailDate = "date" // D0, 2006-01-02
	DetailTime = "time" // T0, RFC 3339
)

// Snapshot is what an entry made now is recorded as being done for.
func (c *Case) Snapshot() map[string]string {
	out := make(map[string]string, len(c.Details)+2)
	for k, v := range c.Details {
		out[k] = v
	}
	out[DetailDate] = c.Day.String()
	if !c.Start.IsZero() {
		out[DetailTime] = c.Start.UTC().Format(time.RFC3339)
	}
	return out
}

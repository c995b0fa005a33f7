package oracle

import "time"

// Unit in which a rule counts.
type Unit string

// The units: the first two are elapsed time, the others count days.
const (
	Minutes      Unit = "minutes"
	Hours        Unit = "hours"
	Days         Unit = "days"
	BusinessDays Unit = "business days"
	Weeks        Unit = "weeks"
	Months       Unit = "months"
)

// The points that rules count from. Any other text is the code of a step,
// and then the rule counts from the day on which that step was done.
const (
	Booking   = "booking"
	Surgery   = "surgery"
	Discharge = "discharge"
	Raised    = "raised"
	// The first day on which a hold keeps something from being begun.
	FirstPaused = "first-paused"

	// Of a medicine: the oracle knows no medicines, so these never come.
	LastDose     = "last-dose"
	EarliestDose = "earliest-last-dose"
)

// Clock is a time of day by the clock on the wall.
type Clock struct{ Hour, Minute int }

// Point of time by rule: N units after From, or before it if N is negative. A
// rule that counts days may give a time of day.
type Point struct {
	From string
	N    int
	Unit Unit
	At   *Clock
}

// Need of a step.
type Need string

// The needs.
const (
	Must              Need = "must"
	MustBeforeLeaving Need = "must before leaving"
	Should            Need = "should"
	Could             Need = "could"
)

// Expiry of what was done. Kind is "never", "days", "this date" or "end date".
type Expiry struct {
	Kind     string
	Days     int
	VoidedBy []string
}

// Step of a protocol.
type Step struct {
	Code          string
	Opens, Due    []Point
	OpensEarliest bool
	Last          *Point
	Fixed         bool
	Need          Need
	Pauses        bool
	Outlives      bool // is asked for even when surgery was called off
	Staff         bool // only staff take part
	Expiry        Expiry
	When          Condition
	Repeat        string // what there is one item of each for, or ""
	Trigger       string // the event that there is one item of each for, or ""
}

// Stay is a planned stay: so many days after surgery, at that time, the person
// is expected to leave.
type Stay struct {
	Code    string
	Days    int
	At      Clock
	Default bool
}

// Rules are a whole protocol. An open item is due within WarningDays of its
// due day, counted in days.
type Rules struct {
	Steps       []Step
	Stays       []Stay
	WarningDays int
	Horizon     int // days ahead in which an earliest day is looked for
}

// Event that raises steps, with what tells it from others of its name.
type Event struct {
	Name, Key string
	At        time.Time
}

// Entry is what a person recorded on an item. Kind is "done", "waived", "not
// needed", "failed", "applies" for an item that was in doubt, or empty where all
// that was said is which record does not count: Against. For and ForStart are the day of surgery and the start
// that it was done for, Under what was then true of what may void it. Done and
// Until may be no day.
type Entry struct {
	Code, Key string
	Round     int
	Kind      string
	Done      Day
	Until     Day
	For       Day
	ForStart  time.Time
	Under     map[string]string
	Against   string
}

// Record shows that a step was done, where no person says anything about it. One
// that is in time only shows nothing outside of the window.
type Record struct {
	Code, Key   string
	Name        string
	Done, Until Day
	InTime      bool
}

// Case is one booked operation. Without a date Surgery is no day, and Start is
// zero as long as it is not known. Arrived and Left are zero until somebody
// says so.
type Case struct {
	Booked        time.Time
	Surgery       Day
	Start         time.Time
	Stay          string
	Arrived, Left time.Time
	Cancelled     bool
	Held          bool
	Spans         []Span // of the holds that are or were
	Facts         map[string]any
	Under         map[string]string
	Repeats       map[string][]string
	Events        []Event
	Entries       []Entry
	Records       []Record
}

// Span is how long a hold stood.
type Span struct{ From, Until time.Time }

// Moment is a whole day, an instant of that day, or nothing.
type Moment struct {
	Day Day
	At  time.Time
}

func (m Moment) none() bool { return m.Day == 0 }

// Item of a plan.
type Item struct {
	Code, Key  string
	Round      int
	Opens      Moment // of what is known so far, see Waits
	Due, Last  Moment
	Waits      []string // steps that it follows and that may still be done
	Compressed bool
	TooLate    bool
	Applies    Answer
	State      string
	LeaveBy    Day      // the last day that leaves time for what follows
	LeaveFor   []string // the steps that follow, where that is before its own last day
	Span       [2]Day   // the first and the last day on which it can be done
	Record     string   // that shows what became of it
	mustBy     Day      // the last day that leaves time for the musts that follow
	mustFor    []string // these musts, where that is before its own last day
	step       *Step
	entry      *Entry
	raised     time.Time
}

// Missing is a must that cannot be met, and by how many days it is too late.
// Latest is the last day that would have been in time, for itself or, Then, for
// the steps that must follow, which take so many days.
type Missing struct {
	Code, Key string
	Round     int
	Days      int
	Latest    Day
	Then      []string
	Takes     int
}

// Plan is what becomes of a case.
type Plan struct {
	Items      []Item
	State      string
	Discharge  Moment
	Infeasible []Missing
	Unreported bool     // held now or at its hour, which has gone by, and nobody says what became of it
	Doubtful   []string // musts in doubt that are too late if they turn out to apply
}

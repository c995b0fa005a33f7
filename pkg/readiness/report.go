package readiness

import (
	"cmp"
	"slices"
	"time"

	"example.org/countback/pkg/calendar"
)

// Reported says as what a step counts in the programme's report; the codes are
// those of CodeSystem/reported-as, and a protocol says which step has which.
type Reported string

// What the report asks about by itself.
const (
	ReportedClass    Reported = "class"    // the class before surgery
	ReportedBaseline Reported = "baseline" // what the person says of joint and health before
	ReportedOneYear  Reported = "one-year" // the same, a year after
)

// Operation is what became of one booked operation, as the report counts it.
type Operation struct {
	Case      string        // names it, for whoever asks which one is meant
	Day       calendar.Date // of surgery, as it stands or stood last; never zero
	Cancelled bool
	Reason    string // why it was cancelled; empty: none given
	Moves     []Move // from one day to another, oldest first
	Held      bool   // at the end of the day before
	Done      []Outturn
}

// Move is one change of the day of surgery.
type Move struct {
	From, To calendar.Date // To is zero where no new day was given
	Reason   string        // empty: none given
}

// Outturn is what became of one item.
type Outturn struct {
	Step    *Step
	Round   int
	State   ItemState
	Applies Answer
	On      calendar.Date // when it was done; zero: not known, or not done
	Due     calendar.Date // zero: none
	Last    calendar.Date // last useful day; zero: none
}

// Indicator is one question of the programme's report; the codes are the ids of
// our Measures.
type Indicator string

// The indicators.
const (
	Cancellations    Indicator = "surgery-cancelled"
	Postponements    Indicator = "surgery-moved"
	ClassAttendance  Indicator = "class-attendance"
	ReadyDayBefore   Indicator = "ready-day-before"
	BaselineComplete Indicator = "baseline-complete"
	OneYearComplete  Indicator = "one-year-complete"
)

// Indicators are all of them, in the order of the report.
var Indicators = []Indicator{Cancellations, Postponements, ClassAttendance, ReadyDayBefore, BaselineComplete, OneYearComplete}

// Counted is an indicator counted over some operations. What its numerator and
// denominator are is said in words by its Measure.
type Counted struct {
	Indicator              Indicator
	Numerator, Denominator int
	Groups                 []CountedGroup // the most frequent first
	Lacks                  []Lack         // of those that were not ready, by day of surgery
}

// Lack is what kept one operation from being ready on the day before.
type Lack struct {
	Case    string // as in Operation
	Day     calendar.Date
	Held    bool
	Undone  []string // titles of musts that were not done
	InDoubt []string // of those of which nobody knew whether they apply
}

// CountedGroup is how many of the counted have something in common. By is what
// they are grouped by: reason or outcome.
type CountedGroup struct {
	By, Name string
	N        int
}

// What groups are made by.
const (
	ByReason  = "reason"
	ByOutcome = "outcome"
	ByMissing = "missing" // what was not done; one operation may stand in several
)

// heldGroup is the group of operations that a hold kept from being ready.
const heldGroup = "a hold"

// NoReason stands where nobody gave a reason.
const NoReason = "no reason given"

// Report counts one indicator over operations, as of the end of yesterday: what
// is due today may still be done.
func Report(i Indicator, list []Operation, today calendar.Date) Counted {
	c := &counter{Counted: Counted{Indicator: i}, today: today}
	for n := range list {
		switch op := &list[n]; i {
		case Cancellations:
			c.add(op.Cancelled, ByReason, op.Reason)
		case Postponements:
			c.moved(op)
		case ClassAttendance:
			c.attended(op)
		case ReadyDayBefore:
			c.ready(op)
		case BaselineComplete:
			c.complete(op, ReportedBaseline)
		case OneYearComplete:
			c.complete(op, ReportedOneYear)
		}
	}
	slices.SortFunc(c.Groups, func(a, b CountedGroup) int { return cmp.Or(b.N-a.N, cmp.Compare(a.Name, b.Name)) })
	slices.SortStableFunc(c.Lacks, func(a, b Lack) int { return int(a.Day - b.Day) })
	return c.Counted
}

type counter struct {
	Counted
	today calendar.Date
}

// add counts one for the denominator, and where it is of the numerator, for
// that and for its group.
func (c *counter) add(counts bool, by, name string) {
	c.Denominator++
	if !counts {
		return
	}
	c.Numerator++
	c.group(by, cmp.Or(name, NoReason))
}

func (c *counter) group(by, name string) {
	n := slices.IndexFunc(c.Groups, func(g CountedGroup) bool { return g.By == by && g.Name == name })
	if n < 0 {
		n = len(c.Groups)
		c.Groups = append(c.Groups, CountedGroup{By: by, Name: name})
	}
	c.Groups[n].N++
}

// moved counts operations, each once; the reason is that of the last move.
func (c *counter) moved(op *Operation) {
	if op.Cancelled {
		return
	}
	reason := ""
	if n := len(op.Moves); n > 0 {
		reason = op.Moves[n-1].Reason
	}
	c.add(len(op.Moves) > 0, ByReason, reason)
}

// attended counts those whose class is decided: done, waived or missed.
func (c *counter) attended(op *Operation) {
	if op.Cancelled {
		return
	}
	for _, o := range op.reported(ReportedClass) {
		switch o.State {
		case StateDone, StateWaived, Missed:
			c.Denominator++
			c.group(ByOutcome, string(o.State))
			if o.State == StateDone {
				c.Numerator++
			}
		}
	}
}

// complete counts items that were due before today.
func (c *counter) complete(op *Operation, as Reported) {
	if op.Cancelled {
		return
	}
	for _, o := range op.reported(as) {
		if o.State == StateDone || !o.Due.IsZero() && o.Due < c.today {
			c.Denominator++
			if o.State == StateDone {
				c.Numerator++
			}
			c.group(ByOutcome, string(o.State))
		}
	}
}

// reported are the items that count as something: the newest round of each, where
// it is asked at all.
func (op *Operation) reported(as Reported) []Outturn {
	var out []Outturn
	for _, o := range op.newest() {
		if o.Step.ReportedAs == as && o.Applies != No && o.State != Needless {
			out = append(out, o)
		}
	}
	return out
}

// newest leaves out the rounds that no longer counted.
func (op *Operation) newest() []Outturn {
	var out []Outturn
	for _, o := range op.Done {
		if o.State != Expired {
			out = append(out, o)
		}
	}
	return out
}

// ready counts operations whose day before is over. Ready is what
// CaseReady asks for: every must of the preparation done or left out by the end
// of that day, and no hold. A must in doubt is not done: a case with one is not
// ready either.
func (c *counter) ready(op *Operation) {
	if op.Cancelled || op.Day > c.today {
		return
	}
	c.Denominator++
	before, lack := op.Day.Add(-1), Lack{Case: op.Case, Day: op.Day, Held: op.Held}
	if op.Held {
		c.group(ByMissing, heldGroup)
	}
	for _, o := range op.newest() {
		if o.Step.Need == Must && o.Step.Trigger == "" && !o.Last.IsZero() && o.Last < op.Day && !o.settledBy(before) {
			c.group(ByMissing, o.missing())
			if o.inDoubt() {
				lack.InDoubt = append(lack.InDoubt, o.Step.Title)
			} else {
				lack.Undone = append(lack.Undone, o.Step.Title)
			}
		}
	}
	if !lack.Held && len(lack.Undone)+len(lack.InDoubt) == 0 {
		c.Numerator++
		return
	}
	c.Lacks = append(c.Lacks, lack)
}

// inDoubt reports whether nobody had found out if it applies.
func (o *Outturn) inDoubt() bool { return o.Applies == Unknown && o.State.Waiting() }

// missing names what was not done, and says where nobody knew whether it applies.
func (o *Outturn) missing() string {
	if o.inDoubt() {
		return o.Step.Title + " (in doubt whether it applies)"
	}
	return o.Step.Title
}

// settledBy reports whether nothing was left to do at the end of a day. What was
// done counts from the day it was done, also when that was recorded later.
func (o *Outturn) settledBy(day calendar.Date) bool {
	switch {
	case o.Applies == No, o.State == Needless, o.State == StateWaived:
		return true
	case o.State == StateDone:
		return o.On.IsZero() || o.On <= day
	}
	return false
}

// HeldAt reports whether one of the holds stood at an instant.
func HeldAt(holds []Hold, t time.Time) bool {
	return slices.ContainsFunc(holds, func(h Hold) bool {
		return h.Raised.Before(t) && (h.Open() || !h.Ended.Before(t))
	})
}

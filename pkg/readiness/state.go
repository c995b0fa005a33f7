package readiness

import (
	"slices"
	"time"

	"example.org/countback/pkg/calendar"
)

// ItemState is the state of an item; the codes are Task.businessStatus.
type ItemState string

// The item states.
const (
	Upcoming    ItemState = "upcoming"
	Open        ItemState = "open"
	Due         ItemState = "due"
	Late        ItemState = "late"
	Missed      ItemState = "missed"
	Paused      ItemState = "paused"
	StateDone   ItemState = "done"
	Expired     ItemState = "expired"
	StateWaived ItemState = "waived"
	Needless    ItemState = "not-needed"
)

// Waiting reports whether the item still asks, or will ask, something of someone.
func (s ItemState) Waiting() bool {
	switch s {
	case Upcoming, Open, Due, Late, Paused:
		return true
	}
	return false
}

// CaseState is the state of a case.
type CaseState string

// The case states; the first that fits holds.
const (
	CaseCancelled  CaseState = "cancelled"
	CaseClosed     CaseState = "closed"
	CaseHome       CaseState = "home"
	CaseArrived    CaseState = "arrived"
	CaseHeld       CaseState = "held"
	CaseInfeasible CaseState = "infeasible"
	CaseBehind     CaseState = "behind"
	CaseReady      CaseState = "ready"
	CaseOnTrack    CaseState = "on-track"
)

// counts reports whether evidence still counts for the case as it now stands.
func (e Entry) counts(s *Step, c *Case) bool {
	now := c.Snapshot()
	for _, name := range s.Expiry.VoidedBy {
		if was, ok := e.For[name]; ok && was != now[name] {
			return false
		}
	}
	if c.Day.IsZero() {
		return true // no date to age towards
	}
	switch s.Expiry.Kind {
	case ExpiresAfter:
		return e.On.IsZero() || c.Day.Sub(e.On) <= s.Expiry.Days
	case ThisDate:
		if e.For[DetailDate] != now[DetailDate] {
			return false
		}
		// Where someone was told a time, another start is another appointment.
		return !s.byTheClock() || e.For[DetailTime] == now[DetailTime]
	case OwnEndDate:
		if e.Until.IsZero() { // nobody said until when: good for the date it was done for
			return e.For[DetailDate] == now[DetailDate]
		}
		return c.Day <= e.Until
	}
	return true
}

// TooEarly reports whether what was done on a day was done before it could be:
// before the window of a fixed step, of one that counts for a date and is opened
// by it, and of anything that can only follow the operation. A last dose that was
// taken is a fact, however early: it is asked about, and not asked for again.
func (i *Item) TooEarly(on calendar.Date) bool {
	if on.IsZero() || i.Opens.IsZero() || on >= i.Opens.Day || i.Step.TakesLastDose() {
		return false
	}
	s := i.Step
	return s.Fixed || s.opensWithSurgery() || s.Expiry.Kind == ThisDate && countsFromSurgery(s.Window.Opens)
}

// byTheClock reports whether the step is due at a time that follows from the
// start: a fasting time, a call about it. One that is due by the start itself
// (a mark on the skin) still counts when the start slips.
func (s *Step) byTheClock() bool {
	for _, p := range s.Window.Due {
		if p.Anchor == AnchorSurgery && (p.Clock != nil || p.Offset.Unit == Minutes && p.Offset.N != 0) {
			return true
		}
	}
	return false
}

// state gives the item's state at now; the item's dates, entry and condition
// are already set.
func (i *Item) state(p *Protocol, paused bool, now time.Time, cal *calendar.Calendar) ItemState {
	switch {
	case i.Applies == No:
		return Needless
	case i.Applies == Unknown:
		return Upcoming
	case paused:
		return Paused
	case !i.Last.IsZero() && !now.Before(i.Last.Ends(cal)):
		return Missed
	case i.TooLate:
		return Missed
	case i.Compressed && i.opened(now, cal):
		return Due
	case i.Compressed:
		return Upcoming // due as soon as it opens
	case !i.Due.IsZero() && !now.Before(i.Due.Ends(cal)):
		return Late
	case !i.opened(now, cal):
		return Upcoming
	case i.Opens.IsZero() && i.Due.IsZero() && i.dated():
		return Upcoming // postponed: no date to count from
	case !i.wanted().IsZero() && !now.Before(i.warns(p, cal)):
		return Due
	}
	return Open
}

// opened reports whether the item waits for nothing and its window has begun.
func (i *Item) opened(now time.Time, cal *calendar.Calendar) bool {
	return len(i.Waits) == 0 && (i.Opens.IsZero() || !now.Before(i.Opens.Begins(cal)))
}

// wanted is what the item is due by: its due moment, or its last one where that
// comes first.
func (i *Item) wanted() Moment {
	if !i.Last.IsZero() && (i.Due.IsZero() || i.Last.sooner(i.Due)) {
		return i.Last
	}
	return i.Due
}

// warns is when an open item becomes due. Whole days of warning are civil days,
// so that a change of clocks does not move it within the day.
func (i *Item) warns(p *Protocol, cal *calendar.Calendar) time.Time { return p.warns(i.wanted(), cal) }

// warns is when the protocol warns of what is due by a moment.
func (p *Protocol) warns(by Moment, cal *calendar.Calendar) time.Time {
	const perDay = 24 * time.Hour
	days, rest := int(p.DueWarning/perDay), p.DueWarning%perDay
	switch {
	case days == 0:
		return by.Begins(cal).Add(-rest)
	case by.At.IsZero():
		return cal.StartOf(by.Day.Add(-days)).Add(-rest)
	}
	hour, minute, second := by.At.In(cal.Zone()).Clock()
	return cal.At(cal.DateOf(by.At).Add(-days), hour, minute).Add(time.Duration(second)*time.Second - rest)
}

// dated reports whether the step's window counts from a date at all, and not
// only from other steps: when these are settled it may be done.
func (i *Item) dated() bool {
	for _, p := range slices.Concat(i.Step.Window.Opens, i.Step.Window.Due) {
		if IsAnchor(p.Anchor) {
			return true
		}
	}
	return false
}

// caseState gives the state of the case from its items, the first that fits.
func (pl *Plan) caseState(c *Case, cal *calendar.Calendar, now time.Time) CaseState {
	// Where nobody says so, the clock stands for arrival and discharge; not of a
	// case that is held, or was when its hour came: its operation will hardly have
	// begun, and if it has, somebody says so.
	passed := func(t time.Time) bool { return !t.IsZero() && !now.Before(t) && c.clockStands(cal) }
	left := !c.Left.IsZero() || passed(pl.Discharge.At)
	arrived := !c.Operated.IsZero() || passed(c.Start) || !c.Arrived.IsZero() && !c.waitsHeld(cal, now)
	switch {
	case c.Ending != Running:
		return CaseCancelled
	case left && pl.finished():
		return CaseClosed
	case left:
		return CaseHome
	case arrived:
		return CaseArrived
	case c.Held:
		return CaseHeld
	case len(pl.Infeasible) > 0:
		return CaseInfeasible
	}
	ready := !c.Day.IsZero()
	for n := range pl.Items {
		i := &pl.Items[n]
		if i.Step.Need != Must || i.Step.Trigger != "" {
			continue
		}
		if i.State == Late && !i.Step.Fixed {
			return CaseBehind
		}
		// One in doubt that failed makes nothing infeasible, but is not done either.
		undone := i.State.Waiting() || i.State == Missed && i.Applies == Unknown && !i.failedBefore(c)
		if undone && !i.Last.IsZero() && i.Last.Day < c.Day {
			ready = false
		}
	}
	if ready {
		return CaseReady
	}
	return CaseOnTrack
}

// finished reports whether nothing is left to ask of anyone; items in doubt do
// not keep a case open once its patient is home.
func (pl *Plan) finished() bool {
	for n := range pl.Items {
		if i := &pl.Items[n]; i.State.Waiting() && i.Applies == Yes {
			return false
		}
	}
	return true
}

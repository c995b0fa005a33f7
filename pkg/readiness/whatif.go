package readiness

import (
	"time"

	"example.org/countback/pkg/calendar"
)

// On is the case as it would be with the operation on another day. A zero start
// keeps the time of day that is booked. What held or ended the case does not
// count: the question is the date.
func (c *Case) On(day calendar.Date, start time.Time, cal *calendar.Calendar) Case {
	out := c.on(day, cal)
	if !start.IsZero() {
		out.Start = start
	}
	return out
}

// Begun reports whether the operation has begun, or is over, or the case ended
// without it: then no other day can be asked for.
func (s CaseState) Begun() bool {
	switch s {
	case CaseCancelled, CaseClosed, CaseHome, CaseArrived:
		return true
	}
	return false
}

// ByClock reports whether a state of the plan rests on the clock alone, because
// nobody has reported it: that the person came, and that they left.
func (pl *Plan) ByClock(c *Case) (came, left bool) {
	gone := pl.State == CaseHome || pl.State == CaseClosed
	return (gone || pl.State == CaseArrived) && !c.reported(), gone && c.Left.IsZero()
}

// Standing is an obstacle on one of the days that it stands in the way of.
type Standing struct {
	Plan   *Plan // with the operation on that day
	Reason Reason
}

// Stands gives the last operating day before the obstacle clears (within the
// horizon, if it does not), and why that day cannot be met; ok is false where
// none is found, which an obstacle that Earliest gave for the same arguments
// never leads to.
func (o Obstacle) Stands(c *Case, p *Protocol, cal *calendar.Calendar, now time.Time) (s Standing, ok bool) {
	today := cal.DateOf(now)
	day := today.Add(p.Horizon)
	if !o.Clear.IsZero() {
		day = o.Clear.Add(-1)
	}
	for ; day > today; day = day.Add(-1) {
		if !cal.IsOperatingDay(day) {
			continue
		}
		try := c.on(day, cal)
		plan := Make(&try, p, cal, now)
		for _, r := range plan.Infeasible {
			if r.Key == o.Key {
				return Standing{plan, r}, true
			}
		}
	}
	return Standing{}, false
}

package readiness

import (
	"time"

	"example.org/countback/pkg/calendar"
)

// Moment is a whole day, or an instant on that day when At is set.
type Moment struct {
	Day calendar.Date
	At  time.Time
}

// IsZero reports whether there is no such moment.
func (m Moment) IsZero() bool { return m.Day.IsZero() }

// Begins is the first instant of the moment in the facility's zone.
func (m Moment) Begins(cal *calendar.Calendar) time.Time {
	if !m.At.IsZero() {
		return m.At
	}
	return cal.StartOf(m.Day)
}

// Ends is the first instant after the moment: a whole day lasts to midnight.
func (m Moment) Ends(cal *calendar.Calendar) time.Time {
	if !m.At.IsZero() {
		return m.At
	}
	return cal.EndOf(m.Day)
}

// later reports whether m begins after o; a whole day begins at midnight.
func (m Moment) later(o Moment) bool {
	if m.Day != o.Day {
		return m.Day > o.Day
	}
	return !m.At.IsZero() && (o.At.IsZero() || m.At.After(o.At))
}

// sooner reports whether m ends before o; a whole day ends at midnight.
func (m Moment) sooner(o Moment) bool {
	if m.Day != o.Day {
		return m.Day < o.Day
	}
	return !m.At.IsZero() && (o.At.IsZero() || m.At.Before(o.At))
}

// dating is everything that points are counted from, for one case.
type dating struct {
	cal       *calendar.Calendar
	booked    Moment
	surgery   Moment // At is T0 when known
	discharge Moment // At is H0, actual or expected
	raised    Moment
	paused    Moment           // see AnchorPaused
	repeat    string           // of the item that is dated now, see Key
	followed  map[Key]progress // by step and repeat; an empty repeat: all items of the step
	advice    []MedicineAdvice
	doses     map[string]doses // by medicine
	notice    string           // what stands under advice on medicines
}

// progress is how far a step is that others may follow.
type progress struct {
	done calendar.Date // the day it was last done
	open bool          // an item of it still waits
}

// follow gives the progress of a step, seen from the item that is dated now:
// that of its own repeat, where the step has such a one.
func (d *dating) follow(code string) progress {
	if own, ok := d.followed[Key{Step: code, Repeat: d.repeat}]; ok {
		return own
	}
	return d.followed[Key{Step: code}]
}

func newDating(c *Case, p *Protocol, cal *calendar.Calendar, now time.Time) *dating {
	d := &dating{cal: cal, followed: map[Key]progress{}}
	if !c.Booked.IsZero() {
		d.booked = Moment{Day: cal.DateOf(c.Booked), At: c.Booked}
	}
	d.surgery = Moment{Day: c.Day, At: c.Start}
	switch stay, ok := p.stay(c.Stay); {
	case !c.Left.IsZero():
		d.discharge = Moment{Day: cal.DateOf(c.Left), At: c.Left}
	case ok && !c.Day.IsZero():
		day := c.Day.Add(stay.Days)
		at := cal.At(day, stay.At.Hour, stay.At.Minute)
		if c.Arrived.IsZero() || now.Before(at) {
			d.discharge = Moment{Day: day, At: at}
		} // else: still in hospital past the expected hour, so nobody knows yet
	}
	d.medicines(c, p)
	return d
}

// base is the moment an anchor or a followed step stands for; zero when it has
// none yet.
func (d *dating) base(anchor string) Moment {
	switch anchor {
	case AnchorBooking:
		return d.booked
	case AnchorSurgery:
		return d.surgery
	case AnchorDischarge:
		return d.discharge
	case AnchorRaised:
		return d.raised
	case AnchorPaused:
		return d.paused
	case AnchorLastDose:
		return d.doses[d.repeat].last
	case AnchorEarliestDose:
		return d.doses[d.repeat].earliest
	}
	return Moment{Day: d.follow(anchor).done}
}

// resolve gives the moment of a point; zero when its anchor has none, or when
// elapsed time is asked for and only the day is known.
func (d *dating) resolve(p Point) Moment {
	base := d.base(p.Anchor)
	if base.IsZero() {
		return Moment{}
	}
	if p.Offset.N == 0 && p.Clock == nil && (p.Anchor == AnchorLastDose || p.Anchor == AnchorEarliestDose) {
		return base // a day, or an hour where the rule counts in hours
	}
	day := base.Day
	switch p.Offset.Unit {
	case Days:
		day = day.Add(p.Offset.N)
	case BusinessDays:
		if day = d.cal.AddBusinessDays(day, p.Offset.N); p.Anchor == AnchorPaused {
			day = max(day, d.raised.Day) // at once
		}
	case Months:
		day = day.AddMonths(p.Offset.N)
	case Minutes:
		if base.At.IsZero() {
			return Moment{}
		}
		// Whole seconds, as it is written: a plan read back is the same plan.
		at := base.At.Add(time.Duration(p.Offset.N) * time.Minute).Truncate(time.Second).In(d.cal.Zone())
		return Moment{Day: d.cal.DateOf(at), At: at}
	}
	return d.clocked(day, p.Clock)
}

// clocked is a time on a day, or without one the whole day.
func (d *dating) clocked(day calendar.Date, at *ClockTime) Moment {
	if at == nil {
		return Moment{Day: day}
	}
	return Moment{Day: day, At: d.cal.At(day, at.Hour, at.Minute)}
}

// opensOn gives the opening of a window, and the steps it still waits for.
func (d *dating) opensOn(w Window) (opens Moment, waits []string) {
	for _, p := range w.Opens {
		if !IsAnchor(p.Anchor) {
			step := d.follow(p.Anchor)
			if step.open {
				waits = append(waits, p.Anchor)
				continue
			}
			if step.done.IsZero() {
				continue // waived or not needed: nothing to wait for
			}
		}
		m := d.resolve(p)
		if m.IsZero() {
			continue
		}
		replace := m.later(opens)
		if w.OpensEarliest {
			replace = opens.later(m)
		}
		if opens.IsZero() || replace {
			opens = m
		}
	}
	if w.OpensEarliest && !opens.IsZero() {
		return opens, nil // what opens it first is known
	}
	return opens, waits
}

// dueOn gives the due moment: the earliest of the window's due points. A staff
// step that is due on a closed day moves to the previous business day, at the
// same time of day if it has one, as long as that lies inside the window. What
// is due after so many hours stays.
func (d *dating) dueOn(s *Step, opens Moment) Moment {
	var due Moment
	var rule Point
	for _, p := range s.Window.Due {
		if m := d.resolve(p); !m.IsZero() && (due.IsZero() || m.sooner(due)) {
			due, rule = m, p
		}
	}
	if due.IsZero() || rule.Offset.Unit == Minutes || s.Fixed || !s.StaffStep() || d.cal.IsBusinessDay(due.Day) {
		return due
	}
	moved := d.clocked(d.cal.OnOrBefore(due.Day), rule.Clock)
	if moved.Day < opens.Day || !moved.At.IsZero() && !opens.IsZero() && moved.At.Before(opens.Begins(d.cal)) {
		return due
	}
	return moved
}

// lastOn gives the last moment at which doing the step still helps: as the
// protocol says; else the due itself for a fixed step and for one that is due
// at a moment of the day of surgery; else the day before surgery for the steps
// of the preparation, unless they are due at an hour that is not known yet; else
// none.
func (d *dating) lastOn(s *Step, due Moment) Moment {
	if s.Last != nil {
		return d.resolve(*s.Last)
	}
	atSurgery := !due.IsZero() && due.Day == d.surgery.Day && dueBySurgery(s.Window.Due)
	switch {
	case s.Fixed, atSurgery && (!due.At.IsZero() || s.beforeSurgery()):
		return due
	case due.IsZero() && countsHours(s.Window.Due):
		return Moment{}
	case s.beforeSurgery() && !d.surgery.IsZero():
		return Moment{Day: d.surgery.Day.Add(-1)}
	}
	return Moment{}
}

func countsHours(points []Point) bool {
	for _, p := range points {
		if p.Offset.Unit == Minutes {
			return true
		}
	}
	return false
}

// dueBySurgery reports whether a step is due by surgery or before it, not after.
func dueBySurgery(points []Point) bool {
	for _, p := range points {
		if p.Anchor == AnchorSurgery && p.Offset.N <= 0 {
			return true
		}
	}
	return false
}

func countsFromSurgery(points []Point) bool {
	for _, p := range points {
		if p.Anchor == AnchorSurgery {
			return true
		}
	}
	return false
}

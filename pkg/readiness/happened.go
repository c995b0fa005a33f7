package readiness

import (
	"fmt"
	"strings"
	"time"

	"example.org/countback/pkg/calendar"
)

// TriggerUnreported is raised when the day of an operation has passed and nobody
// has said what became of it: past the planned discharge, or, of a case that is
// held, past the hour of the operation. Whoever answers says when the person came
// and went home, or that the operation did not take place.
const TriggerUnreported = "outcome-unreported"

// homeOnly ends the key of a question about the way home alone: that the person came
// is known.
const homeOnly = "-home"

// AskedDay is the day of surgery that a question about what became of it is about,
// by the key of what was raised, and whether only the way home is asked about.
func AskedDay(key string) (day calendar.Date, home bool) {
	key, home = strings.CutSuffix(key, homeOnly)
	day, err := calendar.ParseDate(key)
	if err != nil {
		return 0, home
	}
	return day, home
}

// Happened is what a person reported of the day of surgery, where no record does.
type Happened struct {
	Came, Left time.Time // zero: not said
	NotDone    bool      // the operation did not take place
	// Of Came and of Left only the day was said: the hour is none that anybody knows.
	CameDay, LeftDay bool
}

// Reports takes what a person reported into the case, as far as the records say
// nothing: they count where they contradict it. It gives in words what then does not
// agree; empty: nothing. That the operation did not take place leaves the case
// without a day, until the booking says another or that it is called off.
func (c *Case) Reports(h Happened, cal *calendar.Calendar) (against string) {
	day := func(t time.Time) string { return cal.DateOf(t).Format(dayLayout) }
	switch {
	case h.NotDone && c.reported():
		return "that it did not take place, and the record says that it did"
	case h.NotDone:
		c.Day, c.Start, c.Held = 0, time.Time{}, true
		return ""
	case h.Left.IsZero():
	case !c.Left.IsZero() && cal.DateOf(c.Left) != cal.DateOf(h.Left):
		against = "that the person went home on " + day(h.Left) + ", and the record says " + day(c.Left)
	case c.Left.IsZero() && !c.Arrived.IsZero() && c.Arrived.After(h.Left):
		against = "that the person went home on " + day(h.Left) + ", and the record says that they came on " + day(c.Arrived)
	case c.Left.IsZero():
		c.Left = h.Left
	}
	if c.Arrived.IsZero() {
		c.Arrived = h.Came
	}
	return against
}

// reported reports whether a record says that the person came, was operated on, or
// left.
func (c *Case) reported() bool {
	return !c.Arrived.IsZero() || !c.Left.IsZero() || !c.Operated.IsZero()
}

// AskWhatHappened raises the question what became of an operation where time has
// passed it and nobody has said. What was asked about the day that stands stays, and
// is shown by the record that answers it. pl is the plan of now as if nothing held
// the case, and known the case by its records alone, before people's reports.
func (c *Case) AskWhatHappened(before []Item, known *Case, pl *Plan, p *Protocol, cal *calendar.Calendar, now time.Time) {
	asked := map[bool]bool{}
	for n := range before {
		i := &before[n]
		day, home := AskedDay(i.Key.Repeat)
		if i.Step.Trigger != TriggerUnreported || i.Raised == nil || i.Key.Round > 1 || day != known.Day {
			continue
		}
		if i.State.Waiting() && now.Before(i.Raised.At) {
			continue // the clock was ahead when it was asked
		}
		asked[home] = true
		r := *i.Raised
		r.Trigger, r.Key = TriggerUnreported, i.Key.Repeat
		c.Raised = append(c.Raised, r)
		if known.Seen != "" && (known.reported() && !home || !known.Left.IsZero()) {
			c.shown(p, r.Key, Proof{Record: known.Seen, On: min(known.seenOn(cal), cal.DateOf(now))})
		}
	}
	if c.Ending != Running || c.Day.IsZero() {
		return
	}
	due := c.expectedHome(p, cal)
	passed := !due.IsZero() && !now.Before(due)
	on := c.Day.Format(dayLayout)
	switch {
	case asked[false]:
	case c.reported():
	case (c.Held || c.heldAtHour(cal)) && c.hourPassed(cal, now):
		c.ask(c.Day.String(), c.Hour(cal), "The operation was booked for "+on+" and was on hold. Its hour has passed, and nobody has reported whether it took place.")
	case !c.Held && passed && pl.State.Begun():
		c.ask(c.Day.String(), due, "The operation was booked for "+on+". By the plan the person would be home, and nobody has reported that the operation took place, or that they left the hospital.")
	}
	// Whoever records an arrival records the way home; a person's word has to be asked for.
	if !asked[true] && known.Seen == "" && !c.Arrived.IsZero() && c.Left.IsZero() && passed {
		c.ask(c.Day.String()+homeOnly, due, "The person came for the operation of "+on+". By the plan they would be home, and nobody has reported that they left the hospital.")
	}
}

func (c *Case) ask(key string, at time.Time, why string) {
	c.Raised = append(c.Raised, Raised{Trigger: TriggerUnreported, Key: key, At: at, Why: why})
}

// shown lets a record answer what was raised.
func (c *Case) shown(p *Protocol, key string, proof Proof) {
	proofs := make(map[Key][]Proof, len(c.Proofs)+1)
	for k, list := range c.Proofs { // those of the person's other bookings are the same map
		proofs[k] = list
	}
	for n := range p.Steps {
		if s := &p.Steps[n]; s.Trigger == TriggerUnreported {
			proofs[Key{Step: s.Code, Repeat: key}] = []Proof{proof}
		}
	}
	c.Proofs = proofs
}

// seenOn is the day that the record names, of what it says the latest.
func (c *Case) seenOn(cal *calendar.Calendar) calendar.Date {
	for _, t := range []time.Time{c.Left, c.Arrived, c.Operated} {
		if !t.IsZero() {
			return cal.DateOf(t)
		}
	}
	return c.Day
}

// expectedHome is when the person is to be home by the planned stay, whoever has come
// or gone; zero where that is not known.
func (c *Case) expectedHome(p *Protocol, cal *calendar.Calendar) time.Time {
	stay, ok := p.stay(c.Stay)
	if !ok || c.Day.IsZero() {
		return time.Time{}
	}
	return cal.At(c.Day.Add(stay.Days), stay.At.Hour, stay.At.Minute)
}

// Words says what was reported, for the case's page.
func (h Happened) Words(cal *calendar.Calendar) string {
	at := func(t time.Time, dayOnly bool) string {
		if dayOnly {
			return cal.DateOf(t).Format(dayLayout)
		}
		return t.In(cal.Zone()).Format(dayLayout + ", 15:04")
	}
	switch {
	case h.NotDone:
		return "that the operation did not take place"
	case h.Left.IsZero():
		return fmt.Sprintf("that the person came on %s", at(h.Came, h.CameDay))
	case h.Came.IsZero():
		return fmt.Sprintf("that the person went home on %s", at(h.Left, h.LeftDay))
	}
	return fmt.Sprintf("that the person came on %s and went home on %s", at(h.Came, h.CameDay), at(h.Left, h.LeftDay))
}

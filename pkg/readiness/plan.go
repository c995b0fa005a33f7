package readiness

import (
	"time"

	"example.org/countback/pkg/calendar"
)

// Item is a step of one case, with its dates and state.
type Item struct {
	Key     Key
	Step    *Step
	State   ItemState
	Applies Answer
	Needs   []string // what must be known before it is decided whether it applies
	Opens   Moment
	Due     Moment
	Last    Moment   // after it the item is missed; zero: stays late
	Waits   []string // codes of steps that it follows and that are not done
	// Compressed marks an item whose due day lies before the booking day.
	Compressed bool
	// TooLate marks a fixed item whose day had passed when it was booked: a
	// person must decide.
	TooLate  bool
	Replaces int // round of the finished item that this one replaces; 0: none
	// Because says why a finished item no longer counts, on that item and on the
	// one that replaces it.
	Because string
	Raised  *Raised
	Entry   Entry
	Advice  []string // what the rules on medicines say, in words
}

// Reason says why a plan cannot be met.
type Reason struct {
	Key Key
	// Last is the last useful moment, for a fixed step that was booked too late
	// its due; zero for a step that failed before it had a date.
	Last Moment
	// DaysMissing is how many days too late it is, counted in whole days from
	// Last to today, or to the booking day for a fixed step booked too late.
	DaysMissing int
}

// Plan is all items of a case at one moment.
type Plan struct {
	Protocol   string // canonical|version
	Approved   bool
	State      CaseState
	Day        calendar.Date
	Start      time.Time
	Discharge  Moment
	Items      []Item // in the protocol's order
	Infeasible []Reason
	Medicines  []MedicineAdvice // in the case's order
	// NextChange is the next instant at which some state changes with nothing
	// but time passing; zero: none.
	NextChange time.Time
}

// Make computes the plan of a case at now. Same arguments, same plan.
func Make(c *Case, p *Protocol, cal *calendar.Calendar, now time.Time) *Plan {
	d := newDating(c, p, cal, now)
	pl := &Plan{Protocol: p.Canonical(), Approved: p.Approved, Day: c.Day, Start: c.Start, Discharge: d.discharge, Medicines: d.advice}
	places := make([][]Item, len(p.Steps))
	total := 0
	for _, n := range p.order {
		places[n] = d.items(&p.Steps[n], c, p, now)
		total += len(places[n])
	}
	pl.Items = make([]Item, 0, total)
	for _, items := range places {
		pl.Items = append(pl.Items, items...)
	}
	pl.Infeasible = infeasible(pl.Items, c, p, now, cal)
	pl.State = pl.caseState(c, now)
	pl.NextChange = pl.nextChange(c, p, now, cal)
	return pl
}

// items makes the items of one step: none for a triggered step that nothing
// raised, several for a repeated one.
func (d *dating) items(s *Step, c *Case, p *Protocol, now time.Time) []Item {
	var out []Item
	switch {
	case s.Trigger != "":
		for n := range c.Raised {
			if r := &c.Raised[n]; r.Trigger == s.Trigger {
				d.raised = Moment{Day: d.cal.DateOf(r.At), At: r.At}
				if s.Trigger == TriggerHold {
					d.paused = d.firstPaused(c, p, r.Key)
				}
				out = d.rounds(out, Item{Step: s, Key: Key{Step: s.Code, Repeat: r.Key}, Raised: r}, c, p, now)
			}
		}
		d.raised, d.paused = Moment{}, Moment{}
	case s.RepeatFor != "":
		for _, key := range c.Repeats[s.RepeatFor] {
			out = d.rounds(out, Item{Step: s, Key: Key{Step: s.Code, Repeat: key}}, c, p, now)
		}
	default:
		out = d.rounds(out, Item{Step: s, Key: Key{Step: s.Code}}, c, p, now)
	}
	d.note(s.Code, out)
	return out
}

// note tells later steps whether this one is done, and when: as a whole, and
// each of its repeats. Of several rounds the last says so.
func (d *dating) note(code string, items []Item) {
	var whole progress
	for n := range items {
		i := &items[n]
		if n+1 < len(items) && items[n+1].Replaces > 0 {
			continue
		}
		var own progress
		switch {
		case i.State == StateDone:
			own.done = i.Entry.On
		case i.State.Waiting():
			own.open = i.Applies == Yes
		case i.State == Missed:
			own.open = i.Applies != No
		}
		d.followed[Key{Step: code, Repeat: i.Key.Repeat}] = own
		whole.done, whole.open = max(whole.done, own.done), whole.open || own.open
	}
	d.followed[Key{Step: code}] = whole
}

// rounds appends the item, and after a finished one that no longer counts the
// one that replaces it.
func (d *dating) rounds(out []Item, i Item, c *Case, p *Protocol, now time.Time) []Item {
	d.repeat = i.Key.Repeat
	d.date(&i, c)
	applies, because, shown := i.Applies, "", false
	for round := 1; ; round++ {
		i.Key.Round = round
		i.Replaces = round - 1
		i.Entry = c.Entries[i.Key]
		if i.Entry.Outcome == NoOutcome || i.Entry.Outcome == Applies {
			shown = d.prove(&i, c, d.cal.DateOf(now), shown) || shown
		}
		later := c.Entries[Key{i.Key.Step, i.Key.Repeat, round + 1}].Outcome != NoOutcome
		i.Applies = applies
		if i.Entry.Outcome == Applies {
			i.Applies, i.Needs = Yes, nil
		}
		i.State = i.settled(c, later)
		switch {
		case i.State != "":
		case c.Ending != Running && !i.Step.Outlives:
			i.State = Needless
		default:
			i.State = i.state(p, c.pauses(&i), now, d.cal)
		}
		i.Because = because
		again := i.State == Expired || i.failedBefore(c)
		if again {
			because = i.voided(c, later)
			i.Because = because
		}
		out = append(out, i)
		if !again {
			return out
		}
	}
}

// failedBefore reports whether the item failed for another date than the one
// that stands: for this one it is asked again.
func (i *Item) failedBefore(c *Case) bool {
	was, known := i.Entry.For[DetailDate]
	return i.Entry.Outcome == Failed && known && was != c.Day.String()
}

// date sets what follows from the case alone: window, last day, condition.
func (d *dating) date(i *Item, c *Case) {
	s := i.Step
	i.Applies = Yes
	if s.Condition != nil {
		i.Applies, i.Needs = s.Condition.Holds(c.Facts)
	}
	d.advise(i)
	i.Opens, i.Waits = d.opensOn(s.Window)
	i.Due = d.dueOn(s, i.Opens)
	i.Last = d.lastOn(s, i.Due)
	if i.Applies == Unknown && i.Last.IsZero() && s.countsFrom(AnchorLastDose) && !c.Day.IsZero() {
		i.Last = Moment{Day: c.Day.Add(-1)} // undecided the day before, nobody is ready
	}
	if !i.Due.IsZero() && !d.booked.IsZero() && i.Due.Day < d.booked.Day {
		i.Compressed, i.TooLate = !s.Fixed, s.Fixed
	}
}

// InDoubt reports whether it must still be found out if the item applies.
func (i *Item) InDoubt() bool { return i.Applies == Unknown && i.State.Waiting() }

// settled gives the state that a person's entry decides; empty when none does.
// Once people went on to a later round, what an earlier one says is past: the
// patient was told another date in between.
func (i *Item) settled(c *Case, later bool) ItemState {
	switch i.Entry.Outcome {
	case Done:
		if !later && i.Entry.counts(i.Step, c) && !i.advisedOtherwise(c) && !i.TooEarly(i.Entry.On) {
			return StateDone
		}
		return Expired
	case Waived:
		return StateWaived
	case NotNeeded:
		return Needless
	case Failed:
		return Missed
	}
	return ""
}

// infeasible lists the musts of the preparation that can no longer be met.
func infeasible(items []Item, c *Case, p *Protocol, now time.Time, cal *calendar.Calendar) []Reason {
	if c.Day.IsZero() || c.Ending != Running {
		return nil
	}
	var out []Reason
	today, booked := cal.DateOf(now), cal.DateOf(c.Booked)
	for n := range items {
		i := &items[n]
		if i.State != Missed || i.failedBefore(c) || i.Step.Need != Must || i.Applies != Yes || i.Last.Day > c.Day || c.let(p, i.Key) {
			continue
		}
		r := Reason{Key: i.Key, Last: i.Last}
		until := today
		if i.TooLate {
			until = booked
		}
		if i.TooLate || i.Last.IsZero() {
			r.Last = i.Due
		}
		if !r.Last.IsZero() { // zero: it failed before it had a date
			r.DaysMissing = max(until.Sub(r.Last.Day), 0)
		}
		out = append(out, r)
	}
	return out
}

// nextChange finds the next instant at which some item, or the case, changes
// with time alone.
func (pl *Plan) nextChange(c *Case, p *Protocol, now time.Time, cal *calendar.Calendar) time.Time {
	var next time.Time
	sooner := func(t time.Time) bool { return t.After(now) && (next.IsZero() || t.Before(next)) }
	for n := range pl.Items {
		i := &pl.Items[n]
		if !i.State.Waiting() {
			continue
		}
		for _, t := range i.turns(p, cal) {
			if sooner(t) && i.state(p, c.pauses(i), t, cal) != i.State {
				next = t
			}
		}
	}
	if inHospital := !c.Arrived.IsZero() && c.Left.IsZero(); inHospital && sooner(pl.Discharge.At) {
		next = pl.Discharge.At // from then on nobody knows when they leave
	}
	for _, t := range [...]time.Time{pl.Start, pl.Discharge.At} {
		if sooner(t) && pl.caseState(c, t) != pl.State {
			next = t // until then the items stand as they are
		}
	}
	return next
}

// turns lists the instants at which the item's state may change with time;
// zero for those that it has not.
func (i *Item) turns(p *Protocol, cal *calendar.Calendar) (out [4]time.Time) {
	if !i.Opens.IsZero() {
		out[0] = i.Opens.Begins(cal)
	}
	if !i.wanted().IsZero() {
		out[1] = i.warns(p, cal)
	}
	if !i.Due.IsZero() {
		out[2] = i.Due.Ends(cal)
	}
	if !i.Last.IsZero() {
		out[3] = i.Last.Ends(cal)
	}
	return out
}

package readiness

import (
	"slices"
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
	// LeaveBy is the last day that leaves time for what must still follow, where
	// that is earlier than the item's own last day; zero: it is not. LeaveFor are
	// the codes of the steps that follow, each after the one before. Neither
	// depends on the present day.
	LeaveBy  calendar.Date
	LeaveFor []string
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
	// Decided says why it is not needed, where a prescriber signed so.
	Decided string
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
	// TooLateIfAsked are the musts of the preparation that are in doubt and could
	// not be done in time any more if they were found to apply now.
	TooLateIfAsked []Key
	// Unreported: the case is held, or was when the hour of its operation came; that has
	// passed, and nobody has said whether it took place.
	Unreported bool
	Medicines  []MedicineAdvice // in the case's order
	// NextChange is the next instant at which some state changes, another must
	// becomes a reason, or a must in doubt becomes too late if it applies, with
	// nothing but time passing; zero: none. The day of a record that lies in the
	// future brings one as well.
	NextChange time.Time
}

// Make computes the plan of a case at now. Same arguments, same plan.
func Make(c *Case, p *Protocol, cal *calendar.Calendar, now time.Time) *Plan {
	pl, m := makeAt(c, p, cal, now)
	pl.NextChange = pl.nextRecord(c, p, cal, now, pl.nextChange(m, p, now))
	return pl
}

// makeAt computes the plan without what comes next.
func makeAt(c *Case, p *Protocol, cal *calendar.Calendar, now time.Time) (*Plan, *musts) {
	d := newDating(c, p, cal, now)
	pl := &Plan{Protocol: p.Canonical(), Approved: p.Approved, Day: c.Day, Start: c.Start, Discharge: d.discharge, Medicines: d.advice}
	pl.Items = d.all(p.order, c, p, now)
	pl.leave(p, cal)
	m := pl.musts(c, p, cal)
	pl.Infeasible = m.reasons(now)
	pl.TooLateIfAsked = pl.lateInDoubt(cal, now)
	pl.State = pl.caseState(c, cal, now)
	pl.Unreported = c.unreported(cal, now)
	return pl, m
}

// makeMusts computes of a plan only what decides whether its day can be met: the
// musts with the steps that their dates are counted from, and Infeasible.
func makeMusts(c *Case, p *Protocol, cal *calendar.Calendar, now time.Time) (*Plan, *musts) {
	pl := &Plan{Day: c.Day, Items: newDating(c, p, cal, now).all(p.decides, c, p, now)}
	m := pl.musts(c, p, cal)
	pl.Infeasible = m.reasons(now)
	return pl, m
}

// all makes the items of these steps, in the protocol's order.
func (d *dating) all(order []int, c *Case, p *Protocol, now time.Time) []Item {
	places := make([][]Item, len(p.Steps))
	total := 0
	for _, n := range order {
		places[n] = d.items(&p.Steps[n], c, p, now)
		total += len(places[n])
	}
	out := make([]Item, 0, total)
	for _, items := range places {
		out = append(out, items...)
	}
	return out
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
		asked := i.Entry.Outcome == Applies // said by a person, whatever a record shows
		if i.Entry.Outcome == NoOutcome || i.Entry.Outcome == Applies {
			shown = d.prove(&i, c, d.cal.DateOf(now), shown) || shown
		}
		later := c.Entries[Key{i.Key.Step, i.Key.Repeat, round + 1}].Outcome != NoOutcome
		i.Applies = applies
		if asked && i.Decided == "" {
			i.Applies, i.Needs = Yes, nil
		}
		i.State = i.settled(c, p, later)
		switch {
		case i.Decided != "" && i.State != StateDone && i.State != Expired:
			i.State = Needless
		case i.State != "":
		case c.Ending != Running && !i.Step.Outlives:
			i.State = Needless
		default:
			i.State = i.state(p, c.pauses(&i), now, d.cal)
		}
		i.Because = because
		again := i.State == Expired || i.failedBefore(c)
		if again {
			because = i.voided(c, p, later)
			i.Because = because
		}
		out = append(out, i)
		if !again {
			return out
		}
	}
}

// failedBefore reports whether the item failed for another date than the one
// that stands: for this one it is asked again. Not so an ask for another date, nor
// the news of one: the next date is raised by itself.
func (i *Item) failedBefore(c *Case) bool {
	was, known := i.Entry.For[DetailDate]
	return i.Entry.Outcome == Failed && known && was != c.Day.String() && i.Step.Trigger != TriggerMove && i.Step.Trigger != TriggerTold
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
func (i *Item) settled(c *Case, p *Protocol, later bool) ItemState {
	switch i.Entry.Outcome {
	case Done:
		if !later && i.Entry.counts(i.Step, c) && !i.advisedOtherwise(c) && !i.disagreed(c) && !i.redecided(c, p) && !(i.Step.SignsLastDose() && c.unsaid(i.Key.Repeat, &i.Entry)) && !i.TooEarly(i.Entry.On) {
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

// nextChange finds the next instant at which some item, the case, or what makes
// it infeasible changes with time alone.
func (pl *Plan) nextChange(m *musts, p *Protocol, now time.Time) time.Time {
	c, cal := m.c, m.cal
	var next time.Time
	sooner := func(t time.Time) bool { return t.After(now) && (next.IsZero() || t.Before(next)) }
	for n := range pl.Items {
		i := &pl.Items[n]
		if !i.State.Waiting() {
			continue
		}
		for _, t := range i.turns(p, cal) {
			if sooner(t) && (i.state(p, c.pauses(i), t, cal) != i.State || pl.tooLateIfAsked(i, cal, t) != pl.tooLateIfAsked(i, cal, now)) {
				next = t
			}
		}
	}
	if inHospital := !c.Arrived.IsZero() && c.Left.IsZero(); inHospital && sooner(pl.Discharge.At) {
		next = pl.Discharge.At // from then on nobody knows when they leave
	}
	for _, t := range [...]time.Time{pl.Start, pl.Discharge.At} {
		if sooner(t) && pl.caseState(c, cal, t) != pl.State {
			next = t // until then the items stand as they are
		}
	}
	if hour := c.Hour(cal); sooner(hour) && (pl.State == CaseHeld || c.unreported(cal, hour) != pl.Unreported) {
		next = hour // from then on it is unreported, or who came is taken to be operated on
	}
	for _, t := range m.turns() {
		if sooner(t) && !slices.Equal(m.roots(cal.DateOf(t)), m.roots(cal.DateOf(now))) {
			next = t
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

package readiness

import (
	"fmt"
	"strings"

	"example.org/countback/pkg/calendar"
)

// taken marks the keys of questions about a last dose that is recorded otherwise
// than it was signed.
const taken = ofMedicine + "taken-"

// answered reports whether the prescriber has said what they were asked in this
// item, which then keeps its words. One whose answer was taken back asks again.
func (s *stranding) answered(i *Item) bool {
	if e := s.c.Entries[i.Key]; e.Outcome != NoOutcome && e.Outcome != Applies {
		return true
	}
	return !i.State.Waiting() && i.Entry.Outcome == NoOutcome
}

// retell lets an open question say what is true now. One from before it was kept
// what the medicine was stopped for keeps its words where no record tells it.
func (s *stranding) retell(r *Raised, pl *Plan, p *Protocol) {
	if s.c.medicine(medicineOf(r.Key)) != nil || r.Name == "" {
		r.Name = s.c.medicineName(medicineOf(r.Key))
	}
	if r.Trigger == TriggerStopDay {
		s.retellStopDay(r, pl)
		return
	}
	_, of, asked := strings.Cut(r.Key, taken)
	if i := pl.taken(medicineOf(r.Key)); asked && i != nil {
		if why := s.c.otherwise(p, i); why != "" {
			r.Why, r.For, r.Dose = why, s.c.Day, Moment{Day: i.Entry.On}
			return
		}
	}
	e, round := s.c.lastDoseOf(p, medicineOf(r.Key))
	if r.For.IsZero() && round == 0 {
		return
	}
	r.Why = s.stoppedWords(r, e, round > 0)
	day := r.Dose.Day
	if old, err := calendar.ParseDate(of); err == nil && day.IsZero() { // from before it was kept apart
		day = old
	}
	if asked && !day.IsZero() && e.On != day {
		r.Why += " This was asked when the last dose was recorded for " + day.Format(dayLayout) + "."
	}
}

// lastDoseOf is what people recorded of the last dose of a medicine, of several
// rounds the last; round 0: nothing.
func (c *Case) lastDoseOf(p *Protocol, medicine string) (e Entry, round int) {
	for k, o := range c.Entries {
		if k.Repeat != medicine || o.Outcome != Done || k.Round <= round {
			continue
		}
		if s := p.Step(k.Step); s != nil && s.TakesLastDose() {
			e, round = o, k.Round
		}
	}
	return e, round
}

// taken is the last dose of a medicine, where one counts as taken.
func (pl *Plan) taken(medicine string) *Item {
	for n := range pl.Items {
		if i := &pl.Items[n]; i.Key.Repeat == medicine && i.Step.TakesLastDose() && i.State == StateDone && !i.Entry.On.IsZero() {
			return i
		}
	}
	return nil
}

// stoppedWords says of a medicine that is, or was to be, stopped: its last dose
// as it is recorded, the day of surgery that it was stopped for, what became of
// that day, and for how long the person is without it.
func (s *stranding) stoppedWords(r *Raised, e Entry, recorded bool) string {
	name, on, stoppedFor := r.Name, r.Dose.Day, s.stoppedFor(r, e, recorded)
	aim := ""
	if !stoppedFor.IsZero() {
		aim = " for the operation of " + stoppedFor.Format(dayLayout)
	}
	var out string
	switch {
	case recorded && e.On.IsZero():
		on, out = 0, name+" is stopped already"+aim+"; nobody has said on which day the last dose was."
	case recorded:
		on, out = e.On, name+" is stopped already"+aim+": the last dose is recorded for "+e.On.Format(dayLayout)+"."
	case strings.Contains(r.Key, taken):
		on, out = 0, name+": nobody says any more when the last dose was, and whether it is stopped is not known."
	case r.Dose.IsZero():
		out = name + " was stopped, or to be stopped, for an earlier date."
	default:
		out = name + " was to be stopped on " + r.Dose.Words() + aim + "; nobody has confirmed it."
	}
	out += " " + s.became(stoppedFor) + s.without(on)
	if number := strings.TrimPrefix(r.Key, medicineOf(r.Key)+ofMedicine); number != "1" && !strings.Contains(r.Key, taken) {
		out += " The prescriber has answered an earlier question about it."
	}
	return out
}

// stoppedFor is the day of surgery that the medicine was stopped for: the one
// that stood when it was asked, or that a dose taken since then was recorded for.
func (s *stranding) stoppedFor(r *Raised, e Entry, recorded bool) calendar.Date {
	day, err := calendar.ParseDate(e.For[DetailDate])
	if recorded && err == nil && (r.For.IsZero() || e.On > s.cal.DateOf(r.At)) {
		return day
	}
	return r.For
}

// became says where the operation stands now, which a medicine was stopped for on
// another day, or on the same.
func (s *stranding) became(stoppedFor calendar.Date) string {
	c := s.c
	switch {
	case c.Ending != Running:
		return "The operation was called off (" + string(c.Ending) + ")"
	case c.Day.IsZero():
		return "The operation has no date any more"
	case c.Day != stoppedFor:
		return "The operation is now on " + c.Day.Format(dayLayout)
	}
	for n := range c.Holds {
		if c.Holds[n].Open() {
			return "The operation is still on that day, and the case is held"
		}
	}
	return "The operation is on that day, and nothing holds the case now"
}

// without says for how long the person is without the medicine, to end a
// sentence.
func (s *stranding) without(on calendar.Date) string {
	switch days := s.c.Day.Sub(on); {
	case on.IsZero():
		return "; for how long the person is without it is not known."
	case s.c.Ending != Running || s.c.Day.IsZero():
		return "; until when the person is without it is not known."
	case days <= 0:
		return ": the last dose is not before it."
	default:
		return fmt.Sprintf(": until then the person would be without it for %d day%s from the last dose.", days, plural(days))
	}
}

// retellStopDay says what became of a last dose whose day came while the case was
// held.
func (s *stranding) retellStopDay(r *Raised, pl *Plan) {
	name := r.Name
	medicine, was, _ := strings.Cut(r.Key, ofMedicine)
	day, err := calendar.ParseDate(was)
	if err != nil {
		return
	}
	var now *Item
	for n := range pl.Items {
		if i := &pl.Items[n]; i.Key.Repeat == medicine && i.Step.TakesLastDose() {
			now = i
		}
	}
	switch {
	case now != nil && now.State == StateDone && !now.Entry.On.IsZero():
		r.Why = name + ": the last dose was planned for " + day.Format(dayLayout) + " while the case was held, and is recorded for " + now.Entry.On.Format(dayLayout) + "."
	case now == nil || now.Due.IsZero() || now.Applies != Yes || s.c.Ending != Running:
		r.Why = name + ": the last dose was planned for " + day.Format(dayLayout) + " while the case was held, and none is planned now."
	case now.Due.Day != day:
		r.Why = name + ": the last dose was planned for " + day.Format(dayLayout) + " while the case was held, and is planned for " + now.Due.Words() + " now."
	case s.c.Held:
		r.Why = name + ": the planned last dose is " + now.Due.Words() + ", and the case is held."
	default:
		r.Why = name + ": the planned last dose is " + now.Due.Words() + "; the case was held that day, and is not any more."
	}
}

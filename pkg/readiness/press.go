package readiness

import (
	"time"

	"example.org/countback/pkg/calendar"
)

// Pressing is a must that is still to be done and presses: a day that rests on it
// can hardly be met, and only if somebody does it in time.
type Pressing struct {
	Key  Key
	Due  Moment // with surgery on that day; zero: it has none
	Over bool   // Due is over
	// By is its last moment with surgery on that day, or the last day that leaves
	// time for the musts that follow it, where that is earlier; zero: it has none.
	By Moment
}

// pressing lists the musts of the preparation of a day that apply and are not
// done, where they are late for the day that is booked, or their due moment is
// over, or no further away than the protocol warns of it.
func (pl *Plan) pressing(c, booked *Case, p *Protocol, cal *calendar.Calendar, now time.Time) []Pressing {
	late := makeMusts(booked, p, cal, now).overdue(cal, now)
	m := pl.musts(c, p, cal)
	var out []Pressing
	for n := range pl.Items {
		i := &pl.Items[n]
		if i.Step.Need != Must || i.Applies != Yes || !i.State.Waiting() || i.Step.Trigger == TriggerHold || m.latest[n] > c.Day {
			continue
		}
		soon := !i.wanted().IsZero() && !now.Before(i.warns(p, cal))
		if !soon && !late[Key{Step: i.Key.Step, Repeat: i.Key.Repeat}] {
			continue
		}
		o := Pressing{Key: i.Key, Due: i.Due, Over: i.over(cal, now), By: i.Last}
		if m.then[n].codes != nil {
			o.By = Moment{Day: m.latest[n]}
		}
		out = append(out, o)
	}
	return out
}

// overdue names what applies and is not done although its due moment is over, or
// can no longer be done, whatever the round.
func (pl *Plan) overdue(cal *calendar.Calendar, now time.Time) map[Key]bool {
	out := map[Key]bool{}
	for n := range pl.Items {
		i := &pl.Items[n]
		if i.Applies == Yes && (i.State == Missed || i.State.Waiting() && i.over(cal, now)) {
			out[Key{Step: i.Key.Step, Repeat: i.Key.Repeat}] = true
		}
	}
	return out
}

// over reports whether the item's due moment is over.
func (i *Item) over(cal *calendar.Calendar, now time.Time) bool {
	return !i.Due.IsZero() && !now.Before(i.Due.Ends(cal))
}

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

// Pressing lists what presses for the day of a plan, which is that of the case c,
// as [Safe] has it for the day that it gives. Booked is the case as it stands.
func (pl *Plan) Pressing(c, booked *Case, p *Protocol, cal *calendar.Calendar, now time.Time) []Pressing {
	return pl.musts(c, p, cal).pressing(booked, now)
}

// pressing lists the musts of the preparation of a day that apply and are not
// done, where they press, or are late for the day that is booked.
func (m *musts) pressing(booked *Case, now time.Time) []Pressing {
	stands, _ := makeMusts(booked, m.p, m.cal, now)
	late := stands.overdue(m.cal, now)
	return m.list(now, func(n int) bool {
		key := m.items[n].Key
		return m.presses(n, now) || m.prepares(n) && late[Key{Step: key.Step, Repeat: key.Repeat}]
	})
}

// list tells of the items that a function picks by their place.
func (m *musts) list(now time.Time, picks func(int) bool) []Pressing {
	var out []Pressing
	for n := range m.items {
		if !picks(n) {
			continue
		}
		i := &m.items[n]
		o := Pressing{Key: i.Key, Due: i.Due, Over: i.over(m.cal, now), By: i.Last}
		if m.then[n].codes != nil {
			o.By = Moment{Day: m.latest[n]}
		}
		out = append(out, o)
	}
	return out
}

// calm reports whether nothing that is counted from the day of surgery presses.
// Where only the last day of a must is counted from it, it presses by that day.
func (m *musts) calm(now time.Time) bool {
	for n := range m.items {
		i := &m.items[n]
		if !m.prepares(n) {
			continue
		}
		by := i.wanted()
		if !i.Step.dueFromSurgery() {
			by = i.Last
		}
		if !by.IsZero() && !now.Before(m.p.warns(by, m.cal)) {
			return false
		}
	}
	return true
}

// dueFromSurgery reports whether the step's due moment moves with the day of
// surgery.
func (s *Step) dueFromSurgery() bool {
	for _, p := range s.Window.Due {
		switch p.Anchor {
		case AnchorSurgery, AnchorDischarge, AnchorLastDose, AnchorEarliestDose:
			return true
		}
	}
	return false
}

// presses reports whether a must of the preparation is still to be done and its
// due moment is over, or no further away than the protocol warns of it.
func (m *musts) presses(n int, now time.Time) bool {
	i := &m.items[n]
	return m.prepares(n) && !i.wanted().IsZero() && !now.Before(i.warns(m.p, m.cal))
}

// prepares reports whether an item is a must that applies and is still to be done
// before the day of surgery: what opens on the day itself can be done on none
// before it, and the release of a hold is asked for by itself.
func (m *musts) prepares(n int) bool {
	i := &m.items[n]
	return i.Step.Need == Must && i.Applies == Yes && i.State.Waiting() && i.Step.Trigger != TriggerHold &&
		m.latest[n] <= m.c.Day && i.Opens.Day < m.c.Day
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

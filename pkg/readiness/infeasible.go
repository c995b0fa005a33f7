package readiness

import (
	"slices"
	"time"

	"example.org/countback/pkg/calendar"
)

// Reason says why a plan cannot be met: a must that is too late, by which rule,
// and by how many days.
type Reason struct {
	Key Key
	// Last is the item's own last useful moment, for a fixed step that was booked
	// too late its due; zero for a step that failed before it had a date.
	Last Moment
	// Latest is the last day on which it would have been in time: that of Last,
	// or an earlier one where Then must still follow; zero as Last is.
	Latest calendar.Date
	// Then are the codes of the musts that must follow it, each after the one
	// before, the last of them the one whose last day counts. Empty: the rule is
	// the item's own last day.
	Then []string
	// Takes is how many days before the last day of the last of Then it must be
	// done.
	Takes int
	// DaysMissing is how many days too late it is, in whole days: from Latest to
	// the first day on which it can be done, today or when it opens; to the booking
	// day for a fixed step booked too late, to today for one that failed.
	DaysMissing int
}

// musts is what is known of the musts of a plan whatever the day: how they wait
// for each other, and the last day of each that leaves time for the others.
type musts struct {
	c      *Case
	p      *Protocol
	cal    *calendar.Calendar
	items  []Item
	links  []link
	latest []calendar.Date // zero: no limit
	then   []demand
}

func (pl *Plan) musts(c *Case, p *Protocol, cal *calendar.Calendar) *musts {
	m := &musts{c: c, p: p, cal: cal, items: pl.Items}
	m.links = slices.DeleteFunc(p.links(pl.Items), func(l link) bool {
		return pl.Items[l.from].Step.Need != Must || pl.Items[l.to].Step.Need != Must
	})
	m.latest = make([]calendar.Date, len(pl.Items))
	for n := range pl.Items {
		m.latest[n] = pl.Items[n].Last.Day
	}
	m.then = back(m.latest, pl.Items, m.links, cal)
	return m
}

// late reports whether a must of the preparation cannot be met any more. One
// that is paused waits for the release of its hold.
func (m *musts) late(n int, today calendar.Date) bool {
	i := &m.items[n]
	if i.Step.Need != Must || i.Applies != Yes || m.latest[n] > m.c.Day || i.failedBefore(m.c) || m.c.let(m.p, i.Key) {
		return false
	}
	waits := i.State.Waiting() && i.State != Paused
	return i.State == Missed || waits && !m.latest[n].IsZero() && i.opensBy(today) > m.latest[n]
}

// roots lists, by place, the musts that cannot be met and do not merely wait for
// another one that cannot. One whose own window opens too late for what follows
// is a reason by itself.
func (m *musts) roots(today calendar.Date) []int {
	if m.c.Day.IsZero() || m.c.Ending != Running {
		return nil
	}
	behind := map[int]bool{} // another that is too late
	for _, l := range m.links {
		if behind[l.from] || m.late(l.from, today) {
			behind[l.to] = true
		}
	}
	var out []int
	for n := range m.items {
		if m.late(n, today) && (!behind[n] || m.items[n].Opens.Day > m.latest[n]) {
			out = append(out, n)
		}
	}
	return out
}

// reasons are the roots with their rules.
func (m *musts) reasons(now time.Time) []Reason {
	var out []Reason
	today := m.cal.DateOf(now)
	for _, n := range m.roots(today) {
		i := &m.items[n]
		r := Reason{Key: i.Key, Last: i.Last, Latest: m.latest[n]}
		until := i.opensBy(today)
		if !i.wants() { // it stands for itself: nothing can follow it
			until = today
			if i.TooLate {
				until = m.cal.DateOf(m.c.Booked)
			}
			if i.TooLate || i.Last.IsZero() {
				r.Last = i.Due
			}
			r.Latest = r.Last.Day
		} else if then := m.then[n]; then.codes != nil {
			r.Then, r.Takes = then.codes, then.end.Sub(r.Latest)
		}
		if !r.Latest.IsZero() {
			r.DaysMissing = max(until.Sub(r.Latest), 0)
		}
		out = append(out, r)
	}
	return out
}

// turns lists the instants at which a must that waits becomes too late for what
// follows it.
func (m *musts) turns() []time.Time {
	var out []time.Time
	for n := range m.items {
		if i := &m.items[n]; m.then[n].codes != nil && i.State.Waiting() {
			out = append(out, m.cal.EndOf(m.latest[n]))
		}
	}
	return out
}

package readiness

import (
	"time"

	"example.org/countback/pkg/calendar"
)

// Span is when an item can be done, seen through everything that it follows and
// everything that follows it.
type Span struct {
	Earliest calendar.Date // the first day it can be done on, today or later
	Latest   calendar.Date // the last day that leaves time for what follows; zero: no limit
}

// Slack is how many days the item may still slip; negative: it is too late by
// so many. It means nothing without a limit.
func (s Span) Slack() int { return s.Latest.Sub(s.Earliest) }

// TooLate reports whether the item cannot be done in time any more.
func (s Span) TooLate() bool { return !s.Latest.IsZero() && s.Latest < s.Earliest }

// Network gives the span of each item that is still to be done, by place in
// plan.Items; items that are settled, or in doubt, have none. It counts in whole
// days: two steps that follow each other may be done on one day, unless the
// protocol asks for days between them.
func (pl *Plan) Network(p *Protocol, cal *calendar.Calendar, now time.Time) map[int]Span {
	n := network{protocol: p, items: map[string][]int{}, spans: map[int]Span{}, calendar: cal, today: cal.DateOf(now)}
	for i := range pl.Items {
		if it := &pl.Items[i]; it.State.Waiting() && it.Applies == Yes && p.Step(it.Key.Step) != nil {
			n.items[it.Key.Step] = append(n.items[it.Key.Step], i)
		}
	}
	for _, s := range p.order { // each after those it follows
		for _, i := range n.items[p.Steps[s].Code] {
			n.spans[i] = Span{Earliest: n.earliest(&pl.Items[i])}
		}
	}
	for k := len(p.order) - 1; k >= 0; k-- { // each before those it follows
		for _, i := range n.items[p.Steps[p.order[k]].Code] {
			n.latest(&pl.Items[i], i)
		}
	}
	return n.spans
}

type network struct {
	protocol *Protocol
	calendar *calendar.Calendar
	today    calendar.Date
	items    map[string][]int // step code → places of its waiting items
	spans    map[int]Span
}

// earliest is the first day that today, the opening and the steps it waits for
// allow.
func (n *network) earliest(i *Item) calendar.Date {
	day := max(n.today, i.Opens.Day)
	for _, pt := range i.Step.Window.Opens {
		for _, f := range n.items[pt.Anchor] {
			day = max(day, n.shift(n.spans[f].Earliest, pt.Offset, 1))
		}
	}
	return day
}

// latest is the last day that the item's own last day allows, and then hands
// its demand on to the steps that it waits for.
func (n *network) latest(i *Item, place int) {
	span := n.spans[place]
	own := i.Last.Day
	if i.Last.IsZero() {
		own = i.Due.Day
	}
	span.Latest = sooner(span.Latest, own)
	n.spans[place] = span
	if span.Latest.IsZero() {
		return
	}
	for _, pt := range i.Step.Window.Opens {
		for _, f := range n.items[pt.Anchor] {
			before := n.spans[f]
			before.Latest = sooner(before.Latest, n.shift(span.Latest, pt.Offset, -1))
			n.spans[f] = before
		}
	}
}

// sooner is the earlier of two days; zero stands for no limit.
func sooner(a, b calendar.Date) calendar.Date {
	if a.IsZero() || !b.IsZero() && b < a {
		return b
	}
	return a
}

// shift moves a day by an offset between two steps; sign -1 goes against it.
func (n *network) shift(d calendar.Date, o Offset, sign int) calendar.Date {
	switch o.Unit {
	case BusinessDays:
		return n.calendar.AddBusinessDays(d, sign*o.N)
	case Months:
		return d.AddMonths(sign * o.N)
	case Minutes:
		// A step is done on a day; hours between two steps are the days that
		// they fill, rounded up.
		const perDay = 24 * 60
		return d.Add(sign * ((o.N + perDay - 1) / perDay))
	}
	return d.Add(sign * o.N)
}

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

// Network gives the span of each item that waits, by place in plan.Items; items
// that are settled, missed, or in doubt have none. What was missed still holds
// up what follows it, and time must still be left for it. Network counts in
// whole days: two steps that follow each other may be done on one day, unless
// the protocol asks for days between them.
func (pl *Plan) Network(p *Protocol, cal *calendar.Calendar, now time.Time) map[int]Span {
	links, today := p.links(pl.Items), cal.DateOf(now)
	earliest, latest := make([]calendar.Date, len(pl.Items)), make([]calendar.Date, len(pl.Items))
	for n := range pl.Items {
		earliest[n], latest[n] = pl.Items[n].opensBy(today), pl.Items[n].limit()
	}
	for _, l := range links {
		earliest[l.to] = max(earliest[l.to], l.later(earliest[l.from], cal))
	}
	back(latest, pl.Items, links, cal)
	spans := map[int]Span{}
	for n := range pl.Items {
		if i := &pl.Items[n]; i.State.Waiting() && i.Applies == Yes && p.Step(i.Key.Step) != nil {
			spans[n] = Span{earliest[n], latest[n]}
		}
	}
	return spans
}

// opensBy is the first day from today on that the item's own window allows.
func (i *Item) opensBy(today calendar.Date) calendar.Date { return max(today, i.Opens.Day) }

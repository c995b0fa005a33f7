package readiness

import (
	"cmp"
	"slices"

	"example.org/countback/pkg/calendar"
)

// flow is a demand between two steps: the one after may be done no sooner than
// the gap after the one before. It comes from a step that follows another, or
// from one that is due so long before another.
type flow struct {
	before, after int    // places in Protocol.Steps
	gap           Offset // never negative
	asks          bool   // the one before asks for the time, by its own due or last day
}

// later is the first day on which the step after may be done when the one
// before is done on d.
func (f *flow) later(d calendar.Date, cal *calendar.Calendar) calendar.Date {
	to := shift(d, f.gap, 1, cal)
	if !f.asks {
		return to
	}
	for shift(to.Add(-1), f.gap, -1, cal) >= d && to > d {
		to = to.Add(-1)
	}
	for shift(to, f.gap, -1, cal) < d {
		to = to.Add(1)
	}
	return to
}

// earlier is the last day on which the step before may be done so that the one
// after can be done on d.
func (f *flow) earlier(d calendar.Date, cal *calendar.Calendar) calendar.Date {
	to := shift(d, f.gap, -1, cal)
	if f.asks {
		return to
	}
	for to < d && shift(to.Add(1), f.gap, 1, cal) <= d {
		to = to.Add(1)
	}
	for shift(to, f.gap, 1, cal) > d {
		to = to.Add(-1)
	}
	return to
}

// shift moves a day by an offset between two steps; sign -1 goes against it.
func shift(d calendar.Date, o Offset, sign int, cal *calendar.Calendar) calendar.Date {
	switch o.Unit {
	case BusinessDays:
		return cal.AddBusinessDays(d, sign*o.N)
	case Months:
		return d.AddMonths(sign * o.N)
	}
	return d.Add(sign * o.N)
}

// demands lists the flows that one step makes: with those that it follows, and
// with those that it must be done before.
func (p *Protocol) demands(n int) []flow {
	var out []flow
	s := &p.Steps[n]
	follows := map[int]bool{}
	for _, pt := range s.Window.Opens {
		if before, ok := p.index[pt.Anchor]; ok {
			follows[before] = true
			gap := pt.Offset
			gap.N = max(gap.N, 0) // it waits for it in any case
			out = append(out, flow{before: before, after: n, gap: gap})
		}
	}
	by := slices.Clone(s.Window.Due)
	if s.Last != nil {
		by = append(by, *s.Last)
	}
	for _, pt := range by {
		after, ok := p.index[pt.Anchor]
		if ok && (pt.Offset.N < 0 || pt.Offset.N == 0 && !follows[after]) {
			gap := pt.Offset
			gap.N = -gap.N
			out = append(out, flow{before: n, after: after, gap: gap, asks: true})
		}
	}
	return out
}

// arrange gathers the flows of all steps, each after those that lead to the step
// before it; where there is no such order it gives the steps that wait for each
// other.
func (p *Protocol) arrange() (list []flow, cycle []string) {
	into := make([][]flow, len(p.Steps)) // by the step after
	for n := range p.Steps {
		for _, f := range p.demands(n) {
			into[f.after] = append(into[f.after], f)
		}
	}
	order, cycle := p.sorted(func(n int) []int {
		var out []int
		for _, f := range into[n] {
			out = append(out, f.before)
		}
		return out
	})
	rank := make([]int, len(p.Steps))
	for r, n := range order {
		rank[n] = r
	}
	for _, flows := range into {
		list = append(list, flows...)
	}
	slices.SortStableFunc(list, func(a, b flow) int { return rank[a.before] - rank[b.before] })
	return list, cycle
}

// After lists the steps that may have to leave time for being done after this
// one, in the protocol's order of the flows: those that follow it, and those that
// follow them.
func (p *Protocol) After(code string) []string {
	n, ok := p.index[code]
	if !ok {
		return nil
	}
	after := map[int]bool{n: true}
	var out []string
	for k := range p.flows {
		if f := &p.flows[k]; after[f.before] && !after[f.after] {
			after[f.after] = true
			out = append(out, p.Steps[f.after].Code)
		}
	}
	return out
}

// link is a flow between two items of a plan, by their places in it.
type link struct {
	from, to int
	*flow
}

// links finds the flows between items that are still to be done, in the order of
// the protocol's. A step that any one of several others opens waits for none of
// them in particular.
func (p *Protocol) links(items []Item) []link {
	if len(p.flows) == 0 {
		return nil
	}
	places := p.places(items)
	var out []link
	for n := range p.flows {
		f := &p.flows[n]
		asker, other := f.after, f.before
		if f.asks {
			asker, other = other, asker
		}
		for _, a := range places[asker] {
			if !f.asks && !items[a].waitsFor(p.Steps[f.before].Code) {
				continue
			}
			for _, o := range matching(items, places[other], items[a].Key.Repeat) {
				l := link{from: o, to: a, flow: f}
				if f.asks {
					l.from, l.to = a, o
				}
				if items[l.from].undone(items, l.from) && items[l.to].undone(items, l.to) && items[l.to].wants() {
					out = append(out, l)
				}
			}
		}
	}
	return out
}

// places lists the items of each step.
func (p *Protocol) places(items []Item) [][]int {
	out := make([][]int, len(p.Steps))
	for n := range items {
		if s, ok := p.index[items[n].Key.Step]; ok {
			out[s] = append(out[s], n)
		}
	}
	return out
}

// matching gives the items of the same repeat, else all.
func matching(items []Item, of []int, repeat string) []int {
	var own []int
	for _, n := range of {
		if repeat != "" && items[n].Key.Repeat == repeat {
			own = append(own, n)
		}
	}
	if own != nil {
		return own
	}
	return of
}

// waitsFor reports whether the item cannot open before the step is done.
func (i *Item) waitsFor(code string) bool {
	return slices.Contains(i.Waits, code) && (!i.Step.Window.OpensEarliest || len(i.Waits) == 1)
}

// undone reports whether the item is still to be done for this date, or failed:
// what follows it waits for it.
func (i *Item) undone(items []Item, place int) bool {
	replaced := place+1 < len(items) && items[place+1].Replaces > 0
	return i.Applies == Yes && (i.State.Waiting() || i.State == Missed) && !replaced
}

// wants reports whether time must be left for an item that is undone: not for
// one that failed, or whose day had passed when it was booked.
func (i *Item) wants() bool {
	return !i.TooLate && i.Entry.Outcome != Failed
}

// limit is the last day of an item: of its last moment, else of its due.
func (i *Item) limit() calendar.Date {
	if i.Last.IsZero() {
		return i.Due.Day
	}
	return i.Last.Day
}

// demand is what an item must leave time for: steps that follow, each after the
// one before, and the last day of the last of them.
type demand struct {
	codes []string
	end   calendar.Date
}

// sooner orders demands for the same day: the shorter chain, then by name.
func (d demand) sooner(o demand) bool {
	return cmp.Or(cmp.Compare(len(d.codes), len(o.codes)), slices.Compare(d.codes, o.codes), cmp.Compare(d.end, o.end)) < 0
}

// back carries the limits of items back along the links: to the last day of each
// that leaves time for what follows, and what makes it earlier than its own.
// Zero stands for no limit.
func back(latest []calendar.Date, items []Item, links []link, cal *calendar.Calendar) []demand {
	then := make([]demand, len(latest))
	for n := range then {
		then[n].end = latest[n]
	}
	for n := len(links) - 1; n >= 0; n-- {
		l := links[n]
		if latest[l.to].IsZero() {
			continue
		}
		day, had := l.earlier(latest[l.to], cal), latest[l.from]
		asked := demand{append([]string{items[l.to].Key.Step}, then[l.to].codes...), then[l.to].end}
		tie := day == had && then[l.from].codes != nil && asked.sooner(then[l.from])
		if had.IsZero() || day < had || tie {
			latest[l.from], then[l.from] = day, asked
		}
	}
	return then
}

// leave tells each item the last day that leaves time for what follows it.
func (pl *Plan) leave(p *Protocol, cal *calendar.Calendar) {
	links := p.links(pl.Items)
	if len(links) == 0 {
		return
	}
	latest := make([]calendar.Date, len(pl.Items))
	for n := range pl.Items {
		latest[n] = pl.Items[n].limit()
	}
	for n, then := range back(latest, pl.Items, links, cal) {
		if i := &pl.Items[n]; then.codes != nil && i.State.Waiting() {
			i.LeaveBy, i.LeaveFor = latest[n], then.codes
		}
	}
}

package oracle

import "slices"

// edge says that the second of two items can be done no sooner than a rule
// allows once the first is done: because it follows it, or because the first is
// due so long before it.
type edge struct {
	first, second int
	rule          Point
	dueBefore     bool
}

// edges finds them among the items that apply and are still to be done or have
// failed; nothing need be left for a second that failed or was booked too late.
func (p *planner) edges(items []Item, mustOnly bool) []edge {
	var list []edge
	for a := range items {
		for b := range items {
			first, second := items[a], items[b]
			if !p.unfinished(items, a) || !p.unfinished(items, b) || second.TooLate || second.failed() {
				continue
			}
			if mustOnly && (first.step.Need != Must || second.step.Need != Must) {
				continue
			}
			for _, point := range second.step.Opens {
				choice := second.step.OpensEarliest && len(second.Waits) > 1
				if point.From == first.Code && slices.Contains(second.Waits, first.Code) && !choice && concerns(items, first, second.Key) {
					list = append(list, edge{a, b, point, false})
				}
			}
			for _, point := range first.step.before(second.Code) {
				if concerns(items, second, first.Key) {
					list = append(list, edge{a, b, point, true})
				}
			}
		}
	}
	return list
}

// before lists the rules by which a step is due, or has its last day, before
// another; on the day itself only if it does not follow that.
func (s *Step) before(code string) []Point {
	follows := false
	for _, point := range s.Opens {
		follows = follows || point.From == code
	}
	by := slices.Clone(s.Due)
	if s.Last != nil {
		by = append(by, *s.Last)
	}
	var list []Point
	for _, point := range by {
		if point.From == code && (point.N < 0 || point.N == 0 && !follows) {
			list = append(list, point)
		}
	}
	return list
}

func (it Item) failed() bool { return it.entry != nil && it.entry.Kind == "failed" }

func (p *planner) unfinished(items []Item, n int) bool {
	it := items[n]
	last := n+1 == len(items) || items[n+1].Code != it.Code || items[n+1].Key != it.Key
	return last && it.Applies == Yes && (waiting(it.State) || it.State == "missed")
}

// concerns: of a step with an item of the same key only that one counts.
func concerns(items []Item, it Item, key string) bool {
	if key == "" || it.Key == key {
		return true
	}
	for _, other := range items {
		if other.Code == it.Code && other.Key == key {
			return false
		}
	}
	return true
}

// allows says whether the first may be done on one day and the second on another.
func (p *planner) allows(e edge, first, second Day) bool {
	if second < first {
		return false
	}
	if e.dueBefore {
		return first <= p.moment(Point{From: "day", N: e.rule.N, Unit: e.rule.Unit}, Item{Opens: Moment{Day: second}}).Day
	}
	return second >= p.moment(Point{From: "day", N: e.rule.N, Unit: e.rule.Unit}, Item{Opens: Moment{Day: first}}).Day
}

// earliest gives the first day for each item: today, when it opens, and what
// the others allow, gone over again until nothing changes.
func (p *planner) earliest(items []Item, edges []edge) []Day {
	list := make([]Day, len(items))
	for n, it := range items {
		list[n] = max(p.place.dateOf(p.now), it.Opens.Day)
	}
	for changed := true; changed; {
		changed = false
		for _, e := range edges {
			for !p.allows(e, list[e.first], list[e.second]) {
				list[e.second]++
				changed = true
			}
		}
	}
	return list
}

// demand is the last day on which an item can be done so that others can still
// follow, which they are, and the last day of the last of them.
type demand struct {
	day   Day
	codes []string
	end   Day
}

// demandOn goes down every way from an item.
func (p *planner) demandOn(n int, items []Item, edges []edge, own func(Item) Day) demand {
	best := demand{own(items[n]), nil, own(items[n])}
	for _, e := range edges {
		if e.first != n {
			continue
		}
		next := p.demandOn(e.second, items, edges, own)
		if next.day == 0 {
			continue
		}
		asked := demand{next.day, append([]string{items[e.second].Code}, next.codes...), next.end}
		for !p.allows(e, asked.day, next.day) {
			asked.day--
		}
		if best.day == 0 || asked.before(best) {
			best = asked
		}
	}
	return best
}

// before: the earlier day; for the same day its own rather than another's, then
// the fewer steps, then the names.
func (d demand) before(o demand) bool {
	switch {
	case d.day != o.day:
		return d.day < o.day
	case len(d.codes) != len(o.codes):
		return len(d.codes) < len(o.codes)
	case slices.Compare(d.codes, o.codes) != 0:
		return slices.Compare(d.codes, o.codes) < 0
	}
	return d.end < o.end
}

func lastOrDue(it Item) Day {
	if it.Last.none() {
		return it.Due.Day
	}
	return it.Last.Day
}

func lastOnly(it Item) Day { return it.Last.Day }

// network sets what each item that waits must leave time for, and between which
// days it can be done.
func (p *planner) network(items []Item) {
	edges := p.edges(items, false)
	earliest := p.earliest(items, edges)
	for n := range items {
		if it := &items[n]; waiting(it.State) && it.Applies == Yes {
			d := p.demandOn(n, items, edges, lastOrDue)
			it.Span = [2]Day{earliest[n], d.day}
			if d.codes != nil {
				it.LeaveBy, it.LeaveFor = d.day, d.codes
			}
		}
	}
}

// infeasible lists the musts of the preparation that cannot be done in time: the
// first of each chain of them, and those that could not be if the others were.
// How many days too late each is counts from the last day that would have left
// time to the first on which it can be done; from its last day to today if it
// failed, and from its due day to the booking if it was booked too late.
func (p *planner) infeasible(items []Item) []Missing {
	if p.c.Surgery == 0 || p.c.Cancelled {
		return nil
	}
	edges := p.edges(items, true)
	demands := make([]demand, len(items))
	for n := range items {
		demands[n] = p.demandOn(n, items, edges, lastOnly)
		items[n].mustBy, items[n].mustFor = demands[n].day, demands[n].codes
	}
	today := p.place.dateOf(p.now)
	late := func(n int) bool {
		it, by := items[n], demands[n].day
		if it.step.Need != Must || it.Applies != Yes || p.failedBefore(it) || by > p.c.Surgery {
			return false
		}
		return it.State == "missed" || waiting(it.State) && it.State != "paused" && by != 0 && (today > by || it.Opens.Day > by)
	}
	var held func(n int) bool // by another one that is late
	held = func(n int) bool {
		for _, e := range edges {
			if e.second == n && (late(e.first) || held(e.first)) {
				return true
			}
		}
		return false
	}
	var list []Missing
	for n, it := range items {
		if !late(n) || held(n) && it.Opens.Day <= demands[n].day {
			continue
		}
		m := Missing{Code: it.Code, Key: it.Key, Round: it.Round, Latest: demands[n].day}
		to := max(today, it.Opens.Day)
		switch {
		case it.TooLate:
			m.Latest, to = it.Due.Day, p.place.dateOf(p.c.Booked)
		case it.failed():
			m.Latest, to = lastOrDue(it), today
		case demands[n].codes != nil:
			m.Then = demands[n].codes
			for d := m.Latest; d < demands[n].end; d++ {
				m.Takes++
			}
		}
		for d := m.Latest; d > 0 && d < to; d++ {
			m.Days++
		}
		list = append(list, m)
	}
	return list
}

// fits says whether a step can be done before it is due and by its last day when
// all that it comes after is done on the first day possible.
func (p *planner) fits(code string) bool {
	var step *Step
	for i := range p.rules.Steps {
		if p.rules.Steps[i].Code == code {
			step = &p.rules.Steps[i]
		}
	}
	opens := p.firstDay(step)
	for _, point := range step.Due {
		if by := p.anchored(point); !by.none() && opens > by.Day {
			return false
		}
	}
	if step.Last != nil {
		if by := p.anchored(*step.Last); !by.none() && opens > by.Day {
			return false
		}
	}
	return true
}

// anchored is the moment of a rule that counts from no other step.
func (p *planner) anchored(point Point) Moment {
	if point.From != Surgery && point.From != Discharge {
		return Moment{}
	}
	return p.moment(point, Item{})
}

// firstDay is when a step opens once all that it comes after is done; no day if
// nothing says.
func (p *planner) firstDay(step *Step) Day {
	var opens Day
	first := step.OpensEarliest && len(step.Opens) > 1
	for n, point := range step.Opens {
		d := p.anchored(point).Day
		for i := range p.rules.Steps {
			if other := &p.rules.Steps[i]; other.Code == point.From && !first {
				d = p.firstAfter(other, edge{rule: point})
			}
		}
		if n == 0 || first && d < opens || !first && d > opens {
			opens = d // no day comes before all
		}
	}
	for i := range p.rules.Steps {
		other := &p.rules.Steps[i]
		for _, point := range other.before(step.Code) {
			opens = max(opens, p.firstAfter(other, edge{rule: point, dueBefore: true}))
		}
	}
	return opens
}

func (p *planner) firstAfter(other *Step, e edge) Day {
	first := p.firstDay(other)
	if first == 0 {
		return 0
	}
	second := first
	for !p.allows(e, first, second) {
		second++
	}
	return second
}

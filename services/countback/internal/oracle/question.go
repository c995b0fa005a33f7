package oracle

import (
	"fmt"
	"slices"
	"time"
)

// Safe answers "if not that day, when?".
type Safe struct {
	Day       Day // the first day that can be met; none within the horizon
	Run       int // so many operating days in a row can
	Fails     Day // the first day after these that cannot
	Obstacles []Obstacle
	Doubts    []Doubt
	Presses   []Pressing
	// The first day that can be met with everything done in its usual time, whether
	// something must be known for it, and what presses on it as on any other.
	InTime   Day
	InDoubt  bool
	Whatever []Pressing
}

// Obstacle is a must that stands in the way, and the first operating day from
// which on it does not, up to the day of the answer; no day if it always does.
type Obstacle struct {
	Code, Key string
	Clear     Day
}

// Doubt is a must that may turn out to apply, and its last moment on that day.
type Doubt struct {
	Code, Key string
	By        Moment
}

// Pressing is a must that nobody has done and that is late or soon due, with its
// due moment on that day, whether that is over, and until when it is of use.
type Pressing struct {
	Code, Key string
	Due       Moment
	Over      bool
	By        Moment
}

// Earliest tries each operating day in turn, from tomorrow to the horizon.
func Earliest(place *Place, rules Rules, c Case, now time.Time) Safe {
	today := place.dateOf(now)
	var tried []Day
	var plans []Plan
	for d := walk(today, 1); d <= walk(today, rules.Horizon); d++ {
		if place.open(d) {
			tried = append(tried, d)
			plans = append(plans, Make(place, rules, c.on(place, d), now))
		}
	}
	var safe Safe
	first := len(tried)
	for n, d := range tried {
		if len(plans[n].Infeasible) > 0 {
			if safe.Run > 0 {
				safe.Fails = d
				break
			}
			continue
		}
		if safe.Run == 0 {
			safe.Day, first = d, n
		}
		safe.Run++
	}
	for n := range first {
		for _, m := range plans[n].Infeasible {
			safe.obstacle(m, n, tried[:min(first+1, len(tried))])
		}
	}
	slices.SortFunc(safe.Obstacles, func(a, b Obstacle) int {
		if a.Clear != b.Clear { // the binding one first
			if a.Clear == 0 || b.Clear != 0 && a.Clear > b.Clear {
				return -1
			}
			return 1
		}
		return slices.Compare([]string{a.Code, a.Key}, []string{b.Code, b.Key})
	})
	if first < len(tried) {
		safe.Presses = on(place, rules, c, safe.Day, now).presses(plans[first].Items, Make(place, rules, c, now).Items)
		safe.Doubts = doubts(plans[first], safe.Day)
	}
	for n, d := range tried {
		p := on(place, rules, c, d, now)
		if n >= first && len(plans[n].Infeasible) == 0 && p.usual(plans[n].Items) {
			safe.InTime, safe.InDoubt, safe.Whatever = d, doubts(plans[n], d) != nil, p.presses(plans[n].Items, nil)
			break
		}
	}
	return safe
}

func on(place *Place, rules Rules, c Case, d Day, now time.Time) *planner {
	return &planner{place, rules, c.on(place, d), now, nil}
}

func doubts(plan Plan, d Day) (list []Doubt) {
	for _, it := range plan.Items {
		if it.Applies == Unknown && it.step.Need == Must && waiting(it.State) && it.Last.Day <= d {
			list = append(list, Doubt{it.Code, it.Key, it.Last})
		}
	}
	return list
}

// usual says whether no must before the day of surgery is late or to be warned of:
// by its due moment where that is counted from the day of surgery, otherwise by its
// last one.
func (p *planner) usual(items []Item) bool {
	for _, it := range items {
		if !p.before(it) {
			continue
		}
		moves := slices.ContainsFunc(it.step.Due, func(point Point) bool {
			return slices.Contains([]string{Surgery, Discharge, LastDose, EarliestDose}, point.From)
		})
		if !moves {
			it.Due = Moment{}
		}
		if p.warned(it) || p.over(it.Due) {
			return false
		}
	}
	return true
}

// before says whether an item is a must that is still to be done before the day of
// surgery, which what opens on that day is not.
func (p *planner) before(it Item) bool {
	return it.step.Need == Must && it.step.Trigger != holdRaised && it.Applies == Yes && waiting(it.State) &&
		p.by(it).Day <= p.c.Surgery && (it.Opens.none() || it.Opens.Day < p.c.Surgery)
}

// by is until when an item is of use, for itself and for what must still follow.
func (p *planner) by(it Item) Moment {
	if it.mustFor != nil {
		return Moment{Day: it.mustBy}
	}
	return it.Last
}

// presses lists the musts before surgery that wait and are late as things stand, or
// that are late or to be warned of with surgery on the day in question.
func (p *planner) presses(then, now []Item) []Pressing {
	isLate := func(it Item) bool {
		for _, other := range now {
			if other.Code == it.Code && other.Key == it.Key && other.Applies == Yes &&
				(other.State == "missed" || waiting(other.State) && p.over(other.Due)) {
				return true
			}
		}
		return false
	}
	var list []Pressing
	for _, it := range then {
		if p.before(it) && (p.warned(it) || p.over(it.Due) || isLate(it)) {
			list = append(list, Pressing{it.Code, it.Key, it.Due, p.over(it.Due), p.by(it)})
		}
	}
	return list
}

// holdRaised is the event of a hold, which is told as what must be known.
const holdRaised = "hold-raised"

// obstacle notes that a must stood in the way of the nth day tried, so that it
// is clear on the next at the soonest.
func (s *Safe) obstacle(m Missing, n int, tried []Day) {
	var next Day
	if n+1 < len(tried) {
		next = tried[n+1]
	}
	for i := range s.Obstacles {
		if o := &s.Obstacles[i]; o.Code == m.Code && o.Key == m.Key {
			o.Clear = next
			return
		}
	}
	s.Obstacles = append(s.Obstacles, Obstacle{m.Code, m.Key, next})
}

// on is the case with surgery on another day at the same time of day, whatever
// ended or holds it now.
func (c Case) on(place *Place, d Day) Case {
	c.Surgery, c.Held, c.Cancelled = d, false, false
	c.Arrived, c.Left = time.Time{}, time.Time{}
	if !c.Start.IsZero() {
		seconds := time.Duration(c.Start.Second()) * time.Second
		c.Start = place.reaches(wall{d, place.shows(c.Start).minute}).Add(seconds)
	}
	return c
}

// Changes lists what a plan alters in the items that were there before: first
// what is in it, in its order, then what no longer is.
func Changes(old, now Plan) []string {
	var list []string
	for _, it := range now.Items {
		was, found := find(old, it)
		switch {
		case !found && it.Round > 1:
			list = append(list, "reopened "+it.name())
		case !found:
			list = append(list, "added "+it.name())
		case was.dates() != it.dates():
			list = append(list, "moved "+it.name())
		case was.State != it.State || was.Applies != it.Applies:
			list = append(list, "turned "+it.name())
		}
	}
	for _, it := range old.Items {
		if _, found := find(now, it); !found && waiting(it.State) {
			list = append(list, "dropped "+it.name())
		}
	}
	return list
}

func (it Item) name() string { return fmt.Sprintf("%s/%s/%d", it.Code, it.Key, it.Round) }

func find(plan Plan, it Item) (Item, bool) {
	for _, other := range plan.Items {
		if other.name() == it.name() {
			return other, true
		}
	}
	return Item{}, false
}

func (it Item) dates() string {
	return fmt.Sprint(it.Opens.words(time.UTC), it.Due.words(time.UTC), it.Last.words(time.UTC), it.Waits, it.LeaveBy, it.LeaveFor, it.Compressed, it.TooLate)
}

// stands says where everything stands that time alone may change.
func (plan Plan) stands() string {
	text := plan.State + plan.Discharge.words(time.UTC)
	for _, it := range plan.Items {
		text += " " + it.State + it.Record
	}
	for _, m := range plan.Infeasible {
		text += fmt.Sprint(" ", m.Code, m.Key, m.Round, m.Latest, m.Then)
	}
	return text + fmt.Sprint(plan.Doubtful, plan.Unreported)
}

// words writes a day, or an instant in a zone.
func (m Moment) words(zone *time.Location) string {
	if m.none() || m.At.IsZero() {
		return m.Day.String()
	}
	return m.At.In(zone).Format(time.RFC3339)
}

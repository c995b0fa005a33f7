package oracle

import (
	"slices"
	"time"
)

// planner is a plan in the making.
type planner struct {
	place *Place
	rules Rules
	c     Case
	now   time.Time
	known map[string][]Item // the items of a step, once they are worked out
}

// discharge is when the person left, or is expected to leave after the planned
// stay. Nobody knows it of someone who arrived and is past that hour.
func (p *planner) discharge() Moment {
	if !p.c.Left.IsZero() {
		return Moment{p.place.dateOf(p.c.Left), p.c.Left}
	}
	if p.c.Surgery == 0 {
		return Moment{}
	}
	planned := -1
	for i, stay := range p.rules.Stays {
		if stay.Default && planned < 0 {
			planned = i
		}
	}
	for i, stay := range p.rules.Stays {
		if stay.Code == p.c.Stay {
			planned = i
		}
	}
	if planned < 0 {
		return Moment{}
	}
	stay := p.rules.Stays[planned]
	expected := p.atClock(walk(p.c.Surgery, stay.Days), &stay.At)
	if !p.c.Arrived.IsZero() && p.over(expected) {
		return Moment{}
	}
	return expected
}

// from gives what a rule of an item counts from: a day, with the instant if
// that is known. A day rule counts from the day of surgery, an hour rule from
// the start of anaesthesia.
func (p *planner) from(point Point, it Item) Moment {
	switch point.From {
	case Booking:
		if p.c.Booked.IsZero() {
			return Moment{}
		}
		return Moment{p.place.dateOf(p.c.Booked), p.c.Booked}
	case Surgery:
		return Moment{p.c.Surgery, p.c.Start}
	case Discharge:
		return p.discharge()
	case Raised:
		return Moment{p.place.dateOf(it.raised), it.raised}
	case FirstPaused:
		return p.firstPaused(it)
	case "day": // on which something else was done
		return Moment{Day: it.Opens.Day}
	}
	day, _ := p.followed(point.From, it.Key)
	return Moment{Day: day}
}

// moment carries out one rule; there is none if what it counts from is not
// known.
func (p *planner) moment(point Point, it Item) Moment {
	from := p.from(point, it)
	if from.none() {
		return Moment{}
	}
	day := from.Day
	switch point.Unit {
	case Minutes, Hours:
		if from.At.IsZero() {
			return Moment{}
		}
		size := time.Minute
		if point.Unit == Hours {
			size = time.Hour
		}
		at := from.At.Add(time.Duration(point.N) * size)
		return Moment{p.place.dateOf(at), at}
	case BusinessDays:
		day = p.place.walkOpen(day, point.N)
		if raised := p.place.dateOf(it.raised); point.From == FirstPaused && day < raised {
			day = raised // at once
		}
	case Weeks:
		day = walk(day, point.N*7)
	case Months:
		day = walkMonths(day, point.N)
	case Days:
		day = walk(day, point.N)
	}
	return p.atClock(day, point.At)
}

// firstPaused is the first day, from that of the raising on, on which a step that
// a hold pauses would be begun: when it opens if that is counted from surgery,
// else when it is due.
func (p *planner) firstPaused(raised Item) Moment {
	first := Moment{}
	from := p.place.dateOf(raised.raised)
	for i := range p.rules.Steps {
		step := &p.rules.Steps[i]
		if !step.Pauses || step.When.answer(p.c.Facts) == No {
			continue
		}
		keys := []string{""}
		if step.Repeat != "" {
			keys = p.c.Repeats[step.Repeat]
		}
		for _, key := range keys {
			it := Item{Code: step.Code, Key: key, step: step, raised: raised.raised}
			begins := &it.Due
			if slices.ContainsFunc(step.Opens, func(point Point) bool { return point.From == Surgery }) {
				p.opening(&it)
				begins = &it.Opens
			} else {
				p.due(&it)
			}
			if !begins.none() && begins.Day >= from && (first.none() || begins.Day < first.Day) {
				first = Moment{Day: begins.Day}
			}
		}
	}
	return first
}

// atClock is a time on a day, or without one the whole day.
func (p *planner) atClock(day Day, at *Clock) Moment {
	if at == nil {
		return Moment{Day: day}
	}
	return Moment{day, p.place.reaches(wall{day, at.Hour*60 + at.Minute})}
}

// starts is the first instant of a moment, ends the first instant after it.
func (p *planner) starts(m Moment) time.Time {
	if m.At.IsZero() {
		return p.place.reaches(wall{m.Day, 0})
	}
	return m.At
}

func (p *planner) ends(m Moment) time.Time {
	if m.At.IsZero() {
		return p.place.reaches(wall{m.Day + 1, 0})
	}
	return m.At
}

// window dates an item.
func (p *planner) window(it *Item) {
	p.opening(it)
	p.due(it)
	p.last(it)
	if !it.Due.none() && !p.c.Booked.IsZero() && it.Due.Day < p.place.dateOf(p.c.Booked) {
		it.Compressed, it.TooLate = !it.step.Fixed, it.step.Fixed
	}
}

// opening is the latest of the moments at which an item opens (the earliest,
// if the step says so). With the latest it waits for what it follows; with the
// earliest only as long as nothing else opens it.
func (p *planner) opening(it *Item) {
	for _, point := range it.step.Opens {
		if !isAnchor(point.From) {
			if _, waits := p.followed(point.From, it.Key); waits {
				it.Waits = append(it.Waits, point.From)
				continue
			}
		}
		opens := p.moment(point, *it)
		if opens.none() {
			continue
		}
		if it.Opens.none() || p.later(opens, it.Opens) != it.step.OpensEarliest {
			it.Opens = opens
		}
	}
	if it.step.OpensEarliest && !it.Opens.none() {
		it.Waits = nil
	}
}

// later says whether a moment begins after another. Midnight is taken to be
// later than the day that it begins.
func (p *planner) later(a, b Moment) bool {
	if p.starts(a).Equal(p.starts(b)) {
		return !a.At.IsZero() && b.At.IsZero()
	}
	return p.starts(a).After(p.starts(b))
}

// sooner says whether a moment ends before another. A day is taken to be sooner
// than the midnight that ends it.
func (p *planner) sooner(a, b Moment) bool {
	if p.ends(a).Equal(p.ends(b)) {
		return a.Day < b.Day
	}
	return p.ends(a).Before(p.ends(b))
}

func isAnchor(from string) bool {
	return from == Booking || from == Surgery || from == Discharge || from == Raised || from == FirstPaused || from == LastDose || from == EarliestDose
}

// followed says when the step of that code was last done, and whether it must
// be waited for. Of a step with an item of the same key only that one counts,
// and of several rounds the last.
func (p *planner) followed(code, key string) (done Day, waits bool) {
	items := p.itemsOf(code)
	var own []Item
	for _, other := range items {
		if other.Key == key {
			own = append(own, other)
		}
	}
	if key != "" && len(own) > 0 {
		items = own
	}
	for i, other := range items {
		if i+1 < len(items) && items[i+1].Key == other.Key {
			continue
		}
		switch other.State {
		case "done":
			if other.entry.Done > done {
				done = other.entry.Done
			}
		case "missed":
			waits = waits || other.Applies != No
		case "upcoming", "open", "due", "late", "paused":
			waits = waits || other.Applies == Yes
		}
	}
	return done, waits
}

// due is the earliest of the moments at which an item is due. What staff do on
// a day moves from a closed one to the business day before it, if that is in
// the window.
func (p *planner) due(it *Item) {
	var rule Point
	for _, point := range it.step.Due {
		due := p.moment(point, *it)
		if due.none() {
			continue
		}
		if it.Due.none() || p.sooner(due, it.Due) {
			it.Due, rule = due, point
		}
	}
	if it.Due.none() || !it.step.Staff || it.step.Fixed || rule.Unit == Hours || rule.Unit == Minutes {
		return
	}
	day := it.Due.Day
	for !p.place.open(day) {
		day--
	}
	moved := p.atClock(day, rule.At)
	if day >= it.Opens.Day && (moved.At.IsZero() || it.Opens.none() || !moved.At.Before(p.starts(it.Opens))) {
		it.Due = moved
	}
}

// last is the last day, or moment, on which doing it still helps.
func (p *planner) last(it *Item) {
	step := it.step
	onTheDay := false
	for _, point := range step.Due {
		if point.From == Surgery && point.N <= 0 && !it.Due.none() && it.Due.Day == p.c.Surgery {
			onTheDay = true
		}
	}
	switch {
	case step.Last != nil:
		it.Last = p.moment(*step.Last, *it)
	case step.Fixed:
		it.Last = it.Due
	case onTheDay && !it.Due.At.IsZero():
		it.Last = it.Due
	case !step.preparation():
	case onTheDay:
		it.Last = it.Due
	case it.Due.none() && step.dueByHours():
	case p.c.Surgery != 0:
		it.Last = Moment{Day: walk(p.c.Surgery, -1)}
	}
}

// dueByHours: such a step has no due, and so no last, until the hour is known.
func (s *Step) dueByHours() bool {
	for _, point := range s.Due {
		if point.Unit == Hours || point.Unit == Minutes {
			return true
		}
	}
	return false
}

// preparation says whether the step belongs to the time before surgery.
func (s *Step) preparation() bool {
	if s.Trigger != "" {
		return false
	}
	for _, point := range s.Opens {
		if point.From == Discharge || point.From == Surgery && point.N >= 0 {
			return false
		}
	}
	for _, point := range s.Due {
		if point.From == Discharge || point.From == Surgery && point.N > 0 {
			return false
		}
	}
	return true
}

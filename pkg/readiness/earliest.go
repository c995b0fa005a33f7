package readiness

import (
	"slices"
	"sort"
	"time"

	"example.org/countback/pkg/calendar"
)

// Safe is the answer to "if not that day, when?".
type Safe struct {
	Day calendar.Date // the first operating day that can be met; zero: none within the horizon
	Run int           // how many operating days in a row can, from that day on
	// Fails is the first operating day after these that cannot; zero: none within
	// the horizon.
	Fails calendar.Date
	// InTime is the first operating day that can be met and for which nothing that
	// is counted from the day of surgery is late or soon due, so that everything can
	// be done in its usual time. Zero: none within the horizon.
	InTime calendar.Date
	// Anyway is what is late or soon due with surgery on that day as on any other,
	// because it is counted from something else.
	Anyway []Pressing
	// InTimeDoubt: something must still be known for that day, as Unknown says of Day.
	InTimeDoubt bool
	// Obstacles are what stands in the way of the days before, each with the
	// first day from which on it no longer does; the binding one first.
	Obstacles []Obstacle
	// Unknown says what must be known for the answer to hold, and by when.
	Unknown []Doubt
	// Pressing is what must be done for the answer to hold and is late or soon
	// due, and by when, in the protocol's order.
	Pressing []Pressing
}

// Conditional reports whether the day holds only if something becomes known: it
// is the first that may do, and none that will.
func (s *Safe) Conditional() bool { return len(s.Unknown) > 0 }

// Obstacle is one reason why a day cannot be met.
type Obstacle struct {
	Key    Key           // of the item; of a ground, that of the step which releases holds, repeated by its record
	Ground string        // the ground in plain words; empty for an item
	Clear  calendar.Date // zero: not within the horizon
	// Assumed: nobody has named the ground's end, and Clear counts from today.
	Assumed bool
}

// Doubt is a fact that is not known yet and could add a must.
type Doubt struct {
	Key   Key
	Needs []string
	By    Moment // the last moment of that must, on the day of the answer
	// Do: if it applies it must be done by then as well, so that who learns it at
	// the last moment has no time left.
	Do bool
}

// Within says by when it must be known, in words, and that what turns out to apply
// must then be done by the same moment.
func (d Doubt) Within() string {
	if !d.Do {
		return d.By.Words()
	}
	return d.By.Words() + ", and then done by " + d.By.Words()
}

// Earliest tries every operating day from tomorrow to the horizon in turn, the
// start of anaesthesia kept at the same time of day. A day can be met when no
// must of the preparation would be past its last day, no must that is fixed
// would be too late, and nothing in the records is too near by its own days. A
// hold that a person has to release first, and a ground whose end nobody has
// named, which is counted as over today, are told as what must be known, and
// what is late or soon due as what must be done. What is done on the day of
// surgery itself is no condition of a day. The answer is not monotone: a
// later day may fail again, so Run says how far it holds.
func Earliest(c *Case, p *Protocol, cal *calendar.Calendar, now time.Time) Safe {
	s := search{c: c, p: p, cal: cal, now: now, today: cal.DateOf(now), stands: obstacles{}}
	for day := s.today.Add(1); day <= s.today.Add(p.Horizon) && !s.ended(); day = day.Add(1) {
		if cal.IsOperatingDay(day) {
			s.try(day)
		}
	}
	for _, o := range s.stands {
		o.Ground, o.Assumed = c.groundWords(o.Key, s.today)
		s.out.Obstacles = append(s.out.Obstacles, *o)
	}
	sort.Slice(s.out.Obstacles, func(i, j int) bool { return s.out.Obstacles[i].binds(s.out.Obstacles[j]) })
	return s.out
}

// search tries one day after the other.
type search struct {
	c      *Case
	p      *Protocol
	cal    *calendar.Calendar
	now    time.Time
	today  calendar.Date
	stands obstacles
	out    Safe
}

// ended reports whether no further day changes the answer.
func (s *search) ended() bool { return !s.out.Fails.IsZero() && !s.out.InTime.IsZero() }

func (s *search) try(day calendar.Date) {
	try := s.c.on(day, s.cal)
	plan, m := makeMusts(&try, s.p, s.cal, s.now)
	grounds := s.c.blocked(s.p, day, s.today)
	first := s.out.Day.IsZero()
	if len(plan.Infeasible)+len(grounds) > 0 {
		switch {
		case first:
			s.stands.meet(plan.Infeasible, grounds, day)
		case s.out.Fails.IsZero():
			s.out.Fails = day // the run ends
		}
		return
	}
	doubts := func() []Doubt {
		return slices.Concat(s.c.unended(s.p, day, s.today), s.c.unreleased(s.p, day), plan.unknownMusts())
	}
	if first {
		s.out.Day, s.out.Unknown = day, doubts()
		s.out.Pressing = m.pressing(s.c, s.now)
		s.stands.meet(nil, nil, day)
	}
	if s.out.Fails.IsZero() {
		s.out.Run++
	}
	if s.out.InTime.IsZero() && m.calm(s.now) {
		s.out.InTime, s.out.InTimeDoubt = day, len(doubts()) > 0
		s.out.Anyway = m.list(s.now, func(n int) bool { return m.presses(n, s.now) })
	}
}

// obstacles are what stood in the way of the days tried so far, whatever the
// round: another date may need another one.
type obstacles map[Key]*Obstacle

// meet notes what stands in the way of a day. What no longer does is clear from
// then on, unless it comes back.
func (o obstacles) meet(reasons []Reason, grounds map[Key]bool, day calendar.Date) {
	failing := map[Key]bool{}
	for _, r := range reasons {
		key := Key{Step: r.Key.Step, Repeat: r.Key.Repeat}
		failing[key] = true
		o[key] = &Obstacle{Key: r.Key}
	}
	for key := range grounds {
		failing[key] = true
		o[key] = &Obstacle{Key: key}
	}
	for key, at := range o {
		if at.Clear.IsZero() && !failing[key] {
			at.Clear = day
		}
	}
}

// binds orders obstacles: never cleared first, then the latest, then by name.
func (o Obstacle) binds(b Obstacle) bool {
	if o.Clear != b.Clear {
		return o.Clear.IsZero() || !b.Clear.IsZero() && o.Clear > b.Clear
	}
	if o.Key.Step != b.Key.Step {
		return o.Key.Step < b.Key.Step
	}
	return o.Key.Repeat < b.Key.Repeat
}

// on is the case as it would be with the operation on another day, at the same
// time of day. What ended or held it does not count: the question is the date.
func (c *Case) on(day calendar.Date, cal *calendar.Calendar) Case {
	out := *c
	out.Day, out.Held, out.Ending = day, false, Running
	out.Arrived, out.Left, out.Operated, out.Seen = time.Time{}, time.Time{}, time.Time{}, ""
	if !c.Start.IsZero() {
		h, m, s := c.Start.In(cal.Zone()).Clock()
		out.Start = cal.At(day, h, m).Add(time.Duration(s) * time.Second)
	}
	return out
}

// unknownMusts lists the musts of the preparation that are in doubt.
func (pl *Plan) unknownMusts() []Doubt {
	var out []Doubt
	for n := range pl.Items {
		i := &pl.Items[n]
		if i.Applies == Unknown && i.Step.Need == Must && i.State.Waiting() && i.Last.Day <= pl.Day {
			out = append(out, Doubt{Key: i.Key, Needs: i.Needs, By: i.Last, Do: true})
		}
	}
	return out
}

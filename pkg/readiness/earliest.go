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
}

// Earliest tries every operating day from tomorrow to the horizon in turn, the
// start of anaesthesia kept at the same time of day. A day can be met when no
// must of the preparation would be past its last day, no must that is fixed
// would be too late, and nothing in the records is too near by its own days. A
// hold that a person has to release first, and a ground whose end nobody has
// named, which is counted as over today, are told as what must be known, and
// what is late or soon due as what must be done. The answer is not monotone: a
// later day may fail again, so Run says how far it holds.
func Earliest(c *Case, p *Protocol, cal *calendar.Calendar, now time.Time) Safe {
	var out Safe
	stands := obstacles{}
	today := cal.DateOf(now)
	for day := today.Add(1); day <= today.Add(p.Horizon); day = day.Add(1) {
		if !cal.IsOperatingDay(day) {
			continue
		}
		try := c.on(day, cal)
		plan := makeMusts(&try, p, cal, now)
		grounds := c.blocked(p, day, today)
		if len(plan.Infeasible)+len(grounds) > 0 {
			if !out.Day.IsZero() {
				break // the run ends
			}
			stands.meet(plan.Infeasible, grounds, day)
			continue
		}
		if out.Run++; out.Run == 1 {
			out.Day = day
			out.Unknown = slices.Concat(c.unended(p, day, today), c.unreleased(p, day), plan.unknownMusts())
			out.Pressing = plan.pressing(&try, c, p, cal, now)
			stands.meet(nil, nil, day)
		}
	}
	for _, o := range stands {
		o.Ground, o.Assumed = c.groundWords(o.Key, today)
		out.Obstacles = append(out.Obstacles, *o)
	}
	sort.Slice(out.Obstacles, func(i, j int) bool { return out.Obstacles[i].binds(out.Obstacles[j]) })
	return out
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
			out = append(out, Doubt{Key: i.Key, Needs: i.Needs, By: i.Last})
		}
	}
	return out
}

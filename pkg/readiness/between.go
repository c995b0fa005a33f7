package readiness

import (
	"slices"
	"time"

	"example.org/countback/pkg/calendar"
)

// Between is the time since a case was last planned, over which nobody planned it
// although time alone would have changed it.
type Between struct {
	From time.Time // the next change that the last plan told
	Now  time.Time
	// Grounds are those of the records as they stand at a moment, and Next is when
	// they next change with time alone after it (zero: never). What is known now
	// counts as known all along.
	Grounds func(at time.Time) []Ground
	Next    func(at time.Time) time.Time
}

// CarryOn carries the holds of a case on from the last plan to just before now, at
// every moment at which time alone may have changed them: a hold that was due in
// between stands now, also where the operation has begun by the clock since. pl is
// the plan of now as if nothing held the case. Where nothing lies between, it gives
// the holds as they stood and passed is false.
//
// A hold that comes to the case this way was raised now, when somebody could first
// be told: Raised is now, and Stood the moment at which it should have been.
//
// The moments are those of items, medicines and records, a few of each, and none is
// looked at twice; so a sleep of years costs no more than the plan has turns. After
// the operation has begun by the clock with nothing open nothing can come any more,
// and the walk ends.
func (c *Case) CarryOn(b Between, pl *Plan, p *Protocol, cal *calendar.Calendar) (holds []Hold, passed bool) {
	if c.Ending != Running || b.From.IsZero() || !b.From.Before(b.Now) || pl.quiet(p, cal, b.From, b.Now) {
		return c.Holds, false
	}
	free := *c
	free.Held = false
	most := perItem*(len(pl.Items)+len(c.Proofs)+len(c.Medicines)) + perItem*len(b.Grounds(b.From)) + perItem
	for at := b.From; most > 0 && !at.IsZero() && at.Before(b.Now); most-- {
		then := Make(&free, p, cal, at)
		of, next := ItemGrounds(then, &free, p, cal, at)
		free.Holds = Holds(free.Holds, slices.Concat(b.Grounds(at), of), &free, p, at)
		if free.begun(free.Holds, at) {
			break
		}
		at = earlier(earlier(then.NextChange, next), b.Next(at))
	}
	return asOf(c.Holds, free.Holds, b.Now), true
}

// perItem is the most turns that one item, record or medicine has: its opening, its
// warning, its due and its last moment, and the day that a record of it names.
const perItem = 5

// quiet reports whether nothing of the plan turns after a moment and until now, on
// one day; a day that begins may always turn something.
func (pl *Plan) quiet(p *Protocol, cal *calendar.Calendar, from, now time.Time) bool {
	if cal.DateOf(from) != cal.DateOf(now) {
		return false
	}
	within := func(t time.Time) bool { return t.After(from) && !t.After(now) }
	if within(pl.Start) || within(pl.Discharge.At) {
		return false
	}
	for n := range pl.Items {
		turns := pl.Items[n].turns(p, cal)
		if slices.ContainsFunc(turns[:], within) {
			return false
		}
	}
	for _, a := range pl.Medicines {
		if within(a.Medicine.Last.At) {
			return false
		}
	}
	return true
}

// asOf lets what came and went since before have done so now.
func asOf(before, after []Hold, now time.Time) []Hold {
	for n := range after {
		h := &after[n]
		switch {
		case n >= len(before):
			h.Stood, h.Raised = h.Raised, now
			if !h.Open() {
				h.Until, h.Ended = h.Ended, now
			}
		case before[n].Open() && !h.Open():
			h.Until, h.Ended = h.Ended, now
		}
	}
	return after
}

// earlier is the earlier of two moments of which either may be none.
func earlier(a, b time.Time) time.Time {
	if a.IsZero() || !b.IsZero() && b.Before(a) {
		return b
	}
	return a
}

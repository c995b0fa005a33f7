package readiness_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/countback/pkg/readiness"
)

// slept is a drawn case with what may hold it: rules on its items, and grounds in
// its records of which each stands from a moment on, or only for a while.
type slept struct {
	situation
	grounds []passing
}

// passing is a ground that nobody wrote before it was known, and that time changes.
type passing struct {
	readiness.Ground
	from, until time.Time
}

func (s *slept) at(now time.Time) (out []readiness.Ground) {
	for _, g := range s.grounds {
		g.Active = !now.Before(g.from) && now.Before(g.until)
		out = append(out, g.Ground)
	}
	return out
}

func (s *slept) turns(now time.Time) (next time.Time) {
	for _, g := range s.grounds {
		for _, at := range []time.Time{g.from, g.until} {
			if at.After(now) && (next.IsZero() || at.Before(next)) {
				next = at
			}
		}
	}
	return next
}

func (w world) drawSlept(t *rapid.T) *slept {
	s := &slept{situation: w.draw(t)}
	s.c.Held = false
	s.c.Dated = s.c.Booked
	release := step("release", readiness.Window{})
	release.Trigger = readiness.TriggerHold
	steps := append(slices.Clone(s.p.Steps), release)
	watched := steps[rapid.IntRange(0, len(steps)-2).Draw(t, "watched")].Code
	p, err := readiness.NewProtocol(readiness.Protocol{
		URL: s.p.URL, Version: "1", Stays: s.p.Stays, DueWarning: s.p.DueWarning, Steps: steps,
		ItemHolds: []readiness.ItemHold{
			{Kind: timing, Steps: []string{watched}, Missed: "not confirmed", Later: "late"},
			{Kind: evidence, Missed: "not done", Expired: "too old", Left: rapid.IntRange(1, 8).Draw(t, "left days"), Supplied: true},
		},
	})
	require.NoError(t, err)
	s.p = p
	for n := range rapid.IntRange(0, 3).Draw(t, "grounds") {
		from := s.cal.StartOf(s.cal.DateOf(s.c.Booked).Add(rapid.IntRange(0, 90).Draw(t, "from")))
		until := s.cal.StartOf(s.cal.DateOf(from).Add(rapid.IntRange(1, 90).Draw(t, "until")))
		kind := rapid.SampledFrom([]string{"infection", "dental", evidence}).Draw(t, "kind")
		g := readiness.Ground{Kind: kind, Record: fmt.Sprintf("Record/%d", n), Says: "something"}
		s.grounds = append(s.grounds, passing{g, from, until})
	}
	return s
}

// carry plans the case as a service does, after a sleep that began with from (zero:
// there was none), and gives the plan and the next change.
func (s *slept) carry(holds []readiness.Hold, from, now time.Time) (*readiness.Plan, []readiness.Hold, time.Time) {
	c := s.c
	c.Holds = holds
	free := c
	pl := readiness.Make(&free, s.p, s.cal, now)
	if !from.IsZero() {
		free.Holds, _ = free.CarryOn(readiness.Between{From: from, Now: now, Grounds: s.at, Next: s.turns}, pl, s.p, s.cal)
		pl = readiness.Make(&free, s.p, s.cal, now)
	}
	of, next := readiness.ItemGrounds(pl, &free, s.p, s.cal, now)
	c.Grounds = append(s.at(now), of...)
	c.Holds = readiness.Holds(free.Holds, c.Grounds, &c, s.p, now)
	c.Hold(s.p)
	if len(c.Holds) > 0 {
		pl = readiness.Make(&c, s.p, s.cal, now)
	}
	for _, at := range []time.Time{pl.NextChange, s.turns(now)} {
		if !at.IsZero() && (next.IsZero() || at.Before(next)) {
			next = at
		}
	}
	return pl, c.Holds, next
}

// open says the holds without when they came: kind, grounds, and whether they stand.
func open(holds []readiness.Hold) (out []string) {
	for _, h := range holds {
		out = append(out, fmt.Sprint(h.Key, " ", h.Kind, " ", h.Records, " ", h.Open(), " ", h.How))
	}
	slices.Sort(out)
	return out
}

// However long a service was down, and over whatever it slept, the plan it makes
// then is that of one which planned at every change: its holds, what they pause, and
// where the case stands.
func TestASleepChangesNoHold(t *testing.T) {
	w := newWorld(t)
	held, ended := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		s := w.drawSlept(t)
		begin := s.c.Booked
		end := s.now.Add(time.Duration(rapid.IntRange(0, 400).Draw(t, "asleep")) * 24 * time.Hour)
		if end.Before(begin) {
			end = begin
		}
		_, awake, next := s.carry(nil, time.Time{}, begin)
		atDawn, from := awake, next
		for n := 0; !next.IsZero() && !next.After(end); n++ {
			require.Less(t, n, 500)
			_, awake, next = s.carry(awake, time.Time{}, next)
		}
		one, awake, _ := s.carry(awake, time.Time{}, end)
		if from.After(end) {
			from = time.Time{}
		}
		other, woken, _ := s.carry(atDawn, from, end)
		require.Equal(t, open(awake), open(woken))
		require.Equal(t, states(one), states(other))
		for n, h := range woken {
			require.False(t, h.Raised.After(end))
			require.True(t, h.Stood.IsZero() || n >= len(atDawn) && h.Raised.Equal(end) && h.Stood.Before(end), "raised when somebody could be told, and it says since when it stood")
		}
		for _, h := range woken {
			if h.Open() && s.c.Start.Before(end) {
				held++
			}
			if !h.Open() {
				ended++
			}
		}
	})
	require.Greater(t, held, 10, "none was held past its hour")
	require.Positive(t, ended)
}

// Where nothing lies between, nothing is carried on and no plan is made for it.
func TestNothingBetween(t *testing.T) {
	cal := chicago(t)
	p := watching(t)
	c := surgeryOn(t, cal, theDay)
	c.Medicines = nil
	for _, r := range []struct {
		name, from, now string
		passed          bool
	}{
		{"it is planned in time", "2026-11-27 00:00:00", "2026-11-27 00:00:00", false},
		{"a second late", "2026-11-27 00:00:00", "2026-11-27 00:00:01", false},
		{"a change is still to come", "2026-11-28 00:00:00", "2026-11-27 09:00:00", false},
		{"there is none", "", "2026-11-27 09:00:00", false},
		{"until the hour of surgery", "2026-11-30 00:00:00", "2026-11-30 07:29:59", false},
		{"over the hour of surgery", "2026-11-30 00:00:00", "2026-11-30 07:30:00", true},
		{"over midnight", "2026-11-27 23:59:59", "2026-11-28 00:00:00", true},
	} {
		t.Run(r.name, func(t *testing.T) {
			seconds := func(s string) time.Time {
				if s == "" {
					return time.Time{}
				}
				at, err := time.ParseInLocation(time.DateTime, s, cal.Zone())
				require.NoError(t, err)
				return at
			}
			now := seconds(r.now)
			pl := readiness.Make(&c, p, cal, now)
			made := 0
			between := readiness.Between{From: seconds(r.from), Now: now,
				Grounds: func(time.Time) []readiness.Ground { made++; return nil }, Next: func(time.Time) time.Time { return time.Time{} }}
			_, passed := c.CarryOn(between, pl, p, cal)
			require.Equal(t, r.passed, passed)
			require.Equal(t, r.passed, made > 0)
		})
	}
}

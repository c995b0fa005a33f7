package readiness_test

import (
	"fmt"
	"maps"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// calendars and the condition are made once: rapid draws thousands of cases.
type world struct {
	calendars  []*calendar.Calendar
	conditions []*readiness.Condition
}

func newWorld(t *testing.T) world {
	return world{
		calendars: []*calendar.Calendar{
			chicago(t), facility(t, "Pacific/Kiritimati", "none"),
			facility(t, "America/St_Johns", "us-federal"), facility(t, "Europe/London", "england"),
		},
		conditions: []*readiness.Condition{nil, nil, condition(t, "pets"), condition(t, "pets && asks"), condition(t, "clearance <= 50.0")},
	}
}

// situation is one drawn protocol, case and moment.
type situation struct {
	p   *readiness.Protocol
	c   readiness.Case
	cal *calendar.Calendar
	now time.Time
}

func (s *situation) plan(now time.Time) *readiness.Plan { return readiness.Make(&s.c, s.p, s.cal, now) }

func (w world) draw(t *rapid.T) situation {
	s := situation{cal: rapid.SampledFrom(w.calendars).Draw(t, "calendar")}
	var steps []readiness.Step
	count := rapid.IntRange(3, 8).Draw(t, "steps")
	for n := range count {
		steps = append(steps, w.step(t, n))
	}
	var err error
	s.p, err = readiness.NewProtocol(readiness.Protocol{
		URL: "http://hospital.example/protocol", Version: "1", Stays: stays, Steps: steps,
		DueWarning: time.Duration(rapid.IntRange(0, 96).Draw(t, "warning")) * time.Hour,
	})
	if err != nil {
		t.Skip("a window that is empty in every calendar")
	}
	first := calendar.NewDate(2026, 9, 1)
	s.c = readiness.Case{Day: first.Add(rapid.IntRange(0, 420).Draw(t, "day")), Held: rapid.IntRange(0, 4).Draw(t, "held") == 0}
	s.c.Booked = instant(t, s.cal, s.c.Day.Add(-rapid.IntRange(1, 80).Draw(t, "booked")))
	s.c.Start = s.cal.At(s.c.Day, rapid.IntRange(0, 23).Draw(t, "hour"), rapid.IntRange(0, 59).Draw(t, "minute"))
	s.c.Stay = rapid.SampledFrom([]string{"", "same-day", "overnight"}).Draw(t, "stay")
	w.vary(t, &s)
	s.now = instant(t, s.cal, s.cal.DateOf(s.c.Booked).Add(rapid.IntRange(0, 200).Draw(t, "now")))
	return s
}

// vary takes away or adds what a case may lack or have.
func (w world) vary(t *rapid.T, s *situation) {
	c := &s.c
	switch rapid.IntRange(0, 9).Draw(t, "variant") {
	case 0:
		c.Start = time.Time{}
	case 1:
		c.Day, c.Start = 0, time.Time{}
	case 2:
		c.Arrived = instant(t, s.cal, c.Day)
	case 3:
		c.Left = instant(t, s.cal, c.Day.Add(rapid.IntRange(0, 3).Draw(t, "left")))
	case 4:
		c.Ending = rapid.SampledFrom([]readiness.Ending{readiness.Cancelled, readiness.NoShow}).Draw(t, "ending")
	}
	c.Facts = map[string]any{}
	for _, name := range []string{"pets", "asks"} {
		if v := rapid.IntRange(0, 2).Draw(t, name); v < 2 {
			c.Facts[name] = v == 1
		}
	}
	c.Details = map[string]string{"side": rapid.SampledFrom([]string{"left", "right"}).Draw(t, "side")}
	c.Repeats = map[string][]string{"medicine": {"a", "b"}}
	c.Raised = []readiness.Raised{{Trigger: "event", Key: "k", At: instant(t, s.cal, calendar.NewDate(2026, 11, 1))}}
	c.Entries = map[readiness.Key]readiness.Entry{}
	for _, st := range s.p.Steps {
		if o := rapid.IntRange(0, 7).Draw(t, "outcome"); o <= int(readiness.Failed) {
			on := s.cal.DateOf(c.Booked).Add(rapid.IntRange(0, 60).Draw(t, "on"))
			snapshot := c.Snapshot()
			if rapid.Bool().Draw(t, "moved since") {
				snapshot[readiness.DetailDate] = "2026-01-05"
			}
			c.Entries[readiness.Key{Step: st.Code, Round: 1}] = readiness.Entry{Outcome: readiness.Outcome(o), On: on, For: snapshot}
		}
	}
}

func instant(t *rapid.T, cal *calendar.Calendar, d calendar.Date) time.Time {
	return cal.StartOf(d).Add(time.Duration(rapid.IntRange(0, 86399).Draw(t, "second")) * time.Second)
}

func (w world) step(t *rapid.T, n int) readiness.Step {
	s := readiness.Step{
		Code:         fmt.Sprintf("step-%d", n),
		Performers:   rapid.SampledFrom([][]readiness.Performer{nurse, patient, coach}).Draw(t, "who"),
		Fixed:        rapid.IntRange(0, 3).Draw(t, "fixed") == 0,
		Need:         readiness.Need(rapid.IntRange(0, 3).Draw(t, "need")),
		PausesOnHold: rapid.Bool().Draw(t, "pauses"),
		Condition:    rapid.SampledFrom(w.conditions).Draw(t, "condition"),
		Expiry: readiness.Expiry{
			Kind: readiness.ExpiryKind(rapid.IntRange(0, 3).Draw(t, "expiry")),
			Days: rapid.IntRange(1, 60).Draw(t, "age"),
		},
	}
	s.Window.OpensEarliest = rapid.IntRange(0, 4).Draw(t, "earliest") == 0
	for range rapid.IntRange(0, 2).Draw(t, "opens") {
		s.Window.Opens = append(s.Window.Opens, drawPoint(t, n))
	}
	for range rapid.IntRange(0, 2).Draw(t, "dues") {
		s.Window.Due = append(s.Window.Due, drawPoint(t, n))
	}
	if rapid.IntRange(0, 2).Draw(t, "last") == 0 {
		last := drawPoint(t, n)
		s.Last = &last
	}
	switch rapid.IntRange(0, 9).Draw(t, "kind") {
	case 0:
		s.RepeatFor = "medicine"
	case 1:
		s.Trigger = "event"
	}
	return s
}

func drawPoint(t *rapid.T, n int) readiness.Point {
	anchors := []string{surgery, surgery, surgery, booking, discharge}
	for m := range n {
		anchors = append(anchors, fmt.Sprintf("step-%d", m))
	}
	p := point(rapid.SampledFrom(anchors).Draw(t, "anchor"), rapid.IntRange(-45, 30).Draw(t, "n"),
		readiness.Unit(rapid.IntRange(0, 3).Draw(t, "unit")))
	switch p.Offset.Unit {
	case readiness.Months:
		p.Offset.N /= 20
	case readiness.Minutes:
		p.Offset.N *= 47
	default:
		if rapid.IntRange(0, 3).Draw(t, "clocked") == 0 {
			p = oclock(p, rapid.IntRange(0, 23).Draw(t, "hour"), rapid.IntRange(0, 59).Draw(t, "minute"))
		}
	}
	return p
}

// states is what may change with time alone.
func states(pl *readiness.Plan) []string {
	out := []string{string(pl.State), fmt.Sprint(pl.Discharge)}
	for _, i := range pl.Items {
		out = append(out, fmt.Sprint(i.Key, i.State))
	}
	for _, r := range pl.Infeasible {
		out = append(out, fmt.Sprint("infeasible ", r.Key, r.Latest, r.Then))
	}
	return append(out, fmt.Sprint("too late if they apply ", pl.TooLateIfAsked), fmt.Sprint("unreported ", pl.Unreported))
}

// Until NextChange nothing changes with time; at it something does.
func TestNextChangeIsExact(t *testing.T) {
	w := newWorld(t)
	rapid.Check(t, func(t *rapid.T) {
		s := w.draw(t)
		pl := s.plan(s.now)
		before := states(pl)
		next, span := pl.NextChange, 3*365*24*time.Hour
		if !next.IsZero() {
			require.True(t, next.After(s.now))
			require.NotEqual(t, before, states(s.plan(next)), "nothing changes at %s", next)
			require.Equal(t, before, states(s.plan(next.Add(-1))), "a nanosecond before %s", next)
			span = next.Sub(s.now)
		}
		for range 6 {
			later := s.now.Add(time.Duration(rapid.Int64Range(0, int64(span)-1).Draw(t, "later")))
			require.Equal(t, before, states(s.plan(later)), "at %s, next change %s", later, next)
		}
	})
}

// Following NextChange alone leads through every state to one that stays.
func TestNextChangeComesToAnEnd(t *testing.T) {
	w := newWorld(t)
	rapid.Check(t, func(t *rapid.T) {
		s := w.draw(t)
		now := s.now
		for range 200 {
			next := s.plan(now).NextChange
			if next.IsZero() {
				return
			}
			now = next
		}
		t.Fatalf("still changing at %s", now)
	})
}

// The same arguments give the same plan, and the case is only read.
func TestMakeIsPure(t *testing.T) {
	w := newWorld(t)
	rapid.Check(t, func(t *rapid.T) {
		s := w.draw(t)
		kept := s.c
		kept.Facts, kept.Details = maps.Clone(s.c.Facts), maps.Clone(s.c.Details)
		kept.Entries, kept.Raised = maps.Clone(s.c.Entries), slices.Clone(s.c.Raised)
		kept.Repeats = map[string][]string{"medicine": {"a", "b"}}
		steps := slices.Clone(s.p.Steps)

		one, two := s.plan(s.now), s.plan(s.now)
		require.Equal(t, one, two)
		require.Equal(t, kept, s.c)
		require.Equal(t, steps, s.p.Steps)
		require.Empty(t, readiness.Replan(one.Items, two), "same facts, no changes")
		for n := range one.Items {
			require.Equal(t, s.p.Why(&one.Items[n]), s.p.Why(&two.Items[n]))
		}
		elsewhere := s.now.In(time.FixedZone("elsewhere", -9*60*60))
		require.Equal(t, states(one), states(s.plan(elsewhere)), "the zone of the clock means nothing")
	})
}

// A plan is the same in whatever order the protocol lists its steps.
func TestOrderOfStepsMeansNothing(t *testing.T) {
	w := newWorld(t)
	rapid.Check(t, func(t *rapid.T) {
		s := w.draw(t)
		turned := slices.Clone(s.p.Steps)
		slices.Reverse(turned)
		p, err := readiness.NewProtocol(readiness.Protocol{
			URL: s.p.URL, Version: s.p.Version, Stays: s.p.Stays, DueWarning: s.p.DueWarning, Steps: turned,
		})
		require.NoError(t, err)
		a, b := s.plan(s.now), readiness.Make(&s.c, p, s.cal, s.now)
		require.Equal(t, a.State, b.State)
		require.Equal(t, a.NextChange, b.NextChange)
		dates := func(pl *readiness.Plan) map[readiness.Key]string {
			out := map[readiness.Key]string{}
			for _, i := range pl.Items {
				out[i.Key] = fmt.Sprint(i.State, show(i.Opens), show(i.Due), show(i.Last), i.Waits, i.Needs, i.LeaveBy, i.LeaveFor)
			}
			return out
		}
		require.Equal(t, dates(a), dates(b))
	})
}

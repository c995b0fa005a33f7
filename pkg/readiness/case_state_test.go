package readiness_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// The rows go down the list of states; each that follows is true as well in
// some row above it, so that the first that fits must win.
func TestCaseStates(t *testing.T) {
	cal := chicago(t)
	unknown := condition(t, "pets")
	p := protocol(t,
		step("must", before(20, 10)), // last day 2026-11-29
		with(step("early", before(20, 10)), func(st *readiness.Step) { // last day 2026-11-25
			last := days(surgery, -5)
			st.Last = &last
		}),
		with(step("doubt", before(20, 10)), func(st *readiness.Step) { st.Condition = unknown }),
		with(step("fast", window(hours(surgery, -24), hours(surgery, -2))), func(st *readiness.Step) {
			last := hours(surgery, 0)
			st.Fixed, st.Last = true, &last
		}),
		with(step("should", before(20, 10)), func(st *readiness.Step) { st.Need = readiness.Should }),
		with(step("call", window(days(discharge, 0), business(discharge, 2))), func(st *readiness.Step) { st.Need = readiness.Should }),
	)
	const surely = "2026-11-12 09:00" // nothing is late yet
	type change = func(*readiness.Case)
	all := func(changes ...change) change {
		return func(c *readiness.Case) {
			for _, f := range changes {
				f(c)
			}
		}
	}
	entry := func(code string, o readiness.Outcome) change {
		return func(c *readiness.Case) {
			if c.Entries == nil {
				c.Entries = map[readiness.Key]readiness.Entry{}
			}
			on := map[string]string{"fast": "2026-11-30", "call": "2026-12-02"}[code] // not before they can be done
			if on == "" {
				on = "2026-11-11"
			}
			c.Entries[readiness.Key{Step: code, Round: 1}] = readiness.Entry{Outcome: o, On: day(t, on), For: c.Snapshot()}
		}
	}
	held := func(c *readiness.Case) { c.Held = true }
	stood := func(from, until string) change {
		return func(c *readiness.Case) {
			c.Holds = []readiness.Hold{{Key: "infection", Kind: "infection", Raised: clock(t, cal, from), Ended: clock(t, cal, until), How: readiness.Released}}
		}
	}
	left := func(c *readiness.Case) { c.Left = clock(t, cal, "2026-12-01 10:00") }
	arrived := func(c *readiness.Case) { c.Arrived = clock(t, cal, "2026-11-30 06:00") }
	noPets := func(c *readiness.Case) { c.Facts = map[string]any{"pets": false} }
	mustsDone := all(entry("must", readiness.Done), entry("early", readiness.Done), noPets)
	allDone := all(mustsDone, entry("fast", readiness.Done), entry("should", readiness.Waived), entry("call", readiness.Done))
	ended := func(e readiness.Ending) change { return func(c *readiness.Case) { c.Ending = e } }

	for _, r := range []struct {
		name, now string
		change    change
		want      readiness.CaseState
	}{
		{"cancelled, though all is done and they left", "2026-12-20 09:00", all(allDone, left, ended(readiness.Cancelled)), readiness.CaseCancelled},
		{"no-show", surely, ended(readiness.NoShow), readiness.CaseCancelled},
		{"entered in error", surely, ended(readiness.EnteredInErr), readiness.CaseCancelled},
		{"no longer an operation planned for", surely, ended(readiness.NoLongerMeets), readiness.CaseCancelled},
		{"closed: left and all done", "2026-12-20 09:00", all(allDone, left), readiness.CaseClosed},
		{"closed, though held", "2026-12-20 09:00", all(allDone, left, held), readiness.CaseClosed},
		{"closed by the clock", "2026-12-20 09:00", allDone, readiness.CaseClosed},
		{"closed with a doubt that nobody settled", "2026-12-20 09:00", all(allDone, left, func(c *readiness.Case) { c.Facts = nil }), readiness.CaseClosed},
		{"all done, not yet left", "2026-11-30 07:00", allDone, readiness.CaseReady},
		{"home, a call to come", "2026-12-01 12:00", all(mustsDone, entry("fast", readiness.Done), left), readiness.CaseHome},
		{"home, though held and infeasible", "2026-12-01 12:00", all(left, held), readiness.CaseHome},
		{"home by the clock", "2026-12-01 11:00", mustsDone, readiness.CaseHome},
		{"a moment before the expected discharge", "2026-12-01 10:59", mustsDone, readiness.CaseArrived},
		{"arrived early", "2026-11-30 06:01", all(mustsDone, arrived), readiness.CaseArrived},
		{"held, and the person is in the hospital before the hour", "2026-11-30 07:29", all(mustsDone, arrived, held), readiness.CaseHeld},
		{"arrived, though held, from the hour on", "2026-11-30 07:30", all(mustsDone, arrived, held), readiness.CaseArrived},
		{"operated on before the hour, though held", "2026-11-30 07:00", all(mustsDone, held, func(c *readiness.Case) { c.Operated = clock(t, cal, "2026-11-30 06:30") }), readiness.CaseArrived},
		{"released after the hour: the clock brings nobody in", "2026-12-05 09:00", all(mustsDone, stood("2026-11-20 09:00", "2026-12-02 09:00")), readiness.CaseInfeasible},
		{"released at the hour: nor then", "2026-12-05 09:00", all(mustsDone, stood("2026-11-20 09:00", "2026-11-30 07:30")), readiness.CaseInfeasible},
		{"released before the hour", "2026-12-05 09:00", all(mustsDone, stood("2026-11-20 09:00", "2026-11-30 07:29")), readiness.CaseHome},
		{"held only since the hour, and released", "2026-12-05 09:00", all(mustsDone, stood("2026-11-30 07:30", "2026-12-02 09:00")), readiness.CaseHome},
		{"raised after the hour by a service that was down", "2026-12-05 09:00", all(mustsDone, func(c *readiness.Case) {
			stood("2026-12-01 07:30", "2026-12-02 09:00")(c)
			c.Holds[0].Stood = clock(t, cal, "2026-11-20 09:00")
		}), readiness.CaseInfeasible},
		{"it should have ended before the hour, when the service was down", "2026-12-05 09:00", all(mustsDone, func(c *readiness.Case) {
			stood("2026-11-20 09:00", "2026-12-02 09:00")(c)
			c.Holds[0].Until = clock(t, cal, "2026-11-29 00:00")
		}), readiness.CaseHome},
		{"released after the hour, and somebody says that they came", "2026-12-05 09:00", all(mustsDone, arrived, stood("2026-11-20 09:00", "2026-12-02 09:00")), readiness.CaseArrived},
		{"arrived, though infeasible", "2026-11-30 06:01", arrived, readiness.CaseArrived},
		{"arrived by the clock", "2026-11-30 07:30", mustsDone, readiness.CaseArrived},
		{"a minute before the start", "2026-11-30 07:29", mustsDone, readiness.CaseReady},
		{"held: the clock brings nobody in", "2026-12-05 09:00", all(mustsDone, held), readiness.CaseHeld},
		{"held, though infeasible", "2026-11-27 09:00", held, readiness.CaseHeld},
		{"held, though a must is late", "2026-11-21 09:00", held, readiness.CaseHeld},
		{"infeasible, though another must is late", "2026-11-26 00:00", noPets, readiness.CaseInfeasible},
		{"infeasible: a must failed", surely, all(noPets, entry("must", readiness.Failed)), readiness.CaseInfeasible},
		{"behind", "2026-11-21 00:00", noPets, readiness.CaseBehind},
		{"a moment before behind", "2026-11-20 23:59", noPets, readiness.CaseOnTrack},
		{"a should late is not behind", "2026-11-21 00:00", mustsDone, readiness.CaseReady},
		{"a fixed one late is not behind", "2026-11-30 06:00", mustsDone, readiness.CaseReady},
		{"ready, with steps of the last night to come", "2026-11-20 09:00", mustsDone, readiness.CaseReady},
		{"a must in doubt keeps from ready", "2026-11-20 09:00", all(mustsDone, func(c *readiness.Case) { c.Facts = nil }), readiness.CaseOnTrack},
		{"a must waived counts as settled", surely, all(mustsDone, entry("must", readiness.Waived)), readiness.CaseReady},
		{"on track", surely, noPets, readiness.CaseOnTrack},
		{"no date is never ready", surely, all(mustsDone, moved0), readiness.CaseOnTrack},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := surgeryOn(t, cal, theDay)
			r.change(&c)
			require.Equal(t, r.want, readiness.Make(&c, p, cal, clock(t, cal, r.now)).State)
		})
	}
}

// A must that an event raised is asked for, but says nothing of the readiness.
func TestTriggeredMustsDoNotSetTheCaseState(t *testing.T) {
	cal := chicago(t)
	p := protocol(t, with(step("ask", window(days(readiness.AnchorRaised, 0), days(readiness.AnchorRaised, 1))), func(st *readiness.Step) {
		st.Trigger = "unclear"
	}))
	c := surgeryOn(t, cal, theDay)
	c.Raised = []readiness.Raised{{Trigger: "unclear", Key: "k", At: clock(t, cal, "2026-11-10 09:00")}}
	pl := readiness.Make(&c, p, cal, clock(t, cal, "2026-11-20 09:00"))
	require.Equal(t, readiness.Late, item(t, pl, "ask").State)
	require.Equal(t, readiness.CaseReady, pl.State)
}

// What a state rests on: what somebody reported, or the clock alone.
func TestWhatRestsOnTheClock(t *testing.T) {
	at := clock(t, chicago(t), "2026-12-01 10:00")
	came, left := func(c *readiness.Case) { c.Arrived = at }, func(c *readiness.Case) { c.Left = at }
	nothing := func(*readiness.Case) {}
	for _, r := range []struct {
		state      readiness.CaseState
		told       func(*readiness.Case)
		came, left bool // only presumed
	}{
		{readiness.CaseOnTrack, nothing, false, false},
		{readiness.CaseHeld, nothing, false, false},
		{readiness.CaseCancelled, nothing, false, false},
		{readiness.CaseArrived, nothing, true, false},
		{readiness.CaseArrived, came, false, false},
		{readiness.CaseHome, nothing, true, true},
		{readiness.CaseHome, came, false, true},
		{readiness.CaseHome, left, false, false}, // who left has been there
		{readiness.CaseClosed, nothing, true, true},
		{readiness.CaseClosed, left, false, false},
	} {
		c := readiness.Case{}
		r.told(&c)
		came, left := (&readiness.Plan{State: r.state}).ByClock(&c)
		require.Equal(t, []bool{r.came, r.left}, []bool{came, left}, "%s, %+v", r.state, c)
	}
}

// A case that is held stays held after its hour, and is unreported from then on
// until somebody says something; where only the day is known, from its end.
func TestHeldAfterItsHour(t *testing.T) {
	cal := chicago(t)
	p := protocol(t, step("must", before(20, 10)))
	nothing := func(*readiness.Case) {}
	for _, r := range []struct {
		name, now  string
		change     func(*readiness.Case)
		state      readiness.CaseState
		unreported bool
		next       string
	}{
		{"before it", "2026-11-30 07:29", nothing, readiness.CaseHeld, false, "2026-11-30 07:30"},
		{"at its hour", "2026-11-30 07:30", nothing, readiness.CaseHeld, true, ""},
		{"a year later", "2027-11-30 07:30", nothing, readiness.CaseHeld, true, ""},
		{"only the day is known", "2026-11-30 23:59", func(c *readiness.Case) { c.Start = time.Time{} }, readiness.CaseHeld, false, "2026-12-01 00:00"},
		{"and it is over", "2026-12-01 00:00", func(c *readiness.Case) { c.Start = time.Time{} }, readiness.CaseHeld, true, ""},
		{"there is no day", "2027-11-30 07:30", func(c *readiness.Case) { c.Day, c.Start = 0, time.Time{} }, readiness.CaseHeld, false, ""},
		{"released after it", "2026-12-02 07:30", func(c *readiness.Case) {
			c.Held = false
			c.Holds = []readiness.Hold{{Raised: clock(t, cal, "2026-11-20 09:00"), Ended: clock(t, cal, "2026-12-01 09:00"), How: readiness.Released}}
		}, readiness.CaseReady, true, ""},
		{"the person came, before it", "2026-11-30 07:29", func(c *readiness.Case) { c.Arrived = clock(t, cal, "2026-11-30 06:00") }, readiness.CaseHeld, false, "2026-11-30 07:30"},
		{"the person came", "2026-11-30 07:30", func(c *readiness.Case) { c.Arrived = clock(t, cal, "2026-11-30 06:00") }, readiness.CaseArrived, false, "2026-12-01 11:00"},
		{"it was called off", "2026-11-30 07:30", func(c *readiness.Case) { c.Ending = readiness.Cancelled }, readiness.CaseCancelled, false, ""},
		{"nothing holds it", "2026-11-30 07:30", func(c *readiness.Case) { c.Held = false }, readiness.CaseArrived, false, "2026-12-01 11:00"},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := surgeryOn(t, cal, theDay)
			c.Held = true
			c.Entries = map[readiness.Key]readiness.Entry{{Step: "must", Round: 1}: {Outcome: readiness.Done, On: day(t, "2026-11-20")}}
			r.change(&c)
			pl := readiness.Make(&c, p, cal, clock(t, cal, r.now))
			require.Equal(t, []any{r.state, r.unreported}, []any{pl.State, pl.Unreported})
			require.True(t, clock(t, cal, r.next).Equal(pl.NextChange), "next is %s", pl.NextChange)
		})
	}
}

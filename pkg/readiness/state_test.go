package readiness_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

const theDay = "2026-11-30" // Monday, the usual day of surgery of these tests

// stateAt plans one step at an instant.
func stateAt(t *testing.T, c readiness.Case, st readiness.Step, now time.Time) readiness.ItemState {
	return item(t, readiness.Make(&c, protocol(t, st), chicago(t), now), st.Code).State
}

// Each boundary is tried one nanosecond before and at it. The warning time is
// 48 hours.
func TestStatesTurnAtTheirInstants(t *testing.T) {
	cal := chicago(t)
	c := surgeryOn(t, cal, theDay)
	whole := with(step("s", before(10, 5)), func(st *readiness.Step) {
		last := days(surgery, -2)
		st.Last = &last
	})
	fasting := with(step("s", window(hours(surgery, -24), hours(surgery, -2))), func(st *readiness.Step) {
		last := hours(surgery, 0)
		st.Fixed, st.Last = true, &last
	})
	narrow := step("s", before(6, 5)) // the warning lies before the opening
	for _, r := range []struct {
		name          string
		step          readiness.Step
		at            string
		earlier, then readiness.ItemState
	}{
		{"opens", whole, "2026-11-20 00:00", readiness.Upcoming, readiness.Open},
		{"warns", whole, "2026-11-23 00:00", readiness.Open, readiness.Due},
		{"due day ends", whole, "2026-11-26 00:00", readiness.Due, readiness.Late},
		{"last day ends", whole, "2026-11-29 00:00", readiness.Late, readiness.Missed},
		{"opens at a time, already warned", fasting, "2026-11-29 07:30", readiness.Upcoming, readiness.Due},
		{"due at a time", fasting, "2026-11-30 05:30", readiness.Due, readiness.Late},
		{"last moment", fasting, "2026-11-30 07:30", readiness.Late, readiness.Missed},
		{"opens inside the warning time", narrow, "2026-11-24 00:00", readiness.Upcoming, readiness.Due},
	} {
		t.Run(r.name, func(t *testing.T) {
			at := clock(t, cal, r.at)
			require.Equal(t, r.earlier, stateAt(t, c, r.step, at.Add(-1)))
			require.Equal(t, r.then, stateAt(t, c, r.step, at))
		})
	}
}

// A due day of 25 hours ends when the local day does.
func TestDueDayOnAChangeOfClocks(t *testing.T) {
	cal := chicago(t)
	c := surgeryOn(t, cal, "2026-11-02")
	st := step("s", before(5, 1)) // due on Sunday 2026-11-01
	end := clock(t, cal, "2026-11-02 00:00")
	require.Equal(t, 25*time.Hour, end.Sub(clock(t, cal, "2026-11-01 00:00")))
	require.Equal(t, readiness.Due, stateAt(t, c, st, end.Add(-1)))
	require.Equal(t, readiness.Missed, stateAt(t, c, st, end))
}

func TestLateForeverWithoutALastDay(t *testing.T) {
	cal := chicago(t)
	c := surgeryOn(t, cal, theDay)
	st := step("s", window(days(surgery, 10), days(surgery, 14)))
	require.Equal(t, readiness.Due, stateAt(t, c, st, clock(t, cal, "2026-12-14 23:59")))
	require.Equal(t, readiness.Late, stateAt(t, c, st, clock(t, cal, "2030-01-01 00:00")))
}

// The first that fits, from a person's entry down to the window.
func TestStatesOfEveryKind(t *testing.T) {
	cal := chicago(t)
	open := clock(t, cal, "2026-11-20 09:00") // the window below is open
	today := day(t, "2026-11-20")
	base := step("s", before(20, 5))
	pauses := func(st *readiness.Step) { st.PausesOnHold = true }
	needs := func(text string) func(*readiness.Step) {
		return func(st *readiness.Step) { st.Condition = condition(t, text) }
	}
	outcome := func(o readiness.Outcome) func(*readiness.Case) {
		return func(c *readiness.Case) {
			c.Entries = entries(map[string]readiness.Entry{"s": {Outcome: o, On: today, For: c.Snapshot()}})
		}
	}
	both := func(a, b func(*readiness.Case)) func(*readiness.Case) {
		return func(c *readiness.Case) { a(c); b(c) }
	}
	held := func(c *readiness.Case) { c.Held = true }
	ended := func(c *readiness.Case) { c.Ending = readiness.Cancelled }
	facts := func(f map[string]any) func(*readiness.Case) {
		return func(c *readiness.Case) { c.Facts = f }
	}
	nothing := func(*readiness.Case) {}
	for _, r := range []struct {
		name    string
		step    readiness.Step
		change  func(*readiness.Case)
		want    readiness.ItemState
		waiting bool
		applies readiness.Answer
	}{
		{"open", base, nothing, readiness.Open, true, readiness.Yes},
		{"done", base, outcome(readiness.Done), readiness.StateDone, false, readiness.Yes},
		{"waived", base, outcome(readiness.Waived), readiness.StateWaived, false, readiness.Yes},
		{"not needed", base, outcome(readiness.NotNeeded), readiness.Needless, false, readiness.Yes},
		{"failed", base, outcome(readiness.Failed), readiness.Missed, false, readiness.Yes},
		{"held, goes on", base, held, readiness.Open, true, readiness.Yes},
		{"held, pauses", with(base, pauses), held, readiness.Paused, true, readiness.Yes},
		{"held, pauses, done before", with(base, pauses), both(held, outcome(readiness.Done)), readiness.StateDone, false, readiness.Yes},
		{"does not apply", with(base, needs("pets")), facts(map[string]any{"pets": false}), readiness.Needless, false, readiness.No},
		{"applies", with(base, needs("pets")), facts(map[string]any{"pets": true}), readiness.Open, true, readiness.Yes},
		{"in doubt", with(base, needs("pets")), nothing, readiness.Upcoming, true, readiness.Unknown},
		{"in doubt and held", with(with(base, needs("pets")), pauses), held, readiness.Upcoming, true, readiness.Unknown},
		{"in doubt and done", with(base, needs("pets")), outcome(readiness.Done), readiness.StateDone, false, readiness.Unknown},
		{"does not apply but done", with(base, needs("pets")), both(facts(map[string]any{"pets": false}), outcome(readiness.Done)), readiness.StateDone, false, readiness.No},
		{"ended", base, ended, readiness.Needless, false, readiness.Yes},
		{"ended and done", base, both(ended, outcome(readiness.Done)), readiness.StateDone, false, readiness.Yes},
		{"ended and held", with(base, pauses), both(ended, held), readiness.Needless, false, readiness.Yes},
		{"postponed", base, func(c *readiness.Case) { c.Day, c.Start = 0, time.Time{} }, readiness.Upcoming, true, readiness.Yes},
		{"postponed and pauses", with(base, pauses), func(c *readiness.Case) { c.Day, c.Start, c.Held = 0, time.Time{}, true }, readiness.Paused, true, readiness.Yes},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := surgeryOn(t, cal, theDay)
			r.change(&c)
			i := item(t, readiness.Make(&c, protocol(t, r.step), cal, open), "s")
			require.Equal(t, r.want, i.State)
			require.Equal(t, r.waiting, i.State.Waiting())
			require.Equal(t, r.applies, i.Applies)
		})
	}
}

func TestADoubtSaysWhatIsNeeded(t *testing.T) {
	cal := chicago(t)
	c := surgeryOn(t, cal, theDay)
	st := with(step("s", before(20, 5)), func(st *readiness.Step) { st.Condition = condition(t, "pets && asks") })
	long := clock(t, cal, "2026-12-24 09:00") // long past its last day
	pl := readiness.Make(&c, protocol(t, st), cal, long)
	i := item(t, pl, "s")
	require.Equal(t, readiness.Upcoming, i.State)
	require.Equal(t, []string{"whether the payer asks", "whether there are pets"}, i.Needs)
	require.Empty(t, pl.Infeasible, "what is in doubt makes no plan infeasible")
}

// A step that follows others opens on the day that the last of them is done.
func TestFollows(t *testing.T) {
	cal := chicago(t)
	now := clock(t, cal, "2026-11-12 09:00")
	steps := []readiness.Step{
		// Written before the steps it waits for: order in the protocol is free.
		step("review", readiness.Window{Opens: points(days("tests", 0), days("visit", 2)), Due: points(days(surgery, -7))}),
		step("tests", before(40, 14)),
		with(step("visit", before(40, 14)), func(st *readiness.Step) { st.Condition = condition(t, "pets") }),
	}
	for _, r := range []struct {
		name    string
		entries map[string]readiness.Entry
		pets    any
		opens   string
		waits   []string
		state   readiness.ItemState
	}{
		{"waits for both", nil, true, "", []string{"tests", "visit"}, readiness.Upcoming},
		{"one is done", map[string]readiness.Entry{"tests": {Outcome: readiness.Done, On: day(t, "2026-11-04")}}, true, "2026-11-04", []string{"visit"}, readiness.Upcoming},
		{"both are done", map[string]readiness.Entry{
			"tests": {Outcome: readiness.Done, On: day(t, "2026-11-04")},
			"visit": {Outcome: readiness.Done, On: day(t, "2026-11-05")},
		}, true, "2026-11-07", nil, readiness.Open},
		{"both are done, later day opens", map[string]readiness.Entry{
			"tests": {Outcome: readiness.Done, On: day(t, "2026-11-11")},
			"visit": {Outcome: readiness.Done, On: day(t, "2026-11-02")},
		}, true, "2026-11-11", nil, readiness.Open},
		{"opens later than today", map[string]readiness.Entry{
			"tests": {Outcome: readiness.Done, On: day(t, "2026-11-11")},
			"visit": {Outcome: readiness.Done, On: day(t, "2026-11-11")},
		}, true, "2026-11-13", nil, readiness.Upcoming},
		{"one does not apply", map[string]readiness.Entry{"tests": {Outcome: readiness.Done, On: day(t, "2026-11-04")}}, false, "2026-11-04", nil, readiness.Open},
		{"one is in doubt", map[string]readiness.Entry{"tests": {Outcome: readiness.Done, On: day(t, "2026-11-04")}}, nil, "2026-11-04", nil, readiness.Open},
		{"one was waived", map[string]readiness.Entry{
			"tests": {Outcome: readiness.Waived}, "visit": {Outcome: readiness.Done, On: day(t, "2026-11-02")},
		}, true, "2026-11-04", nil, readiness.Open},
		{"one failed", map[string]readiness.Entry{
			"tests": {Outcome: readiness.Failed}, "visit": {Outcome: readiness.Done, On: day(t, "2026-11-02")},
		}, true, "2026-11-04", []string{"tests"}, readiness.Upcoming},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := surgeryOn(t, cal, theDay)
			c.Entries = entries(r.entries)
			if r.pets != nil {
				c.Facts = map[string]any{"pets": r.pets}
			}
			i := item(t, readiness.Make(&c, protocol(t, steps...), cal, now), "review")
			require.Equal(t, r.opens, show(i.Opens))
			require.Equal(t, r.waits, i.Waits)
			require.Equal(t, r.state, i.State)
			require.Equal(t, "2026-11-23", show(i.Due))
		})
	}
}

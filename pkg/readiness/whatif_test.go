package readiness_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// Days by hand, on a calendar: 23 November 2026 is a Monday, the 26th is
// Thanksgiving. Source of the dates: counting.
func TestObstacleStands(t *testing.T) {
	cal := chicago(t)
	now := clock(t, cal, "2026-11-23 09:00")
	tests := lastDay(step("tests", before(30, 14)), days(surgery0, -4))
	wash := fixed(step("wash", before(5, 5)))
	never := step("never", before(30, 14))
	for _, r := range []struct {
		name     string
		steps    []readiness.Step
		failed   string
		obstacle int
		day      string // the last operating day that it stands in the way of
		last     string // its last useful day then
		missing  int
	}{
		{"the day before it clears", []readiness.Step{tests}, "", 0, "2026-11-25", "2026-11-21", 2}, // the 26th is closed
		{"over a weekend", []readiness.Step{wash}, "", 0, "2026-11-27", "2026-11-22", 1},
		{"the one that clears first", []readiness.Step{tests, wash}, "", 1, "2026-11-25", "2026-11-21", 2},
		{"never within the horizon", []readiness.Step{never}, "never", 0, "2027-01-22", "2027-01-21", 0},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := surgeryOn(t, cal, "2026-12-01")
			if r.failed != "" {
				c.Entries = map[readiness.Key]readiness.Entry{{Step: r.failed, Round: 1}: {Outcome: readiness.Failed}}
			}
			p := within(t, r.steps...)
			safe := readiness.Earliest(&c, p, cal, now)
			require.Greater(t, len(safe.Obstacles), r.obstacle)
			s, ok := safe.Obstacles[r.obstacle].Stands(&c, p, cal, now)
			require.True(t, ok)
			require.Equal(t, r.day, s.Plan.Day.String())
			require.Equal(t, safe.Obstacles[r.obstacle].Key, s.Reason.Key)
			require.Equal(t, r.last, s.Reason.Last.Day.String())
			require.Equal(t, r.missing, s.Reason.DaysMissing)
		})
	}
	c := surgeryOn(t, cal, "2026-12-01")
	_, ok := readiness.Obstacle{Key: readiness.Key{Step: "tests", Round: 1}}.Stands(&c, within(t, never), cal, now)
	require.False(t, ok, "what stands in no way has no day")
}

func TestCaseOnAnotherDay(t *testing.T) {
	cal := chicago(t)
	c := surgeryOn(t, cal, "2026-12-01")
	c.Start = clock(t, cal, "2026-12-01 07:30")
	c.Held, c.Arrived = true, c.Start
	day := cal.DateOf(clock(t, cal, "2027-05-14 00:00"))
	kept := c.On(day, time.Time{}, cal)
	require.Equal(t, "2027-05-14 07:30 CDT", kept.Start.Format("2006-01-02 15:04 MST"), "the time of day, across the change of clocks")
	require.Equal(t, day, kept.Day)
	require.False(t, kept.Held)
	require.True(t, kept.Arrived.IsZero())
	at := clock(t, cal, "2027-05-14 11:00")
	require.Equal(t, at, c.On(day, at, cal).Start)
	require.Equal(t, "2026-12-01", c.Day.String(), "the case itself stays")
	for state, begun := range map[readiness.CaseState]bool{
		readiness.CaseOnTrack: false, readiness.CaseHeld: false, readiness.CaseInfeasible: false, readiness.CaseReady: false, readiness.CaseBehind: false,
		readiness.CaseArrived: true, readiness.CaseHome: true, readiness.CaseClosed: true, readiness.CaseCancelled: true,
	} {
		require.Equal(t, begun, state.Begun(), state)
	}
}

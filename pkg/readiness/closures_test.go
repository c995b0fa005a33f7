package readiness_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// A facility's own closed days are no days to operate on, and none to call on.
func TestEarliestByOwnClosures(t *testing.T) {
	open := chicago(t)
	set, err := calendar.Holidays("us-federal")
	require.NoError(t, err)
	own, err := calendar.ParseClosures(strings.NewReader("2026-11-24..2026-11-25 Theatre rebuilt\n2026-11-27\n2026-12-08\n"))
	require.NoError(t, err)
	closed, err := calendar.New(calendar.Options{Zone: open.Zone(), Holidays: set.With(own)})
	require.NoError(t, err)

	tests := lastDay(step("tests", before(30, 14)), days(surgery0, -4))
	for _, r := range []struct {
		name      string
		cal       *calendar.Calendar
		steps     []readiness.Step
		day       string
		run       int
		obstacles string
	}{
		{"open", open, nil, "2026-11-24", 40, ""},
		{"closed till Monday", closed, nil, "2026-11-30", 36, ""}, // the 26th is Thanksgiving
		{"open, with a last day of D-4", open, []readiness.Step{tests}, "2026-11-27", 38, "tests 2026-11-27"},
		{"closed, with a last day of D-4", closed, []readiness.Step{tests}, "2026-11-30", 36, ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := surgeryOn(t, r.cal, "2026-12-01")
			safe := readiness.Earliest(&c, within(t, r.steps...), r.cal, clock(t, r.cal, "2026-11-23 09:00"))
			require.Equal(t, r.day, safe.Day.String())
			require.Equal(t, r.run, safe.Run)
			require.Equal(t, r.obstacles, told(safe.Obstacles))
			require.True(t, r.cal.IsOperatingDay(safe.Day))
		})
	}
}

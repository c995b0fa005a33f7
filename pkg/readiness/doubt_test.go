package readiness_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

func TestWhenAConditionHolds(t *testing.T) {
	compiler, err := readiness.NewConditions([]readiness.Fact{
		{Name: "pets", Type: "boolean", Question: "whether there are pets"},
		{Name: "asks", Type: "boolean", Question: "whether the payer asks"},
		{Name: "urgent", Type: "boolean", Question: "whether it is urgent", Default: false},
		{Name: "clearance", Type: "number", Question: "what the clearance is"},
	})
	require.NoError(t, err)
	for _, r := range []struct {
		text  string
		known map[string]any
		want  string
	}{
		{"pets", nil, "if there are pets"},
		{"!pets", nil, "unless there are pets"},
		{"pets || asks", nil, "if the payer asks or there are pets"},
		{"pets && asks", nil, "if the payer asks and there are pets"},
		{"pets && asks", map[string]any{"asks": true}, "if there are pets"},
		{"pets && !asks", nil, ""},
		{"!pets && !asks", nil, ""},
		{"pets && !urgent", nil, "if there are pets"},
		{"pets || clearance <= 50.0", nil, ""},
		{"clearance <= 50.0", nil, ""},
	} {
		t.Run(r.text, func(t *testing.T) {
			c, err := compiler.Compile(r.text, r.text)
			require.NoError(t, err)
			require.Equal(t, r.want, c.When(r.known))
		})
	}
}

// A must in doubt whose last day has passed makes nothing infeasible, but says
// which day could be met if it applied.
func TestEarliestIfAsked(t *testing.T) {
	cal := chicago(t)
	asks := step("asks", before(30, 10))
	asks.Condition = condition(t, "pets")
	last := days(surgery0, -3)
	asks.Last = &last
	p := within(t, asks)
	c := surgeryOn(t, cal, "2026-11-30")
	for _, r := range []struct{ now, want string }{
		{"2026-11-27 23:59", ""},
		{"2026-11-28 00:00", "2026-12-01"},
		{"2026-11-29 00:00", "2026-12-02"},
		{"2026-11-30 07:30", ""}, // it has begun
	} {
		t.Run(r.now, func(t *testing.T) {
			now := clock(t, cal, r.now)
			pl := readiness.Make(&c, p, cal, now)
			require.Empty(t, pl.Infeasible)
			safe := pl.EarliestIfAsked(&c, p, cal, now)
			if r.want == "" {
				require.Nil(t, safe)
				return
			}
			require.Equal(t, []readiness.Key{{Step: "asks", Round: 1}}, safe.Keys)
			require.Equal(t, r.want, safe.Safe.Day.String())
			require.Empty(t, c.Entries, "the case is left as it was")
		})
	}
}

// A must in doubt becomes too late at the end of its last day, though no item
// changes its state then.
func TestNextChangeIsWhenADoubtIsTooLate(t *testing.T) {
	cal := chicago(t)
	asks := lastDay(step("asks", before(30, 10)), days(surgery0, -3))
	asks.Condition = condition(t, "pets")
	c := surgeryOn(t, cal, "2026-11-30")
	pl := readiness.Make(&c, within(t, asks), cal, clock(t, cal, "2026-11-26 12:00"))
	require.Equal(t, clock(t, cal, "2026-11-28 00:00"), pl.NextChange)
	require.Empty(t, pl.TooLateIfAsked)
	pl = readiness.Make(&c, within(t, asks), cal, pl.NextChange)
	require.Equal(t, []readiness.Key{{Step: "asks", Round: 1}}, pl.TooLateIfAsked)
	require.Equal(t, readiness.Upcoming, item(t, pl, "asks").State)
}

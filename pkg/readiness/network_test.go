package readiness_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// after is a step that follows others by so many days.
func after(code string, gap int, due readiness.Point, follows ...string) readiness.Step {
	w := readiness.Window{Due: points(due)}
	for _, f := range follows {
		w.Opens = append(w.Opens, days(f, gap))
	}
	return step(code, w)
}

func TestNetwork(t *testing.T) {
	cal := chicago(t)
	swab := step("swab", before(30, 10))
	treat := after("treat", 2, days(surgery0, -1), "swab")
	check := after("check", 1, days(surgery0, -1), "treat")
	for _, r := range []struct {
		name, now string
		done      string
		want      map[string]string // earliest, latest, slack
	}{
		{"before the first opens", "2026-10-20 09:00", "", map[string]string{
			"swab": "2026-10-31 2026-11-26 26", "treat": "2026-11-02 2026-11-28 26", "check": "2026-11-03 2026-11-29 26"}},
		{"with days to spare", "2026-11-20 09:00", "", map[string]string{
			"swab": "2026-11-20 2026-11-26 6", "treat": "2026-11-22 2026-11-28 6", "check": "2026-11-23 2026-11-29 6"}},
		{"on the last day that leaves time", "2026-11-26 09:00", "", map[string]string{
			"swab": "2026-11-26 2026-11-26 0", "treat": "2026-11-28 2026-11-28 0", "check": "2026-11-29 2026-11-29 0"}},
		{"a day too late, though no item is missed", "2026-11-27 09:00", "", map[string]string{
			"swab": "2026-11-27 2026-11-26 -1", "treat": "2026-11-29 2026-11-28 -1", "check": "2026-11-30 2026-11-29 -1"}},
		{"the first is done", "2026-11-27 09:00", "2026-11-20", map[string]string{
			"treat": "2026-11-27 2026-11-28 1", "check": "2026-11-28 2026-11-29 1"}},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := surgeryOn(t, cal, "2026-11-30")
			if r.done != "" {
				c.Entries = entries(map[string]readiness.Entry{"swab": doneOn(day(t, r.done), c)})
			}
			p := protocol(t, check, treat, swab) // the order in the protocol does not matter
			now := clock(t, cal, r.now)
			pl := readiness.Make(&c, p, cal, now)
			got := map[string]string{}
			for n, s := range pl.Network(p, cal, now) {
				got[pl.Items[n].Key.Step] = fmt.Sprintf("%s %s %d", s.Earliest, s.Latest, s.Slack())
				require.Equal(t, s.Slack() < 0, s.TooLate())
			}
			require.Equal(t, r.want, got)
		})
	}
}

func TestNetworkLeavesOut(t *testing.T) {
	cal := chicago(t)
	doubt := step("doubt", before(30, 7))
	doubt.Condition = condition(t, "pets")
	afterwards := step("call", window(days(readiness.AnchorDischarge, 0), days(readiness.AnchorDischarge, 2)))
	open := step("open", readiness.Window{Opens: points(days(surgery0, 0))})
	p := protocol(t, step("done", before(30, 7)), doubt, afterwards, open)
	c := surgeryOn(t, cal, "2026-11-30")
	c.Entries = entries(map[string]readiness.Entry{"done": doneOn(day(t, "2026-11-12"), c)})
	now := clock(t, cal, "2026-11-20 09:00")
	pl := readiness.Make(&c, p, cal, now)
	spans := pl.Network(p, cal, now)
	require.Len(t, spans, 2, "neither what is done nor what is in doubt")
	require.Equal(t, readiness.Span{Earliest: day(t, "2026-12-01"), Latest: day(t, "2026-12-03")}, spans[2])
	require.Equal(t, readiness.Span{Earliest: day(t, "2026-11-30")}, spans[3])
	require.False(t, spans[3].TooLate(), "no limit")
}

// Along a chain of days, the spans are those of the longest paths, found here by
// trying every order of relaxation until nothing changes.
func TestNetworkIsTheLongestPath(t *testing.T) {
	cal := chicago(t)
	rapid.Check(t, func(t *rapid.T) {
		count := rapid.IntRange(2, 6).Draw(t, "steps")
		gaps := map[[2]int]int{}
		var steps []readiness.Step
		for n := range count {
			s := readiness.Step{Code: string(rune('a' + n)), Performers: patient}
			s.Window.Due = points(days(surgery0, -rapid.IntRange(1, 5).Draw(t, "due")))
			for m := range n {
				if rapid.Bool().Draw(t, "follows") {
					gap := rapid.IntRange(0, 6).Draw(t, "gap")
					gaps[[2]int{m, n}] = gap
					s.Window.Opens = append(s.Window.Opens, days(string(rune('a'+m)), gap))
				}
			}
			steps = append(steps, s)
		}
		p := protocol(t, steps...)
		c := surgeryOn(t, cal, "2026-11-30")
		now := clock(t, cal, "2026-11-02 09:00")
		pl := readiness.Make(&c, p, cal, now)
		spans := pl.Network(p, cal, now)
		early, late := make([]calendar.Date, count), make([]calendar.Date, count)
		for n := range count {
			early[n], late[n] = day(t, "2026-11-02"), pl.Items[n].Last.Day
		}
		for changed := true; changed; {
			changed = false
			for pair, gap := range gaps {
				if d := early[pair[0]].Add(gap); d > early[pair[1]] {
					early[pair[1]], changed = d, true
				}
				if d := late[pair[1]].Add(-gap); d < late[pair[0]] {
					late[pair[0]], changed = d, true
				}
			}
		}
		for n := range count {
			require.Equal(t, readiness.Span{Earliest: early[n], Latest: late[n]}, spans[n], steps[n].Code)
		}
	})
}

package store

import (
	"regexp"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Layout of version 7: RFC 9562, section 5.7.
var uuid7 = regexp.MustCompile(`^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$`)

func TestIDsRise(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var g ids
		last := ""
		now := start
		for _, step := range rapid.SliceOfN(rapid.Int64Range(-5_000, 5_000), 1, 200).Draw(t, "microseconds between ids") {
			now = now.Add(time.Duration(step) * time.Microsecond)
			id := g.next(now)
			require.Regexp(t, uuid7, id)
			require.Greater(t, id, last)
			last = id
		}
	})
}

// The example of RFC 9562, appendix A.6.
func TestIDFormat(t *testing.T) {
	require.Equal(t, "017f22e2-79b0-7cc3-98c4-dc0c0c07398f", format(0x017F22E279B0, 0xCC3, 0x18C4DC0C0C07398F))
}

func TestIDCountsOver(t *testing.T) {
	g := ids{ms: start.UnixMilli(), hi: 0xfff, lo: lo62}
	before := format(g.ms, g.hi, g.lo)
	require.Greater(t, g.next(start), before)
	require.Equal(t, start.UnixMilli()+1, g.ms)
}

func TestClockNeverGoesBack(t *testing.T) {
	times := []time.Time{start.Add(1500 * time.Nanosecond), start, start.Add(time.Hour), start.Add(time.Minute)}
	c := clock{now: func() time.Time { now := times[0]; times = times[1:]; return now }}
	for _, want := range []time.Duration{time.Microsecond, time.Microsecond, time.Hour, time.Hour} {
		require.Equal(t, start.Add(want), c.read())
	}
}

package casework

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A rest doubles with each failure up to the longest, and half of it is chance.
func TestRests(t *testing.T) {
	for _, c := range []struct {
		failures    int
		least, most time.Duration
	}{
		{1, 500 * time.Millisecond, time.Second},
		{2, time.Second, 2 * time.Second},
		{5, 8 * time.Second, 16 * time.Second},
		{10, 256 * time.Second, 512 * time.Second},
		{11, 450 * time.Second, 15 * time.Minute},
		{1 << 40, 450 * time.Second, 15 * time.Minute},
	} {
		r := Receivers{Jitter: func() float64 { return 0 }}.withDefaults()
		require.Equal(t, c.least, r.rest(c.failures))
		r.Jitter = func() float64 { return 1 }
		require.Equal(t, c.most, r.rest(c.failures))
	}
	r := Receivers{}.withDefaults()
	require.Equal(t, 24*time.Hour, r.OffAfter)
	seen := map[time.Duration]bool{}
	for range 100 {
		d := r.rest(3)
		require.GreaterOrEqual(t, d, 2*time.Second)
		require.LessOrEqual(t, d, 4*time.Second)
		seen[d] = true
	}
	require.Greater(t, len(seen), 10, "no chance in it")
}

package app

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// The audit loop deletes what no audit will look at again; the events stay in
// the stream.
func TestAuditPrunes(t *testing.T) {
	a := started(t, settings(t))
	for _, m := range corpus(t)[:1] {
		m.post(t, a)
	}
	told := events(t, a)
	require.NotEmpty(t, told)
	all, err := a.db.Published(t.Context(), 0, 1000)
	require.NoError(t, err)
	before, last := len(all), all[len(all)-1].Seq
	rows := func() (n int) { // of them; time may add others
		list, err := a.db.Published(t.Context(), 0, 1000)
		require.NoError(t, err)
		for _, row := range list {
			if row.Seq <= last {
				n++
			}
		}
		return n
	}
	now := a.Clock.Now()
	a.Clock.Stand(now.Add(7 * 24 * time.Hour))
	a.audit(t.Context())
	require.Equal(t, before, rows(), "seven days")
	a.Clock.Stand(now.Add(8*24*time.Hour + time.Second))
	a.audit(t.Context())
	require.Zero(t, rows())
	for name, n := range events(t, a) {
		require.GreaterOrEqual(t, n, told[name], name)
	}
}

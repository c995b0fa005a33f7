package store

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Time goes on from what is stored when the clock was set back between two
// processes; what lies far ahead is not believed.
func TestClockGoesOnAfterARestart(t *testing.T) {
	for _, r := range []struct {
		name string
		back time.Duration
		want time.Duration // before what was stored
	}{
		{"an hour back", time.Hour, 0},
		{"two days back", 48 * time.Hour, 0},
		{"more than two days back", 48*time.Hour + time.Microsecond, 48*time.Hour + time.Microsecond},
		{"an hour on", -time.Hour, -time.Hour},
	} {
		t.Run(r.name, func(t *testing.T) {
			dir := t.TempDir()
			db := open(t, in(dir))
			write(t, db, func(tx *Tx) error { return tx.SaveCase(Case{ID: "c", State: "held"}) })
			require.NoError(t, db.Close())
			again := open(t, in(dir), func(o *Options) { o.Now = func() time.Time { return start.Add(-r.back) } })
			write(t, again, func(tx *Tx) error {
				require.Equal(t, start.Add(-r.want), tx.Now)
				return nil
			})
		})
	}
}

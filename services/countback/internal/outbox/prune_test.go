package outbox

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Rows are kept for seven days and one more, and no audit that follows misses
// one that is gone.
func TestPruneOutlivesTheAudit(t *testing.T) {
	db, b, _ := audited(t)
	later := func(d time.Duration) *Relay {
		o := relayOptions(db, b.js())
		o.Now = func() time.Time { return clock().Add(d) }
		r, err := NewRelay(o)
		require.NoError(t, err)
		return r
	}
	kept := func() int {
		rows, err := db.Published(limited(t), 0, 100)
		require.NoError(t, err)
		return len(rows)
	}
	const day = 24 * time.Hour
	for _, r := range []struct {
		after   time.Duration
		deleted int64
		kept    int
		audit   Report
	}{
		{0, 0, 5, Report{Checked: 5}},
		{7 * day, 0, 5, Report{Checked: 5}}, // the last moment at which it is compared
		{7*day + time.Second, 0, 5, Report{Aged: 5}},
		{8 * day, 0, 5, Report{Aged: 5}},
		{8*day + time.Second, 5, 0, Report{}},
	} {
		deleted, err := later(r.after).Prune(limited(t))
		require.NoError(t, err)
		require.Equal(t, r.deleted, deleted, r.after)
		require.Equal(t, r.kept, kept(), r.after)
		requireAudit(t, later(r.after), r.audit)
	}
	enqueue(t, db, "a", 4, 4) // the relay goes on as before
}

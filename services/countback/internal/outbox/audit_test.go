package outbox

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/store"
)

// audited is a relay that has published three events of a and two of b.
func audited(t *testing.T) (*store.DB, *broker, *Relay) {
	t.Helper()
	db := openStore(t)
	b := startBroker(t)
	r, _ := runRelay(t, relayOptions(db, b.js()))
	enqueue(t, db, "a", 1, 3)
	enqueue(t, db, "b", 1, 2)
	require.NoError(t, r.Drained(limited(t)))
	return db, b, r
}

func streamSeqOf(t *testing.T, db *store.DB, id string) uint64 {
	t.Helper()
	rows, err := db.Published(limited(t), 0, 100)
	require.NoError(t, err)
	for _, row := range rows {
		if row.ID == id {
			return row.StreamSeq
		}
	}
	require.Fail(t, "no such row", id)
	return 0
}

func requireAudit(t *testing.T, r *Relay, want Report) {
	t.Helper()
	got, err := r.Audit(limited(t))
	require.NoError(t, err)
	require.Equal(t, want, got)
}

func TestAuditFindsNothingMissing(t *testing.T) {
	_, _, r := audited(t)
	requireAudit(t, r, Report{Checked: 5})
}

func TestAuditPublishesAgainWhatTheStreamLost(t *testing.T) {
	db, b, r := audited(t)
	js := b.js()
	stream, err := js.Stream(limited(t), StreamName)
	require.NoError(t, err)
	require.NoError(t, stream.SecureDeleteMsg(limited(t), streamSeqOf(t, db, "a-2")))

	// The broker still knows the id as sent, so it will not take it yet.
	requireAudit(t, r, Report{Checked: 5, Missing: 1, Deferred: 1})
	require.NotContains(t, sequences(inStream(t, js))["a"], int64(2))

	// A restart forgets the ids of messages that are gone, as time does.
	b.stop()
	b.start()
	requireAudit(t, r, Report{Checked: 5, Missing: 1, Republished: 1})
	require.Equal(t, []int64{1, 3, 2}, sequences(inStream(t, js))["a"], "with the same id, at the end")
	require.EqualValues(t, 6, streamSeqOf(t, db, "a-2"))
	requireAudit(t, r, Report{Checked: 5})

	// A consumer that comes now sees the gap, reads the API, and drops the latecomer.
	got := collect(t, js, ConsumeOptions{Durable: "late"}, "a-2")
	require.Equal(t, []gap{{"a", 2, 3}}, got.gaps)
	require.Equal(t, []int64{1, 3}, sequences(got.events)["a"])
}

func TestAuditFillsAStreamThatWasDeleted(t *testing.T) {
	db, b, r := audited(t)
	js := b.js()
	require.NoError(t, js.DeleteStream(limited(t), StreamName))
	enqueue(t, db, "b", 3, 3)
	require.NoError(t, r.Drained(limited(t))) // sequence 1 of the new stream
	requireAudit(t, r, Report{Checked: 6, Missing: 5, Republished: 5})
	require.Equal(t, map[string][]int64{"a": upTo(3), "b": {3, 1, 2}}, sequences(inStream(t, js)))
	requireAudit(t, r, Report{Checked: 6})
}

func TestAuditNotesAMessageUnderAnotherSequence(t *testing.T) {
	db, _, r := audited(t)
	right := streamSeqOf(t, db, "a-1")
	rows, err := db.Published(limited(t), 0, 1)
	require.NoError(t, err)
	for _, wrong := range []uint64{right + 1, 999} {
		require.NoError(t, db.MarkPublished(limited(t), []store.Mark{{Seq: rows[0].Seq, StreamSeq: wrong}}))
		requireAudit(t, r, Report{Checked: 5, Moved: 1})
		require.Equal(t, right, streamSeqOf(t, db, "a-1"))
	}
	requireAudit(t, r, Report{Checked: 5})
}

func TestAuditLeavesOldRowsAlone(t *testing.T) {
	db, b, _ := audited(t)
	js := b.js()
	require.NoError(t, js.DeleteStream(limited(t), StreamName))
	for _, tt := range []struct {
		name  string
		later time.Duration
		want  Report
	}{
		{"just too old", auditAge + time.Second, Report{Aged: 5}},
		{"just young enough", auditAge, Report{Checked: 5, Missing: 5, Republished: 5}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			o := relayOptions(db, js)
			o.Now = func() time.Time { return today.Add(tt.later) }
			r, err := NewRelay(o)
			require.NoError(t, err)
			requireAudit(t, r, tt.want)
		})
	}
}

func TestAuditReportsABrokerThatIsAway(t *testing.T) {
	_, b, r := audited(t)
	b.stop()
	ctx, cancel := contextWithTimeout(t, 20*time.Millisecond)
	defer cancel()
	_, err := r.Audit(ctx)
	require.Error(t, err)
}

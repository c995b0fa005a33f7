package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func event(n int) OutboxRow {
	return OutboxRow{ID: fmt.Sprintf("e%d", n), CaseID: "c", CaseSequence: int64(n), Subject: "s", Body: fmt.Appendf(nil, "b%d", n), CreatedAt: start}
}

func TestOutbox(t *testing.T) {
	db, ctx := open(t), context.Background()
	write(t, db, func(tx *Tx) error { return tx.Enqueue([]OutboxRow{event(1), event(2), event(3)}) })
	rows, err := db.Unpublished(ctx, 10)
	require.NoError(t, err)
	require.Len(t, rows, 3)
	for i, r := range rows {
		want := event(i + 1)
		want.Seq = r.Seq
		require.Equal(t, want, r)
		require.True(t, i == 0 || r.Seq > rows[i-1].Seq)
	}
	// The one in the middle is acknowledged first: the first one stays waiting.
	require.NoError(t, db.MarkPublished(ctx, []Mark{{Seq: rows[1].Seq, StreamSeq: 41}}))
	waiting, err := db.Unpublished(ctx, 10)
	require.NoError(t, err)
	require.Equal(t, []OutboxRow{rows[0], rows[2]}, waiting)
	limited, err := db.Unpublished(ctx, 1)
	require.NoError(t, err)
	require.Equal(t, rows[:1], limited)

	want := rows[1]
	want.PublishedAt, want.StreamSeq = start, 41
	out, err := db.Published(ctx, 0, 10)
	require.NoError(t, err)
	require.Equal(t, []OutboxRow{want}, out)

	require.NoError(t, db.MarkPublished(ctx, []Mark{{Seq: rows[1].Seq, StreamSeq: 99}})) // published again
	out, err = db.Published(ctx, rows[0].Seq, 10)
	require.NoError(t, err)
	require.Equal(t, uint64(99), out[0].StreamSeq)
	out, err = db.Published(ctx, rows[1].Seq, 10)
	require.NoError(t, err)
	require.Empty(t, out)
	require.NoError(t, db.MarkPublished(ctx, nil))
	require.ErrorIs(t, db.MarkPublished(ctx, []Mark{{Seq: 12345}}), ErrNotFound)
}

func TestEnqueueConflicts(t *testing.T) {
	for name, change := range map[string]func(*OutboxRow){
		"id used before":              func(r *OutboxRow) { r.ID = "e1" },
		"sequence number used before": func(r *OutboxRow) { r.CaseSequence = 1 },
	} {
		t.Run(name, func(t *testing.T) {
			db := open(t)
			write(t, db, func(tx *Tx) error { return tx.Enqueue([]OutboxRow{event(1)}) })
			second := event(2)
			change(&second)
			require.ErrorIs(t, db.Write(context.Background(), func(tx *Tx) error { return tx.Enqueue([]OutboxRow{second}) }), ErrConflict)
		})
	}
}

func TestWake(t *testing.T) {
	db := open(t)
	pending := func() bool {
		select {
		case <-db.Wake():
			return true
		default:
			return false
		}
	}
	write(t, db, func(tx *Tx) error { return tx.SaveCase(Case{ID: "c"}) })
	require.False(t, pending(), "nothing was enqueued")
	write(t, db, func(tx *Tx) error { return tx.Enqueue(nil) })
	require.False(t, pending(), "nothing was enqueued")
	require.Error(t, db.Write(context.Background(), func(tx *Tx) error {
		if err := tx.Enqueue([]OutboxRow{event(1)}); err != nil {
			return err
		}
		return errors.New("undone")
	}))
	require.False(t, pending(), "what was enqueued was undone")
	for n := range 3 {
		write(t, db, func(tx *Tx) error { return tx.Enqueue([]OutboxRow{event(n)}) })
	}
	require.True(t, pending())
	require.False(t, pending(), "one signal is enough")
}

// What was published before a time is deleted, and nothing else: not what is
// younger, nor what never left.
func TestPrune(t *testing.T) {
	now := start
	db, ctx := open(t, func(o *Options) { o.Now = func() time.Time { return now } }), context.Background()
	day := 24 * time.Hour
	publish := func(seqs ...int64) {
		for _, seq := range seqs {
			require.NoError(t, db.MarkPublished(ctx, []Mark{{Seq: seq, StreamSeq: uint64(seq)}}))
		}
	}
	enqueue := func(first, last int) {
		for n := first; n <= last; n++ {
			e := event(n)
			e.CreatedAt = now
			write(t, db, func(tx *Tx) error { return tx.Enqueue([]OutboxRow{e}) })
		}
	}
	enqueue(1, 7)
	publish(1, 2, 4, 5, 6) // 3 never left
	now = now.Add(3 * day)
	publish(7) // it left late
	enqueue(8, 9)
	publish(8, 9)

	left := func() []int64 {
		out := []int64{}
		require.NoError(t, db.Read(ctx, func(tx *Tx) error {
			return tx.each(func(rows *sql.Rows) error {
				var seq int64
				err := rows.Scan(&seq)
				out = append(out, seq)
				return err
			}, `SELECT seq FROM outbox ORDER BY seq`)
		}))
		return out
	}
	prune := func(before time.Time, limit int) (deleted []int64) {
		for after := int64(0); ; {
			next, n, err := db.Prune(ctx, after, before, limit)
			require.NoError(t, err)
			deleted = append(deleted, n)
			if after = next; after == 0 {
				return deleted
			}
		}
	}
	require.Equal(t, []int64{0}, prune(start, 100), "at the very moment it is not yet older")
	require.Len(t, left(), 9)
	require.Equal(t, []int64{2, 1, 2, 0}, prune(start.Add(time.Microsecond), 2), "a few at a time")
	require.Equal(t, []int64{3, 7, 8, 9}, left())
	require.Equal(t, []int64{3}, prune(now.Add(time.Hour), 100))
	require.Equal(t, []int64{3}, left())
	waiting, err := db.Unpublished(ctx, 10)
	require.NoError(t, err)
	require.Len(t, waiting, 1, "what never left still waits")
	enqueue(10, 10)
	require.Equal(t, []int64{3, 10}, left(), "numbers are not used again")
}

package store

import (
	"context"
	"errors"
	"fmt"
	"testing"

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

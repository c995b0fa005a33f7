package store

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"
)

// Everyone who watches is told of a commit with events, whoever else is; who
// left is not.
func TestWatch(t *testing.T) {
	db := open(t)
	ctx, leave := context.WithCancel(context.Background())
	stays, leaves := db.Watch(context.Background()), db.Watch(ctx)
	enqueue := func(id string, n int64) {
		write(t, db, func(tx *Tx) error {
			return tx.Enqueue([]OutboxRow{{ID: id, CaseID: "c", CaseSequence: n, Subject: "s"}})
		})
	}
	enqueue("a", 1)
	<-stays
	<-leaves
	write(t, db, func(tx *Tx) error { return tx.SaveCase(Case{ID: "c"}) })
	leave()
	enqueue("b", 2)
	<-stays
	require.Empty(t, stays, "one signal a commit, none without events")
}

package outbox

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/store"
)

// While a transaction is under way the relay looks, and finds nothing of it: what
// is undone afterwards was never told to anybody, and its numbers are free again.
func TestNothingIsPublishedBeforeTheCommit(t *testing.T) {
	db := openStore(t)
	js := connect(t, startServer(t, ServerOptions{}).Connect)
	r, stop := runRelay(t, relayOptions(db, js))
	enqueue(t, db, "a", 1, 2)
	require.NoError(t, r.Drained(limited(t)))

	undone := errors.New("undone")
	require.ErrorIs(t, db.Write(limited(t), func(tx *store.Tx) error {
		if err := tx.Enqueue([]store.OutboxRow{row(t, "a", 3), row(t, "b", 1)}); err != nil {
			return err
		}
		seen, err := db.Unpublished(limited(t), 10)
		if err != nil || len(seen) > 0 {
			return errors.Join(err, errors.New("it can be seen"))
		}
		// Everything that is committed is out, says a whole pass of the relay.
		if err := r.Drained(limited(t)); err != nil {
			return err
		}
		return undone
	}), undone)
	require.Equal(t, map[string][]int64{"a": upTo(2)}, sequences(inStream(t, js)))

	enqueue(t, db, "a", 3, 3)
	require.NoError(t, r.Drained(limited(t)))
	stop()
	require.Equal(t, map[string][]int64{"a": upTo(3)}, sequences(inStream(t, js)))
	require.EqualValues(t, 3, r.Stats().Published)
}

package store

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// leased takes what is due and gives the ids with their attempts.
func leased(t *testing.T, db *DB, holder string, now time.Time) map[string]int {
	t.Helper()
	out := map[string]int{}
	write(t, db, func(tx *Tx) error {
		got, err := tx.LeaseDue(holder, now, now.Add(time.Minute), 10)
		for _, l := range got {
			out[l.CaseID] = l.Attempts
		}
		return err
	})
	return out
}

func dueAt(t *testing.T, db *DB, id string, next time.Time) {
	t.Helper()
	write(t, db, func(tx *Tx) error { return tx.SaveCase(Case{ID: id, NextAt: next, Open: true}) })
}

func TestDueCases(t *testing.T) {
	db := open(t)
	for id, next := range map[string]time.Time{
		"never": {}, "past": start.Add(-time.Hour), "now": start, "later": start.Add(time.Microsecond)} {
		dueAt(t, db, id, next)
	}
	read(t, db, func(tx *Tx) error {
		due, err := tx.DueCases(start, 10)
		require.Equal(t, []string{"past", "now"}, due)
		one, err2 := tx.DueCases(start, 1)
		require.Equal(t, []string{"past"}, one)
		require.NoError(t, err2)
		return err
	})
}

// A lease keeps others off until it ends; then anyone takes it over, and the one
// who had it has it no more.
func TestLease(t *testing.T) {
	db := open(t)
	dueAt(t, db, "c", start)
	holds := func(holder string) (held bool) {
		read(t, db, func(tx *Tx) (err error) { held, err = tx.Leased("c", holder); return })
		return held
	}
	require.Equal(t, map[string]int{"c": 1}, leased(t, db, "one", start))
	require.Empty(t, leased(t, db, "two", start.Add(time.Minute-time.Microsecond)))
	require.True(t, holds("one"))
	write(t, db, func(tx *Tx) error { // looked for before "one" had it, as another writer may
		args := append([]any{"two", start.Add(time.Minute).UnixMicro(), "c"}, dueArgs(start, 1)[1:3]...)
		var attempts int
		require.ErrorIs(t, tx.one([]any{&attempts}, takeLease, args...), ErrNotFound)
		return nil
	})
	require.True(t, holds("one"))
	require.Equal(t, map[string]int{"c": 2}, leased(t, db, "two", start.Add(time.Minute)), "it ended")
	require.False(t, holds("one"))
	require.True(t, holds("two"))

	write(t, db, func(tx *Tx) error { return tx.Release("c", "one") })
	require.True(t, holds("two"), "only who has it gives it back")
	write(t, db, func(tx *Tx) error { return tx.Release("c", "two") })
	require.Equal(t, map[string]int{"c": 1}, leased(t, db, "one", start.Add(time.Minute)), "a release forgets the attempts")
}

func TestRest(t *testing.T) {
	db := open(t)
	dueAt(t, db, "c", start)
	resting := func() (n int64) {
		read(t, db, func(tx *Tx) (err error) { n, err = tx.Resting(); return })
		return n
	}
	leased(t, db, "one", start)
	require.Zero(t, resting(), "being worked on")
	write(t, db, func(tx *Tx) error { return tx.Rest("c", "one", start.Add(time.Hour)) })
	require.EqualValues(t, 1, resting())
	require.Empty(t, leased(t, db, "two", start.Add(time.Hour-time.Microsecond)))
	require.Equal(t, map[string]int{"c": 2}, leased(t, db, "two", start.Add(time.Hour)))
	write(t, db, func(tx *Tx) error { return tx.Rest("c", "two", start.Add(3*time.Hour)) })
	// A message led to another plan meanwhile: the rest was for the old time.
	dueAt(t, db, "c", start.Add(time.Hour+time.Minute))
	require.Zero(t, resting())
	require.Equal(t, map[string]int{"c": 1}, leased(t, db, "two", start.Add(time.Hour+time.Minute)))
}

// A lease that ends later than any may was written by a clock that was ahead.
func TestLeaseOfAClockAhead(t *testing.T) {
	db := open(t)
	dueAt(t, db, "c", start)
	leased(t, db, "one", start.AddDate(1, 0, 0))
	require.Equal(t, map[string]int{"c": 2}, leased(t, db, "two", start))
}

// After a restart nobody works any more, and what was begun is counted.
func TestLeaseOfAProcessThatIsGone(t *testing.T) {
	dir := t.TempDir()
	db := open(t, in(dir))
	dueAt(t, db, "c", start)
	leased(t, db, "one", start)
	require.NoError(t, db.Close())
	again := open(t, in(dir))
	require.Equal(t, map[string]int{"c": 2}, leased(t, again, "two", start))
}

func TestLeaseRefuses(t *testing.T) {
	db := open(t)
	write(t, db, func(tx *Tx) error {
		_, err := tx.LeaseDue("", start, start, 1)
		require.Error(t, err)
		_, err = tx.LeaseDue("one", start, start.Add(longestLease+1), 1)
		require.Error(t, err)
		return nil
	})
}

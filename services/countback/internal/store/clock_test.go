package store

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// What is written last says how far time had come, whichever table holds it.
var lastEntries = map[string]func(*Tx) error{
	"a message":  func(tx *Tx) error { _, err := tx.Archive(Received{Method: "POST"}); return err },
	"a resource": func(tx *Tx) error { return tx.Save(saved("CarePlan", "c", 1, "{}"), nil) },
	"an event":   func(tx *Tx) error { return tx.Enqueue([]OutboxRow{{ID: "e", CaseID: "c", CaseSequence: 1}}) },
}

// Time goes on from what is stored when the clock was set back between two
// processes; set back by more than two days, the store is not opened.
func TestClockGoesOnAfterARestart(t *testing.T) {
	for _, r := range []struct {
		name string
		back time.Duration
		want time.Duration // before what was stored
		err  error
	}{
		{"an hour back", time.Hour, 0, nil},
		{"two days back", 48 * time.Hour, 0, nil},
		{"more than two days back", 48*time.Hour + time.Microsecond, 0, ErrClockBack},
		{"ten years back", 10 * 365 * 24 * time.Hour, 0, ErrClockBack},
		{"an hour on", -time.Hour, -time.Hour, nil},
	} {
		for what, entry := range lastEntries {
			t.Run(r.name+" after "+what, func(t *testing.T) {
				dir := t.TempDir()
				db := open(t, in(dir))
				write(t, db, entry)
				require.NoError(t, db.Close())
				o := Options{Path: dir, Now: func() time.Time { return start.Add(-r.back) }}
				again, err := Open(context.Background(), o)
				require.ErrorIs(t, err, r.err)
				if r.err != nil {
					return
				}
				write(t, again, func(tx *Tx) error {
					require.Equal(t, start.Add(-r.want), tx.Now)
					return nil
				})
				require.NoError(t, again.Close())
			})
		}
	}
}

// A person says that the clock was ahead: time is what it says now, what was
// planned meanwhile is due, and the next start needs no word.
func TestClockCorrected(t *testing.T) {
	dir := t.TempDir()
	now := start.Add(-30 * 24 * time.Hour)
	corrected := func(o *Options) { o.Now, o.ClockCorrected = func() time.Time { return now }, true }
	before := open(t, in(dir), corrected)
	write(t, before, func(tx *Tx) error { return tx.SaveCase(Case{ID: "before", NextAt: start, Open: true}) })
	require.NoError(t, before.Close())
	ahead := open(t, in(dir))
	write(t, ahead, func(tx *Tx) error {
		if _, err := tx.Archive(Received{Method: "POST"}); err != nil {
			return err
		}
		return tx.SaveCase(Case{ID: "ahead", State: "closed"})
	})
	require.NoError(t, ahead.Close())

	again := open(t, in(dir), corrected)
	write(t, again, func(tx *Tx) error {
		require.Equal(t, now, tx.Now)
		due, err := tx.DueCases(now, 10)
		require.Equal(t, []string{"ahead"}, due)
		require.NoError(t, err)
		_, err = tx.Archive(Received{Method: "POST"})
		return err
	})
	require.NoError(t, again.Close())
	last := open(t, in(dir), func(o *Options) { o.Now = func() time.Time { return now.Add(time.Hour) } })
	write(t, last, func(tx *Tx) error {
		require.Equal(t, now.Add(time.Hour), tx.Now)
		return nil
	})
}

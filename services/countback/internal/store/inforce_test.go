package store

import (
	"context"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestInForce(t *testing.T) {
	db := open(t)
	read(t, db, func(tx *Tx) error {
		_, err := tx.InForce()
		require.ErrorIs(t, err, ErrNotFound)
		return nil
	})
	require.ErrorIs(t, db.Write(context.Background(), func(tx *Tx) error {
		return tx.PutInForce(InForce{URL: "u", Version: "1"})
	}), ErrNotFound, "only what is stored")
	write(t, db, func(tx *Tx) error {
		for _, v := range []string{"1", "2"} {
			if err := tx.SaveProtocol("u", v, []byte(v)); err != nil {
				return err
			}
		}
		return tx.PutInForce(InForce{URL: "u", Version: "1", Resource: "PlanDefinition/p/_history/1"})
	})
	check := func(want InForce) {
		t.Helper()
		want.Since = start
		read(t, db, func(tx *Tx) error {
			got, err := tx.InForce()
			require.Equal(t, want, got)
			return err
		})
	}
	check(InForce{URL: "u", Version: "1", Resource: "PlanDefinition/p/_history/1"})
	adopted := InForce{URL: "u", Version: "2", ReceivedID: 7, Resource: "PlanDefinition/p/_history/2"}
	require.Error(t, db.Write(context.Background(), func(tx *Tx) error {
		if err := tx.PutInForce(adopted); err != nil {
			return err
		}
		got, err := tx.InForce()
		require.NoError(t, err)
		require.Equal(t, "u|2", got.Canonical(), "within the transaction")
		return fmt.Errorf("undone")
	}))
	check(InForce{URL: "u", Version: "1", Resource: "PlanDefinition/p/_history/1"})
	write(t, db, func(tx *Tx) error { return tx.PutInForce(adopted) })
	check(adopted)
}

// A walk over the cases of other protocols passes each once, also when some
// leave the list while it goes on; closed cases and those of this protocol are
// not in it.
func TestOlderCases(t *testing.T) {
	db := open(t)
	for n := range 20 {
		write(t, db, func(tx *Tx) error {
			return tx.SaveCase(Case{ID: fmt.Sprintf("c%02d", n), Open: n%5 != 4, Protocol: fmt.Sprintf("u|%d", n%4), Updated: start})
		})
	}
	var seen []string
	var at Place
	for {
		var batch []string
		read(t, db, func(tx *Tx) (err error) {
			batch, at, err = tx.OlderCases("u|2", at, 3)
			return err
		})
		if len(batch) == 0 {
			break
		}
		seen = append(seen, batch...)
		write(t, db, func(tx *Tx) error { // two of three follow
			for _, id := range batch[:len(batch)*2/3] {
				c, err := tx.Case(id)
				if err != nil {
					return err
				}
				c.Protocol = "u|2"
				if err := tx.SaveCase(c); err != nil {
					return err
				}
			}
			return nil
		})
	}
	require.Equal(t, []string{"c00", "c08", "c12", "c16", "c01", "c05", "c13", "c17", "c03", "c07", "c11", "c15"}, seen)
	read(t, db, func(tx *Tx) error {
		open, older, err := tx.OpenCounts("u|2")
		require.NoError(t, err)
		require.Equal(t, []int64{16, 4}, []int64{open, older})
		ids, err := tx.OpenIDs()
		require.Len(t, ids, 16)
		require.IsIncreasing(t, ids)
		return err
	})
}

func TestFire(t *testing.T) {
	db := open(t)
	write(t, db, func(tx *Tx) error { return tx.SaveCase(Case{ID: "c", Open: true, Updated: start}) })
	write(t, db, func(tx *Tx) error { return tx.Fire("c") })
	read(t, db, func(tx *Tx) error {
		due, err := tx.DueCases(start, 10)
		require.Equal(t, []string{"c"}, due)
		return err
	})
	require.ErrorIs(t, db.Write(context.Background(), func(tx *Tx) error { return tx.Fire("none") }), ErrNotFound)
}

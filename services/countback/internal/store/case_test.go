package store

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestCases(t *testing.T) {
	db := open(t)
	a := Case{ID: "a", Patient: "p", Key: "k", State: "on-track", Sequence: 3, NextAt: start.Add(time.Hour), Open: true,
		Data: []byte(`{}`), Protocol: "u|1", Updated: start}
	b := Case{ID: "b", Patient: "p", State: "closed", Updated: start}
	c := Case{ID: "c", Patient: "q", State: "held", NextAt: start, Open: true, Updated: start}
	write(t, db, func(tx *Tx) error {
		for _, one := range []Case{b, a, c} {
			if err := tx.SaveCase(one); err != nil {
				return err
			}
		}
		return nil
	})
	read(t, db, func(tx *Tx) error {
		got, err := tx.Case("a")
		require.NoError(t, err)
		require.Equal(t, a, got)
		_, err = tx.Case("z")
		require.ErrorIs(t, err, ErrNotFound)
		of, err := tx.CasesOf("p")
		require.NoError(t, err)
		require.Equal(t, []Case{a, b}, of)
		all, err := tx.OpenCases("", 10)
		require.NoError(t, err)
		require.Equal(t, []Case{a, c}, all)
		rest, err := tx.OpenCases("a", 10)
		require.NoError(t, err)
		require.Equal(t, []Case{c}, rest)
		return nil
	})
	a.State, a.NextAt, a.Open, a.Sequence = "closed", time.Time{}, false, 4
	write(t, db, func(tx *Tx) error { return tx.SaveCase(a) })
	read(t, db, func(tx *Tx) error {
		got, err := tx.Case("a")
		require.Equal(t, a, got)
		return err
	})
}

func item(n int) Item {
	due := start.AddDate(0, 0, n)
	return Item{CaseID: "c", N: n + 1, Patient: "p", Step: "s", Repeat: "r", Round: n, Version: 1,
		Created: start, Updated: start, Focus: "Procedure/1", BasedOn: "ServiceRequest/2", State: "upcoming", Status: "draft", Owner: "Practitioner/1",
		OpensFrom: due.AddDate(0, 0, -7), OpensTo: due.AddDate(0, 0, -6), DueFrom: due, DueTo: due.AddDate(0, 0, 1),
		Protocol: "u|1", Data: fmt.Appendf(nil, `{"n":%d}`, n)}
}

func TestItems(t *testing.T) {
	db := open(t)
	var all []Item
	for n := range 130 { // more than two INSERTs
		all = append(all, item(n))
	}
	write(t, db, func(tx *Tx) error { return tx.SaveCase(Case{ID: "c", Patient: "p"}) })
	write(t, db, func(tx *Tx) error { return tx.SaveItems(all) })
	read(t, db, func(tx *Tx) error {
		got, err := tx.Items("c")
		require.Equal(t, all, got)
		none, err2 := tx.Items("d")
		require.NoError(t, err2)
		require.Empty(t, none)
		return err
	})
}

func TestItemVersions(t *testing.T) {
	db := open(t)
	one := item(1)
	two := one
	two.Version, two.State, two.Status, two.Owner, two.Data = 2, "open", "requested", "", []byte(`{"n":2}`)
	two.DueFrom, two.DueTo, two.Protocol, two.Updated = time.Time{}, time.Time{}, "u|2", start.Add(time.Hour)
	two.Focus, two.BasedOn = "Procedure/3", ""
	three := two
	three.Version, three.State, three.Data = 3, "done", []byte(`{"n":3}`)
	write(t, db, func(tx *Tx) error { return tx.SaveCase(Case{ID: "c", Patient: "p"}) })
	for _, i := range []Item{one, two, three} {
		write(t, db, func(tx *Tx) error { return tx.SaveItems([]Item{i, item(int(i.Version) + 10)}) })
	}
	read(t, db, func(tx *Tx) error {
		current, err := tx.Item(one.TaskID())
		require.NoError(t, err)
		require.Equal(t, three, current)
		for v, want := range []Item{one, two, three} {
			got, err := tx.ItemVersion(one.TaskID(), int64(v)+1)
			require.NoError(t, err)
			require.Equal(t, want, got)
		}
		history, err := tx.ItemVersions(one.TaskID())
		require.NoError(t, err)
		require.Equal(t, []Item{three, two, one}, history)
		_, err = tx.ItemVersion(one.TaskID(), 4)
		require.ErrorIs(t, err, ErrNotFound)
		for _, id := range []string{"none", "c.0000", "c.2", "c.00002", "d.0002", "c.0999", ".0002", "c."} {
			_, err = tx.Item(id)
			require.ErrorIs(t, err, ErrNotFound, id)
		}
		return nil
	})
}

func TestItemConflicts(t *testing.T) {
	for name, version := range map[string]int64{"again": 1, "the same": 2, "one skipped": 4, "zero": 0, "negative": -1} {
		t.Run(name, func(t *testing.T) {
			db := open(t)
			i := item(1)
			write(t, db, func(tx *Tx) error { return tx.SaveCase(Case{ID: "c", Patient: "p"}) })
			write(t, db, func(tx *Tx) error { return tx.SaveItems([]Item{i}) })
			i.Version = 2
			write(t, db, func(tx *Tx) error { return tx.SaveItems([]Item{i}) })
			changed := i
			changed.Version, changed.State = version, "done"
			err := db.Write(context.Background(), func(tx *Tx) error { return tx.SaveItems([]Item{item(2), changed}) })
			require.ErrorIs(t, err, ErrConflict)
			read(t, db, func(tx *Tx) error {
				got, err := tx.Items("c")
				require.Equal(t, []Item{i}, got)
				return err
			})
		})
	}
}

func TestProtocols(t *testing.T) {
	db := open(t)
	save := func(version, body string) error {
		return db.Write(context.Background(), func(tx *Tx) error { return tx.SaveProtocol("u", version, []byte(body)) })
	}
	require.NoError(t, save("2", "two"))
	require.NoError(t, save("1", "one"))
	require.NoError(t, save("1", "one"))
	require.ErrorIs(t, save("1", "changed"), ErrConflict)
	read(t, db, func(tx *Tx) error {
		body, err := tx.Protocol("u", "1")
		require.NoError(t, err)
		require.Equal(t, "one", string(body))
		_, err = tx.Protocol("u", "3")
		require.ErrorIs(t, err, ErrNotFound)
		all, err := tx.Protocols()
		require.Equal(t, []ProtocolVersion{{"u", "1", start}, {"u", "2", start}}, all)
		return err
	})
}

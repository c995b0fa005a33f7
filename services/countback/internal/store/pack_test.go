package store

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// What is packed comes back byte for byte, whatever it is.
func TestPackedComesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		body := rapid.SliceOf(rapid.Byte()).Draw(t, "body")
		if rapid.Bool().Draw(t, "looks packed") {
			body = append([]byte{mark}, body...)
		}
		body = bytes.Repeat(body, rapid.IntRange(1, 50).Draw(t, "times"))
		var got []byte
		require.NoError(t, packed{&got}.Scan(pack(body)))
		require.True(t, bytes.Equal(body, got))
	})
}

func TestPackedRefuses(t *testing.T) {
	var got []byte
	require.Error(t, packed{&got}.Scan("text"))
	require.Error(t, packed{&got}.Scan([]byte{mark, 0xff, 0xff, 0xff, 0xff, 0xff, 0x7f}))
	require.NoError(t, packed{&got}.Scan(nil))
	require.Nil(t, got)
}

// A body that repeats itself must shrink: that is what packing is for.
func TestPackShrinks(t *testing.T) {
	body := bytes.Repeat([]byte(`{"reference":"Task/01a1fa1d-8100-765e-bc1c-5ee1575b3121.0001"},`), 80)
	require.Less(t, len(pack(body)), len(body)/5)
}

func TestReassign(t *testing.T) {
	db := open(t)
	write(t, db, func(tx *Tx) error {
		for id, patient := range map[string]string{"1": "waiting", "2": "waiting", "3": "p", "4": ""} {
			s := saved("Procedure", id, 1, "{}")
			s.Patient = patient
			if err := tx.Save(s, nil); err != nil {
				return err
			}
		}
		return nil
	})
	write(t, db, func(tx *Tx) error {
		n, err := tx.Reassign("waiting", "p")
		require.Equal(t, int64(2), n)
		none, err2 := tx.Reassign("", "p")
		require.Zero(t, none)
		require.NoError(t, err2)
		return err
	})
	read(t, db, func(tx *Tx) error {
		all, err := tx.OfPatient("p")
		require.Len(t, all, 3)
		people, err2 := tx.Patients("", 9, "Procedure", "Appointment")
		require.Equal(t, []string{"p"}, people)
		require.NoError(t, err2)
		return err
	})
}

func TestCounts(t *testing.T) {
	db := open(t)
	write(t, db, func(tx *Tx) error {
		for id, state := range map[string]string{"a": "held", "b": "ready", "c": "held"} {
			if err := tx.SaveCase(Case{ID: id, State: state}); err != nil {
				return err
			}
		}
		return tx.Enqueue([]OutboxRow{{ID: "e", CaseID: "a", CaseSequence: 1}})
	})
	read(t, db, func(tx *Tx) error {
		counts, err := tx.CaseCounts()
		require.Equal(t, []StateCount{{"held", 2}, {"ready", 1}}, counts)
		waiting, err2 := tx.Waiting()
		require.Equal(t, int64(1), waiting)
		require.NoError(t, err2)
		return err
	})
}

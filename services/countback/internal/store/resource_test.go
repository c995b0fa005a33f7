package store

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/search"
)

func identifier(system, value string) search.Value {
	return search.Value{Param: "identifier", Kind: search.Token, System: system, Value: value}
}

func TestArchiveKeepsBytes(t *testing.T) {
	db := open(t)
	for name, r := range map[string]Received{
		"as sent":       {At: start.Add(time.Microsecond), Source: "feed", ContentType: "application/fhir+json", Method: "PUT", Target: "Patient/1", Body: []byte("{ \"a\" : 1.10 }\r\n")},
		"not UTF-8":     {At: start, Body: []byte{0xff, 0x00, 0xfe}},
		"without body":  {At: start, Method: "DELETE", Target: "Patient/1"},
		"without clock": {Body: []byte("x")},
	} {
		t.Run(name, func(t *testing.T) {
			var id int64
			write(t, db, func(tx *Tx) (err error) {
				id, err = tx.Archive(r)
				return err
			})
			read(t, db, func(tx *Tx) error {
				got, err := tx.Archived(id)
				if r.At.IsZero() {
					r.At = start
				}
				require.Equal(t, r, got)
				_, missing := tx.Archived(id + 1000)
				require.ErrorIs(t, missing, ErrNotFound)
				return err
			})
		})
	}
}

func TestVersions(t *testing.T) {
	db := open(t)
	write(t, db, func(tx *Tx) error {
		_, err := tx.Current("Patient", "a")
		require.ErrorIs(t, err, ErrNotFound)
		s := saved("Patient", "a", 1, "one")
		s.Patient, s.ReceivedID = "a", 7
		return tx.Save(s, []search.Value{identifier("s", "1")})
	})
	write(t, db, func(tx *Tx) error {
		s := saved("Patient", "a", 2, "two")
		s.Updated = start.Add(time.Hour)
		return tx.Save(s, []search.Value{identifier("s", "2")})
	})
	write(t, db, func(tx *Tx) error {
		return tx.Save(Stored{Type: "Patient", ID: "a", Version: 3, Deleted: true}, nil)
	})
	read(t, db, func(tx *Tx) error {
		one, err := tx.Version("Patient", "a", 1)
		require.NoError(t, err)
		require.Equal(t, Stored{Type: "Patient", ID: "a", Version: 1, Updated: start, Body: []byte("one"), ReceivedID: 7}, one) // whose it is now
		two, err := tx.Version("Patient", "a", 2)
		require.NoError(t, err)
		require.Equal(t, Stored{Type: "Patient", ID: "a", Version: 2, Updated: start.Add(time.Hour), Body: []byte("two")}, two)
		three, err := tx.Current("Patient", "a")
		require.NoError(t, err)
		require.Equal(t, Stored{Type: "Patient", ID: "a", Version: 3, Updated: start, Deleted: true}, three)
		all, err := tx.Versions("Patient", "a")
		require.NoError(t, err)
		require.Equal(t, []Stored{three, two, one}, all)
		_, err = tx.Version("Patient", "a", 4)
		require.ErrorIs(t, err, ErrNotFound)
		_, err = tx.Current("Practitioner", "a")
		require.ErrorIs(t, err, ErrNotFound)
		return nil
	})
}

func TestVersionConflicts(t *testing.T) {
	tests := map[string]struct {
		stored int64 // versions saved before
		save   int64
		want   error
	}{
		"first":             {0, 1, nil},
		"next":              {2, 3, nil},
		"first again":       {1, 1, ErrConflict},
		"same version":      {2, 2, ErrConflict},
		"a version skipped": {2, 4, ErrConflict},
		"next of nothing":   {0, 2, ErrConflict},
		"version zero":      {0, 0, ErrConflict},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			db := open(t)
			for v := range tt.stored {
				write(t, db, func(tx *Tx) error { return tx.Save(saved("Patient", "a", v+1, "x"), nil) })
			}
			err := db.Write(context.Background(), func(tx *Tx) error {
				return tx.Save(saved("Patient", "a", tt.save, "new"), nil)
			})
			require.ErrorIs(t, err, tt.want)
			read(t, db, func(tx *Tx) error {
				all, err := tx.Versions("Patient", "a")
				want := tt.stored
				if tt.want == nil {
					want++
				}
				require.Len(t, all, int(want))
				return err
			})
		})
	}
}

// Of 64 clients that change the same version one may win.
func TestVersionRace(t *testing.T) {
	db := open(t)
	write(t, db, func(tx *Tx) error { return tx.Save(saved("Patient", "a", 1, "x"), nil) })
	results := make(chan error, 64)
	for range cap(results) {
		go func() {
			results <- db.Write(context.Background(), func(tx *Tx) error { return tx.Save(saved("Patient", "a", 2, "y"), nil) })
		}()
	}
	won := 0
	for range cap(results) {
		if err := <-results; err == nil {
			won++
		} else {
			require.ErrorIs(t, err, ErrConflict)
		}
	}
	require.Equal(t, 1, won)
}

// The one writer makes a conditional create free of races: look, then save.
func TestConditionalCreateRace(t *testing.T) {
	db := open(t)
	results := make(chan error, 64)
	for range cap(results) {
		go func() {
			results <- db.Write(context.Background(), func(tx *Tx) error {
				ids, err := tx.ByIdentifier("Patient", "urn:mrn", "1")
				if err != nil || len(ids) > 0 {
					return err
				}
				return tx.Save(saved("Patient", tx.NewID(), 1, "x"), []search.Value{identifier("urn:mrn", "1")})
			})
		}()
	}
	for range cap(results) {
		require.NoError(t, <-results)
	}
	read(t, db, func(tx *Tx) error {
		ids, err := tx.ByIdentifier("Patient", "urn:mrn", "1")
		require.Len(t, ids, 1)
		return err
	})
}

func TestByIdentifier(t *testing.T) {
	db := open(t)
	write(t, db, func(tx *Tx) error {
		for id, values := range map[string][]search.Value{
			"b": {identifier("s", "1"), identifier("t", "2")},
			"a": {identifier("s", "1")},
			"c": {identifier("", "1")},
			"d": {identifier("s", "A1")},
		} {
			if err := tx.Save(saved("Patient", id, 1, id), values); err != nil {
				return err
			}
		}
		if err := tx.Save(saved("Practitioner", "p", 1, "p"), []search.Value{identifier("s", "1")}); err != nil {
			return err
		}
		if err := tx.Save(saved("Patient", "gone", 1, ""), []search.Value{identifier("s", "1")}); err != nil {
			return err
		}
		return tx.Save(Stored{Type: "Patient", ID: "gone", Version: 2, Deleted: true}, []search.Value{identifier("s", "1")})
	})
	tests := map[string]struct {
		system, value string
		want          []string
	}{
		"two, ordered, of this type, not deleted": {"s", "1", []string{"a", "b"}},
		"second identifier":                       {"t", "2", []string{"b"}},
		"no system is a system of its own":        {"", "1", []string{"c"}},
		"case matters":                            {"s", "a1", nil},
		"no prefix match":                         {"s", "A", nil},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			read(t, db, func(tx *Tx) error {
				ids, err := tx.ByIdentifier("Patient", tt.system, tt.value)
				require.Equal(t, tt.want, ids)
				return err
			})
		})
	}
}

func TestOfPatient(t *testing.T) {
	db := open(t)
	write(t, db, func(tx *Tx) error {
		for _, s := range []Stored{
			{Type: "Procedure", ID: "3", Version: 1, Patient: "p"},
			{Type: "Appointment", ID: "1", Version: 1, Patient: "p"},
			{Type: "Encounter", ID: "2", Version: 1, Patient: "p"},
			{Type: "Encounter", ID: "2", Version: 2, Patient: "p", Body: []byte("new")},
			{Type: "Encounter", ID: "4", Version: 1, Patient: "p"},
			{Type: "Encounter", ID: "4", Version: 2, Patient: "p", Deleted: true},
			{Type: "Encounter", ID: "5", Version: 1, Patient: "q"},
			{Type: "Location", ID: "6", Version: 1},
		} {
			if err := tx.Save(s, nil); err != nil {
				return err
			}
		}
		return nil
	})
	tests := map[string]struct {
		patient string
		types   []string
		want    []string
	}{
		"all, current, not deleted": {"p", nil, []string{"Appointment/1", "Encounter/2", "Procedure/3"}},
		"of two types":              {"p", []string{"Procedure", "Encounter"}, []string{"Encounter/2", "Procedure/3"}},
		"of another patient":        {"q", nil, []string{"Encounter/5"}},
		"of nobody":                 {"", nil, nil},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			read(t, db, func(tx *Tx) error {
				found, err := tx.OfPatient(tt.patient, tt.types...)
				var got []string
				for _, s := range found {
					got = append(got, s.Type+"/"+s.ID)
					if s.ID == "2" {
						require.Equal(t, "new", string(s.Body))
					}
				}
				require.Equal(t, tt.want, got)
				return err
			})
		})
	}
}

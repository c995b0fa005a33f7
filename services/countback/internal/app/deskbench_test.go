package app

import (
	"bytes"
	"database/sql"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"

	_ "github.com/ncruces/go-sqlite3/driver"
	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/search"
	"example.org/countback/services/countback/internal/store"
)

const (
	deskCases10k = 10_000
	deskItems    = 60 // of each case
)

// BenchmarkDesk measures the pages of the desk with 10,000 open cases and 600,000
// items, beside the one query that finds as many items by their due day: what
// any list of them costs at least.
func BenchmarkDesk(b *testing.B) {
	cfg := settings(b)
	a := started(b, cfg)
	fillDesk(b, a)
	for _, path := range []string{"", "/cases", "/cases?find=number-4242", "/cases?state=held", "/weeks", "/programme?from=2025-10-01&to=2027-06-01"} {
		b.Run("page"+path, func(b *testing.B) {
			for b.Loop() {
				resp, err := http.Get(a.DeskURL() + path)
				require.NoError(b, err)
				_, err = io.Copy(io.Discard, resp.Body)
				require.NoError(b, err)
				require.NoError(b, resp.Body.Close())
				require.Equal(b, http.StatusOK, resp.StatusCode)
			}
		})
	}
	b.Run("bare query", func(b *testing.B) {
		db, err := sql.Open("sqlite3", "file:"+filepath.Join(cfg.Data, store.File)+"?mode=ro")
		require.NoError(b, err)
		defer func() { require.NoError(b, db.Close()) }()
		for b.Loop() {
			rows, err := db.Query(`SELECT c.id, r.n, r.step, r.state, r.due_from, r.data FROM item r JOIN care_case c ON c.seq = r.care_case
				WHERE r.status = 'requested' AND r.status <> 'draft' ORDER BY r.due_from LIMIT 150`)
			require.NoError(b, err)
			n := 0
			for rows.Next() {
				n++
			}
			require.NoError(b, rows.Err())
			require.Equal(b, 150, n)
		}
	})
}

// fillDesk makes many cases out of one that was really booked: their days of
// surgery lie from 400 days ago to 150 days ahead, and some are held or behind.
func fillDesk(b *testing.B, a *App) {
	b.Helper()
	status, body := send(b, http.MethodPost, a.URL(), booking(1, "2026-12-07T07:30:00-06:00"))
	require.Equal(b, http.StatusOK, status, string(body))
	var o original
	require.NoError(b, a.db.Read(b.Context(), func(tx *store.Tx) error {
		cases, err := tx.OpenCases("", 1)
		require.NoError(b, err)
		o.one = cases[0]
		o.items, err = tx.Items(o.one.ID)
		require.NoError(b, err)
		o.plan, err = tx.Current("CarePlan", o.one.ID)
		require.NoError(b, err)
		o.booked, err = tx.Current("Appointment", strings.TrimPrefix(o.one.Key, "Appointment/"))
		require.NoError(b, err)
		o.patient, err = tx.Current("Patient", strings.TrimPrefix(o.one.Patient, "Patient/"))
		return err
	}))
	today := a.Clock.Now()
	for from := 0; from < deskCases10k; from += 100 {
		require.NoError(b, a.db.Write(b.Context(), func(tx *store.Tx) error {
			for n := from; n < from+100; n++ {
				if err := o.copy(tx, n, today); err != nil {
					return err
				}
			}
			return nil
		}))
	}
}

// original is the case that was really booked, and what belongs to it.
type original struct {
	one                   store.Case
	items                 []store.Item
	plan, patient, booked store.Stored
}

// copy stores the n-th copy of it.
func (o original) copy(tx *store.Tx, n int, today time.Time) error {
	c, items, plan, patient, booked := o.one, o.items, o.plan, o.patient, o.booked
	offset := n%550 - 400
	day := today.AddDate(0, 0, offset)
	c.ID, c.Sequence, c.NextAt, c.Open = tx.NewID(), 1, time.Time{}, true
	id := tx.NewID()
	c.Patient, c.Key, c.Surgery = "Patient/"+id, "Appointment/"+id, day.Format(time.DateOnly)
	c.State = "home"
	if offset >= 0 {
		c.State = []string{"on-track", "on-track", "behind", "on-track", "held", "on-track", "on-track", "infeasible", "on-track", "ready"}[n%10]
	}
	var data map[string]any
	if err := json.Unmarshal(c.Data, &data); err != nil {
		return err
	}
	data["day"] = c.Surgery
	c.Data, _ = json.Marshal(data)
	if err := tx.SaveCase(c); err != nil {
		return err
	}
	rows := make([]store.Item, 0, deskItems)
	for k, i := range items[:deskItems] {
		i.CaseID, i.Version, i.State, i.Status = c.ID, 1, "upcoming", "draft"
		switch {
		case offset >= 0 && n%3 == 0 && bytes.Contains(i.Data, []byte(`"q":`)): // nobody knows whether it applies
		case offset < 0 && k > 0, offset >= 0 && k%4 == 0:
			i.State, i.Status = "done", "completed"
			i.Updated = day.AddDate(0, 0, -10) // in time, as most are
		case k%10 == 1, offset < 0:
			i.State, i.Status = "due", "requested"
		case k%20 == 2:
			i.State, i.Status = "late", "requested"
		case k%5 == 3:
			i.State, i.Status = "open", "requested"
		}
		shift := day.Sub(today) - 62*24*time.Hour
		for _, at := range []*time.Time{&i.OpensFrom, &i.OpensTo, &i.DueFrom, &i.DueTo} {
			if !at.IsZero() {
				*at = at.Add(shift)
			}
		}
		rows = append(rows, i)
	}
	if err := tx.SaveItems(rows); err != nil {
		return err
	}
	plan.ID, plan.Version, plan.Patient = c.ID, 1, c.Patient
	if err := tx.Save(plan, nil); err != nil {
		return err
	}
	for v := range int64(1 + n%2) { // every other one was sent again
		booked.ID, booked.Version, booked.Patient = id, v+1, c.Patient
		if err := tx.Save(booked, nil); err != nil {
			return err
		}
	}
	patient.ID, patient.Version, patient.Patient = id, 1, c.Patient
	patient.Body = bytes.ReplaceAll(patient.Body, []byte("Number1"), fmt.Appendf(nil, "Number-%d", n))
	r, issues := fhir.Parse(patient.Body, len(patient.Body)+1)
	if len(issues) > 0 {
		return issues
	}
	return tx.Save(patient, search.Index(r, "", time.UTC))
}

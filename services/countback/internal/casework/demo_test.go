package casework

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"sort"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

func testFacility(t testing.TB) translate.Facility {
	t.Helper()
	loc, err := time.LoadLocation("America/Chicago")
	require.NoError(t, err)
	h, err := calendar.Holidays("us-federal")
	require.NoError(t, err)
	cal, err := calendar.New(calendar.Options{Zone: loc, Holidays: h})
	require.NoError(t, err)
	return translate.Facility{Calendar: cal, Base: "http://127.0.0.1:8080/fhir"}
}

type scratchMessage struct {
	At     time.Time
	Method string
	Path   string
	Body   json.RawMessage
	file   string
}

func TestScratchDemo(t *testing.T) {
	names, _ := filepath.Glob("../../../../testdata/demo/*.json")
	var all []scratchMessage
	for _, n := range names {
		b, err := os.ReadFile(n)
		require.NoError(t, err)
		var f struct{ Messages []scratchMessage }
		require.NoError(t, json.Unmarshal(b, &f))
		for _, m := range f.Messages {
			m.file = filepath.Base(n)
			if m.Body != nil {
				all = append(all, m)
			}
		}
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].At.Before(all[j].At) })
	now := all[0].At
	db, err := store.Open(t.Context(), store.Options{Path: t.TempDir(), Now: func() time.Time { return now }, Fatal: func(err error) { t.Fatal(err) }})
	require.NoError(t, err)
	defer db.Close()
	o, err := Open(context.Background(), Options{DB: db, Facility: testFacility(t), Token: "demo"})
	require.NoError(t, err)
	for _, m := range all {
		now = m.At
		r, issues := fhir.Parse(m.Body, 5<<20)
		require.Empty(t, issues, m.file)
		d := Delivery{Body: m.Body, Method: m.Method, Target: m.Path}
		if r.Type == "Bundle" {
			b, issues := r.Bundle(500)
			require.Empty(t, issues, m.file)
			for _, e := range b.Entries {
				d.Requests = append(d.Requests, Request{At: "Bundle.entry", Method: e.Method, Type: e.TargetType, ID: e.TargetID, Query: e.Query, IfNoneExist: e.IfNoneExist, FullURL: e.FullURL, Resource: e.Resource})
			}
		} else {
			q := Request{Method: m.Method, Type: r.Type, Resource: r}
			if i := len(r.Type) + 1; len(m.Path) > i && m.Path[i-1] == '?' {
				q.Query = m.Path[i:]
			}
			d.Requests = []Request{q}
		}
		_, err := o.Receive(t.Context(), d)
		if err != nil {
			t.Logf("%s %s: %v", m.file, m.At, err)
		}
	}
	rows, err := db.Unpublished(t.Context(), 10000)
	require.NoError(t, err)
	for _, r := range rows {
		t.Logf("%s %d %d", r.Subject, r.CaseSequence, len(r.Body))
	}
	db.Read(t.Context(), func(tx *store.Tx) error {
		cs, _ := tx.OpenCases("", 100)
		for _, c := range cs {
			t.Log(c.ID, c.Key, c.State, string(c.Data)[:60])
			s, err := tx.Current("CarePlan", c.ID)
			t.Log(err, len(s.Body))
			its, _ := tx.Items(c.ID)
			n := 0
			for _, i := range its {
				n += len(i.Data)
			}
			t.Log(len(its), n)
		}
		return nil
	})
}

package translate

import (
	"io/fs"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/api"
	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

func TestScratchPlan(t *testing.T) {
	p := defaultProtocol(t)
	loc, _ := time.LoadLocation("America/Chicago")
	h, err := calendar.Holidays("us-federal")
	require.NoError(t, err)
	cal, err := calendar.New(calendar.Options{Zone: loc, Holidays: h})
	require.NoError(t, err)
	c := &readiness.Case{
		Booked: time.Date(2026, 10, 1, 9, 0, 0, 0, loc), Day: calendar.NewDate(2026, 11, 30),
		Start: time.Date(2026, 11, 30, 7, 30, 0, 0, loc), Facts: map[string]any{"joint": "hip"},
	}
	pl := readiness.Make(c, p.Protocol, cal, time.Date(2026, 11, 20, 9, 0, 0, 0, loc))
	for n := range pl.Items {
		i := &pl.Items[n]
		t.Logf("%-26s %-10s %-20s %-20s %-20s", i.Key.Step, i.State, i.Opens.Words(), i.Due.Words(), i.Last.Words())
	}
	t.Log(pl.State, pl.NextChange)
}

func defaultProtocol(t testing.TB) *Protocol {
	t.Helper()
	defs, pd := load(t)
	p, err := ReadProtocol(pd, defs)
	require.NoError(t, err)
	return p
}

func load(t testing.TB) (Definitions, *fhir.Resource) {
	t.Helper()
	defs := Definitions{ValueSets: map[string]*ValueSet{}}
	var pd *fhir.Resource
	for _, dir := range []struct {
		fs   fs.FS
		glob string
	}{{api.FHIR, "fhir/*.json"}, {api.Protocol, "protocol/*.json"}} {
		names, _ := fs.Glob(dir.fs, dir.glob)
		for _, n := range names {
			b, err := fs.ReadFile(dir.fs, n)
			require.NoError(t, err)
			r, is := fhir.Parse(b, 4<<20)
			require.Empty(t, is, n)
			switch {
			case r.String("id") == "fact":
				defs.Facts = r
			case r.Type == "ValueSet":
				v, err := ReadValueSet(r)
				require.NoError(t, err)
				defs.ValueSets[v.URL] = v
			case r.Type == "PlanDefinition":
				pd = r
			}
		}
	}
	return defs, pd
}

func BenchmarkMake(b *testing.B) {
	p := defaultProtocol(b)
	loc, _ := time.LoadLocation("America/Chicago")
	h, _ := calendar.Holidays("us-federal")
	cal, _ := calendar.New(calendar.Options{Zone: loc, Holidays: h})
	c := &readiness.Case{
		Booked: time.Date(2026, 10, 1, 9, 0, 0, 0, loc), Day: calendar.NewDate(2026, 11, 30),
		Start: time.Date(2026, 11, 30, 7, 30, 0, 0, loc), Facts: map[string]any{"joint": "hip"},
	}
	now := time.Date(2026, 11, 20, 9, 0, 0, 0, loc)
	for b.Loop() {
		readiness.Make(c, p.Protocol, cal, now)
	}
}

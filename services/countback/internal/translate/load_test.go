package translate

import (
	"encoding/json"
	"flag"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/api"
	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

var update = flag.Bool("update", false, "write the goldens anew")

// golden compares with a kept file, or writes it with -update.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	name = filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.MkdirAll(filepath.Dir(name), 0o755))
		require.NoError(t, os.WriteFile(name, got, 0o644))
	}
	want, err := os.ReadFile(name)
	require.NoError(t, err)
	require.Equal(t, string(want), string(got))
}

// pretty indents JSON for a golden that people read.
func pretty(t *testing.T, body []byte) []byte {
	t.Helper()
	var v any
	require.NoError(t, json.Unmarshal(body, &v))
	out, err := json.MarshalIndent(v, "", "  ")
	require.NoError(t, err)
	return append(out, '\n')
}

// parse reads a resource that must be without fault.
func parse(t require.TestingT, body []byte) *fhir.Resource {
	r, issues := fhir.Parse(body, len(body)+1)
	require.Empty(t, issues, string(body))
	return r
}

// embedded reads the definitions and the default protocol as they are shipped.
func embedded(t testing.TB) (defs Definitions, planDefinition []byte) {
	t.Helper()
	defs.ValueSets, defs.Questionnaires = map[string]*ValueSet{}, Questionnaires{}
	for _, dir := range []struct {
		fs   fs.FS
		glob string
	}{{api.FHIR, "fhir/*.json"}, {api.Protocol, "protocol/*.json"}} {
		names, err := fs.Glob(dir.fs, dir.glob)
		require.NoError(t, err)
		for _, n := range names {
			b, err := fs.ReadFile(dir.fs, n)
			require.NoError(t, err)
			r := parse(t, b)
			switch {
			case r.ID() == "fact":
				defs.Facts = r
			case r.ID() == "hold":
				defs.Holds = r
			case r.Type == "ValueSet" && dir.fs == api.Protocol: // the others are what profiles are bound to
				v, err := ReadValueSet(r)
				require.NoError(t, err)
				defs.ValueSets[v.URL] = v
			case r.Type == "Questionnaire":
				q, err := ReadQuestionnaire(r)
				require.NoError(t, err)
				defs.Questionnaires[q.URL] = q
			case r.String("type", "coding", "code") == TypeMedicineRules:
				defs.Medicines = r
			case r.Type == "PlanDefinition":
				planDefinition = b
			}
		}
	}
	return defs, planDefinition
}

func defaultProtocol(t testing.TB) *Protocol {
	t.Helper()
	defs, pd := embedded(t)
	p, err := ReadProtocol(parse(t, pd), defs)
	require.NoError(t, err)
	return p
}

const facilityBase = "https://facility.example/fhir"

// facilityIn is a facility of a zone and a holiday set.
func facilityIn(t testing.TB, zone, holidays string) Facility {
	t.Helper()
	loc, err := time.LoadLocation(zone)
	require.NoError(t, err)
	set, err := calendar.Holidays(holidays)
	require.NoError(t, err)
	cal, err := calendar.New(calendar.Options{Zone: loc, Holidays: set})
	require.NoError(t, err)
	return Facility{Calendar: cal, Base: facilityBase}
}

func chicago(t testing.TB) Facility { return facilityIn(t, "America/Chicago", "us-federal") }

func date(t require.TestingT, s string) calendar.Date {
	d, err := calendar.ParseDate(s)
	require.NoError(t, err)
	return d
}

// clock reads "2026-11-30 07:30" in the facility's zone.
func (f Facility) clock(t require.TestingT, s string) time.Time {
	at, err := time.ParseInLocation("2006-01-02 15:04", s, f.Calendar.Zone())
	require.NoError(t, err)
	return at
}

// hipOn is an elective hip replacement booked on 1 October 2026.
func (f Facility) hipOn(t require.TestingT, start string) readiness.Case {
	at := f.clock(t, start)
	return readiness.Case{
		Booked: f.clock(t, "2026-10-01 09:00"), Day: f.Calendar.DateOf(at), Start: at,
		Facts: map[string]any{"joint": "hip", "side": "left", "extent": "total"},
	}
}

func stepItem(t require.TestingT, pl *readiness.Plan, code string) *readiness.Item {
	for n := range pl.Items {
		if pl.Items[n].Key.Step == code {
			return &pl.Items[n]
		}
	}
	require.Fail(t, "no item", code)
	return nil
}

func BenchmarkMake(b *testing.B) {
	p, f := defaultProtocol(b), chicago(b)
	c := f.hipOn(b, "2026-11-30 07:30")
	now := f.clock(b, "2026-11-20 09:00")
	for b.Loop() {
		readiness.Make(&c, p.Protocol, f.Calendar, now)
	}
}

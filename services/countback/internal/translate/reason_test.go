package translate

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

func TestReason(t *testing.T) {
	for _, c := range []struct{ name, json, words, coded string }{
		{"nothing", `{}`, "", ""},
		{"display", `{"coding":[{"code":"pat"},{"display":"Patient"}],"text":"a cold"}`, "Patient", "Patient"},
		{"code and text", `{"coding":[{"code":"pat"}],"text":"a cold"}`, "a cold", "pat"},
		{"code", `{"coding":[{"code":"pat"}]}`, "pat", "pat"},
		{"text alone", `{"text":"a cold"}`, "a cold", FreeReason},
	} {
		t.Run(c.name, func(t *testing.T) {
			body := `{"resourceType":"Appointment","status":"cancelled","participant":[{"status":"accepted","actor":{"reference":"Patient/1"}}],"cancelationReason":` + c.json + `}`
			if c.json == "{}" {
				body = `{"resourceType":"Appointment","status":"cancelled","participant":[{"status":"accepted","actor":{"reference":"Patient/1"}}]}`
			}
			concept := parse(t, []byte(body)).Get("cancelationReason")
			require.Equal(t, c.words, Reason(concept, true))
			require.Equal(t, c.coded, Reason(concept, false))
		})
	}
}

// TestMoves reads the versions of one appointment, the oldest first.
func TestMoves(t *testing.T) {
	f := chicago(t)
	booked := func(day string) string {
		return `{"resourceType":"Appointment","status":"booked","start":"` + day + `T10:00:00-06:00","end":"` + day + `T12:00:00-06:00","participant":[{"status":"accepted","actor":{"reference":"Patient/1"}}]}`
	}
	off := `{"resourceType":"Appointment","status":"cancelled","cancelationReason":{"text":"no bed"},"participant":[{"status":"accepted","actor":{"reference":"Patient/1"}}]}`
	waits := `{"resourceType":"Appointment","status":"waitlist","participant":[{"status":"accepted","actor":{"reference":"Patient/1"}}]}`
	one, two, three := date(t, "2026-11-16"), date(t, "2026-11-17"), date(t, "2026-11-18")
	for name, c := range map[string]struct {
		versions []string
		want     []readiness.Move
	}{
		"never moved":                 {[]string{booked("2026-11-16"), booked("2026-11-16")}, nil},
		"twice":                       {[]string{booked("2026-11-16"), booked("2026-11-17"), booked("2026-11-18")}, []readiness.Move{{From: one, To: two}, {From: two, To: three}}},
		"given up and taken up again": {[]string{booked("2026-11-16"), off, booked("2026-11-17")}, []readiness.Move{{From: one, To: two, Reason: "no bed"}}},
		"taken up on the same day":    {[]string{booked("2026-11-16"), off, booked("2026-11-16")}, nil},
		"without a day, for a while":  {[]string{booked("2026-11-16"), waits, booked("2026-11-18")}, []readiness.Move{{From: one, To: three}}},
		"dated for the first time":    {[]string{waits, booked("2026-11-18")}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			var versions []*fhir.Resource
			for _, v := range c.versions {
				versions = append(versions, parse(t, []byte(v)))
			}
			require.Equal(t, c.want, f.Moves(versions, true))
		})
	}
}

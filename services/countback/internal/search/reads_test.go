package search

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestReads: what an answer tells of, also by what it leaves out.
func TestReads(t *testing.T) {
	for query, want := range map[string]string{
		"status=booked": "Appointment",
		"patient.name=x&_has:Encounter:appointment:status=planned":                      "Appointment Encounter Patient",
		"based-on.code=1&actor:Location.name=x":                                         "Appointment Location ServiceRequest",
		"_include=Appointment:patient&_revinclude=Encounter:appointment":                "Appointment Encounter Patient",
		"_include=Appointment:actor:Practitioner&_include=Appointment:patient:Location": "Appointment Practitioner",
		"_include=Appointment:reason-reference":                                         "Appointment Condition Observation Procedure",
	} {
		q, issues := parse(t, "Appointment", query)
		require.NoError(t, issues.Err())
		require.Equal(t, want, strings.Join(q.Reads(), " "), query)
	}
	q, _ := parse(t, "Appointment", "actor.name=x&_include=Appointment:supporting-info")
	require.Equal(t, Types(), q.Reads())
}

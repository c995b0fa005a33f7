package fhirapi

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"
)

// The sender of an appointment that opens no case is told so, with the reason:
// what is dropped in silence is found out on the day of surgery.
func TestKeptWithoutACase(t *testing.T) {
	h := open(t)
	told := h.book("1")
	shoulder := with(t, booking("2", told.patient[len(root)+1:], "ServiceRequest/none"), `"description":"canary right hip"`, `"description":"canary shoulder"`)
	nobody := booking("3", "https://elsewhere.example/fhir/Patient/canary", "ServiceRequest/none")
	for _, r := range []struct{ name, body, text string }{
		{"another operation", shoulder, "no code says that it is a hip or knee replacement"},
		{"a patient of another server", nobody, "it names no patient who is known here"},
	} {
		t.Run(r.name, func(t *testing.T) {
			h.t = t
			single := h.must(201, "POST", root+"/Appointment", r.body, "Prefer", "return=OperationOutcome")
			require.Contains(t, string(single.raw), "kept, and no case is opened: "+r.text)
			again := h.must(200, "POST", root+"/Appointment", r.body, "Prefer", "return=OperationOutcome")
			require.Contains(t, string(again.raw), "kept, and no case is opened: "+r.text, "said again")
			bundle := `{"resourceType":"Bundle","type":"transaction","entry":[` + entry("", "POST", "Appointment", with(t, r.body, `"value":"canary-b`, `"value":"canary-bundle`)) + `]}`
			answer := h.must(200, "POST", root, bundle)
			var b struct {
				Entry []struct {
					Response struct{ Outcome json.RawMessage }
				}
			}
			require.NoError(t, json.Unmarshal(answer.raw, &b))
			require.Contains(t, string(b.Entry[0].Response.Outcome), r.text)
		})
	}
}

// A booking that opens a case carries no such note.
func TestPlannedWithoutANote(t *testing.T) {
	h := open(t)
	answer := h.must(200, "POST", root, operation("1"), "Prefer", "return=OperationOutcome")
	require.Contains(t, string(answer.raw), "stored as a new resource")
	require.NotContains(t, string(answer.raw), "no case")
}

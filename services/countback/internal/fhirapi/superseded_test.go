package fhirapi

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"
)

// The sender of a message that its own later one has overtaken gets 200 with
// what is held, its ETag, and, where the answer has room for it, the word that
// the message was superseded.
func TestSuperseded(t *testing.T) {
	h := open(t)
	told := h.book("1")
	by := told.patient[len(root)+1:]
	sent := func(lastUpdated, start string) string {
		b := with(t, booking("7", by, "ServiceRequest/none"), `"meta":{`, `"meta":{"lastUpdated":"`+lastUpdated+`",`)
		return with(t, b, `"status":"booked"`, `"status":"`+start+`"`)
	}
	newer, older := sent("2026-01-05T10:00:00Z", "booked"), sent("2026-01-05T09:00:00Z", "pending")
	held := h.must(201, "POST", root+"/Appointment", newer)
	require.NotContains(t, string(held.raw), "2026-01-05T10:00:00Z", "meta is ours")

	answer := h.must(200, "POST", root+"/Appointment", older)
	require.Equal(t, string(held.raw), string(answer.raw))
	require.Equal(t, held.header.Get("ETag"), answer.header.Get("ETag"))
	outcome := h.must(200, "POST", root+"/Appointment", older, "Prefer", "return=OperationOutcome")
	require.Contains(t, string(outcome.raw), "superseded: ")
	require.Contains(t, string(outcome.raw), `"severity":"information"`)
	require.Equal(t, held.header.Get("ETag"), outcome.header.Get("ETag"))

	bundle := h.must(200, "POST", root, `{"resourceType":"Bundle","type":"transaction","entry":[`+entry("", "POST", "Appointment", older)+`]}`)
	var b struct {
		Entry []struct {
			Response struct {
				Status, ETag string
				Outcome      json.RawMessage
			}
		}
	}
	require.NoError(t, json.Unmarshal(bundle.raw, &b))
	require.Equal(t, "200 OK", b.Entry[0].Response.Status)
	require.Equal(t, held.header.Get("ETag"), b.Entry[0].Response.ETag)
	require.Contains(t, string(b.Entry[0].Response.Outcome), "superseded: ", "said without being asked")
}

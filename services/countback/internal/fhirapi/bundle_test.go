package fhirapi

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestTransaction(t *testing.T) {
	h := open(t)
	first := h.must(200, "POST", root, operation("1"))
	require.Equal(t, "transaction-response", first.String("type"))
	entries := first.entries()
	require.Len(t, entries, 3)
	for n, typ := range []string{"Patient", "ServiceRequest", "Appointment"} {
		response := entries[n].Get("response")
		require.Equal(t, "201 Created", response.String("status"))
		require.True(t, strings.HasPrefix(response.String("location"), testBase+"/"+typ+"/"))
		require.Equal(t, `W/"1"`, response.String("etag"))
		require.Equal(t, "2026-11-02T09:00:00.000-06:00", response.String("lastModified"))
		require.False(t, entries[n].Get("resource").Exists(), "given only when asked for")
	}
	held := h.held()
	for range 2 {
		again := h.must(200, "POST", root, operation("1"))
		for n, e := range again.entries() {
			require.Equal(t, "200 OK", e.String("response", "status"))
			require.Equal(t, entries[n].String("response", "location"), e.String("response", "location"))
		}
	}
	lines := strings.Split(strings.TrimSpace(held), "\n")
	again := strings.Split(strings.TrimSpace(h.held()), "\n")
	require.Equal(t, lines[:len(lines)-1], again[:len(again)-1], "the same bundle makes no new version")
	events, _, _ := strings.Cut(lines[len(lines)-1], " messages")
	require.True(t, strings.HasPrefix(again[len(again)-1], events+" "), "and no event")
}

// TestTransactionReads puts reads before and between writes: they see what the
// transaction did, and stand in their places.
func TestTransactionReads(t *testing.T) {
	h := open(t)
	who := h.book("1")
	changed := with(t, patient("1"), "female", "other")
	r := h.must(200, "POST", root, bundleOf("transaction",
		entry("", "GET", strings.TrimPrefix(who.patient, root+"/"), ""),
		entry("", "PUT", "Patient?identifier="+personSystem+"|canary-p1", changed),
		entry("", "GET", "Patient?gender=other", ""),
		entry("", "GET", strings.TrimPrefix(who.patient, root+"/")+"/_history/1", ""),
		entry("", "GET", "Patient/canary", ""),
		entry("", "HEAD", strings.TrimPrefix(who.order, root+"/"), ""),
		entry("", "GET", strings.TrimPrefix(who.order, root+"/"), "", `"ifNoneMatch":"W/\"1\""`),
		entry("", "GET", "metadata", ""),
	), "Prefer", "return=representation")
	e := r.entries()
	require.Len(t, e, 8)
	require.Equal(t, "other", e[0].String("resource", "gender"), "after the change")
	require.Equal(t, testBase+strings.TrimPrefix(who.patient, root), e[0].String("fullUrl"))
	require.Equal(t, `W/"2"`, e[1].String("response", "etag"))
	require.Equal(t, "other", e[1].String("resource", "gender"))
	require.Equal(t, "searchset", e[2].String("resource", "type"))
	require.Equal(t, "1", e[2].String("resource", "total"))
	require.Equal(t, "female", e[3].String("resource", "gender"))
	require.Equal(t, "404 Not Found", e[4].String("response", "status"))
	require.Equal(t, "Bundle.entry[4].request.url", e[4].String("response", "outcome", "issue", "expression"))
	require.Equal(t, "200 OK", e[5].String("response", "status"))
	require.Equal(t, "304 Not Modified", e[6].String("response", "status"))
	require.False(t, e[6].Get("resource").Exists())
	require.Equal(t, "CapabilityStatement", e[7].String("resource", "resourceType"))
	since := entry("", "GET", strings.TrimPrefix(who.order, root+"/"), "", `"ifModifiedSince":"2026-11-02T09:00:00-06:00"`)
	require.Equal(t, "304 Not Modified", h.must(200, "POST", root, bundleOf("transaction", since)).String("entry", "response", "status"))
}

// TestReadsOnly: a transaction that changes nothing leaves no trace.
func TestReadsOnly(t *testing.T) {
	h := open(t)
	before := h.held()
	r := h.must(200, "POST", root, bundleOf("transaction", entry("", "GET", "Patient", "")))
	require.Equal(t, "0", r.String("entry", "resource", "total"))
	empty := h.must(200, "POST", root+"/", `{"resourceType":"Bundle","type":"transaction"}`)
	require.Empty(t, empty.entries())
	require.Equal(t, before, h.held())
}

func TestTransactionPrefer(t *testing.T) {
	h := open(t)
	r := h.must(200, "POST", root, operation("1"), "Prefer", "return=OperationOutcome")
	for _, e := range r.entries() {
		require.Equal(t, "informational", e.String("response", "outcome", "issue", "code"))
	}
}

func TestBatch(t *testing.T) {
	h := open(t)
	who := h.book("1")
	task, must := h.task(who, "name-coach"), h.task(who, "surgical-consent")
	taskAt := func(r response) string { return "Task/" + r.String("id") }
	before := h.received()
	r := h.must(200, "POST", root, bundleOf("batch",
		entry("", "POST", "Patient", patient("2")),
		entry("", "POST", "Patient", with(t, patient("3"), "female", "canary")),
		entry("", "PUT", taskAt(task), status(t, task, "completed"), `"ifMatch":"W/\"1\""`),
		entry("", "PUT", taskAt(must), status(t, must, "cancelled", because("waived", "canary"))),
		entry("", "PUT", taskAt(task), status(t, task, "accepted"), `"ifMatch":"W/\"1\""`),
		entry("", "DELETE", strings.TrimPrefix(who.patient, root+"/"), ""),
		entry("", "POST", "Medication", `{"resourceType":"Medication"}`),
		entry("", "GET", "Patient?family=canary", ""),
		entry("", "GET", "Patient?birthdate=canary", ""),
		entry("", "POST", "ServiceRequest", order("9", patientURN)),
		entry("", "POST", "Patient/_search", ""),
		`{"resource":`+patient("4")+`}`,
	))
	require.Equal(t, "batch-response", r.String("type"))
	for n, want := range []struct{ status, code, expression string }{
		{"201 Created", "", ""},
		{"400 Bad Request", "code-invalid", "Bundle.entry[1].resource.gender"},
		{"200 OK", "", ""},
		{"422 Unprocessable Entity", "business-rule", "Bundle.entry[3].resource.status"},
		{"412 Precondition Failed", "conflict", "Bundle.entry[4].resource"},
		{"409 Conflict", "conflict", "Bundle.entry[5].resource"},
		{"404 Not Found", "not-supported", "Bundle.entry[6].request.url"},
		{"200 OK", "", ""},
		{"400 Bad Request", "value", "Bundle.entry[8].request.url"},
		{"422 Unprocessable Entity", "not-found", "Bundle.entry[9].resource"},
		{"404 Not Found", "not-supported", "Bundle.entry[10].request.url"},
		{"400 Bad Request", "required", "Bundle.entry[11].request"},
	} {
		response := r.entries()[n].Get("response")
		require.Equal(t, want.status, response.String("status"), n)
		require.Equal(t, want.code, response.String("outcome", "issue", "code"), n)
		require.Equal(t, want.expression, response.String("outcome", "issue", "expression"), n)
	}
	require.Equal(t, "2", r.entries()[7].String("resource", "total"), "the first entry is stored before the eighth looks")
	require.Equal(t, before+2, h.received(), "each entry is a message of its own; what is refused is not kept")
	require.Equal(t, "completed", h.task(who, "name-coach").String("status"))
}

// TestSources: what a message says of its sender is kept with it.
func TestSources(t *testing.T) {
	require.Equal(t, "https://canary.example/feed", h1(t, operation("1")).Source, "the first entry that says so")
	require.Equal(t, personSystem, h1(t, bundleOf("transaction", entry("", "POST", "Patient", patient("1")))).Source)
	m := h1(t, `{"resourceType":"Bundle","meta":{"source":"https://canary.example/all"},"type":"transaction","entry":[`+entry("", "POST", "Patient", patient("1"))+`]}`)
	require.Equal(t, "https://canary.example/all", m.Source)
	require.Equal(t, "POST", m.Method)
	require.Empty(t, m.Target)
	require.Equal(t, mediaType, m.ContentType)
}

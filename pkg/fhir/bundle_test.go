package fhir

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestBundle(t *testing.T) {
	r := parsed(t, transaction)
	b, issues := r.Bundle(4)
	require.Nil(t, issues)
	require.Equal(t, "transaction", b.Type)
	require.Len(t, b.Entries, 4)
	e := b.Entries[0]
	require.Equal(t, urn1, e.FullURL)
	require.Equal(t, booked, string(e.Resource.Raw), "an entry's resource keeps its bytes")
	require.Equal(t, []string{"POST", "Appointment", ""}, []string{e.Method, e.TargetType, e.TargetID})
	e = b.Entries[2]
	require.Equal(t, []string{"PUT", "Patient", "pat-204"}, []string{e.Method, e.TargetType, e.TargetID})
	patched := parsed(t, string(e.Resource.WithMeta("n1", "2", noon)))
	require.Equal(t, "n1", patched.ID(), "a resource inside a bundle can be patched")
	require.Equal(t, "Okonjo-Vale", b.Entries[0].Resource.Contained("surgeon").String("name", "family"))
}

func TestBundleConditional(t *testing.T) {
	r := parsed(t, bundle("transaction",
		`{"resource":`+small+`,"request":{"method":"POST","url":"Appointment","ifNoneExist":"identifier=s|1"}}`,
		`{"resource":`+task+`,"request":{"method":"PUT","url":"Task?identifier=s|1","ifMatch":"W/\"3\""}}`,
		`{"request":{"method":"DELETE","url":"Flag/f1"}}`,
		`{"request":{"method":"GET","url":"metadata","ifNoneMatch":"W/\"1\""}}`,
		`{"resource":{"resourceType":"Parameters"},"request":{"method":"POST","url":"PlanDefinition/$apply"}}`,
		`{"resource":{"resourceType":"Binary","contentType":"application/json-patch+json","data":"W10="},"request":{"method":"PATCH","url":"Task/t7"}}`))
	b, issues := r.Bundle(0)
	require.Nil(t, issues)
	require.Equal(t, "identifier=s|1", b.Entries[0].IfNoneExist)
	require.Equal(t, "identifier=s|1", b.Entries[1].Query)
	require.Equal(t, `W/"3"`, b.Entries[1].IfMatch)
	require.Nil(t, b.Entries[2].Resource)
	require.Equal(t, `W/"1"`, b.Entries[3].IfNoneMatch)
	require.Empty(t, b.Entries[3].TargetType)
}

func TestBundleRefuses(t *testing.T) {
	ok := entry(urn1, small, "POST", "Appointment")
	request := func(s string) string { return `{"resource":` + small + `,"request":{` + s + `}}` }
	for _, tc := range []badInput{
		{"not a bundle", small, CodeStructure, "Appointment", "a Bundle is needed"},
		{"too many entries", bundle("transaction", ok, ok, ok, ok, ok, ok), CodeTooCostly, "Bundle.entry", "more than the 5 entries"},
		{"no request", bundle("transaction", `{"resource":`+small+`}`), CodeRequired, "Bundle.entry[0].request", "is missing"},
		{"response in a request", bundle("transaction", `{"response":{"status":"200"},`+request(`"method":"POST","url":"Appointment"`)[1:]), CodeInvariant, "Bundle.entry[0].response", "bdl-4"},
		{"search in a request", bundle("transaction", `{"search":{"mode":"match"},`+request(`"method":"POST","url":"Appointment"`)[1:]), CodeInvariant, "Bundle.entry[0].search", "bdl-2"},
		{"POST of another type", bundle("transaction", ok, entry(urn2, small, "POST", "Task")), CodeInvariant, "Bundle.entry[1].request.url", "names Task, but the resource is of type Appointment"},
		{"POST to an id", bundle("transaction", entry(urn1, small, "POST", "Appointment/1")), CodeValue, "Bundle.entry[0].request.url", "the resource type alone"},
		{"PUT without id", bundle("transaction", entry(urn1, task, "PUT", "Task")), CodeValue, "Bundle.entry[0].request.url", "names one resource for PUT"},
		{"PUT to another id", bundle("transaction", entry(urn1, task, "PUT", "Task/t2")), CodeInvariant, "Bundle.entry[0].resource.id", "must be the id"},
		{"PUT without body id", bundle("transaction", entry(urn1, small, "PUT", "Appointment/1")), CodeInvariant, "Bundle.entry[0].resource.id", "must be the id"},
		{"PUT without resource", bundle("transaction", entry(urn1, "", "PUT", "Task/t1")), CodeRequired, "Bundle.entry[0].resource", "is missing"},
		{"DELETE of a type", bundle("transaction", entry(urn1, "", "DELETE", "Task")), CodeValue, "Bundle.entry[0].request.url", "names one resource"},
		{"DELETE with resource", bundle("transaction", entry(urn1, task, "DELETE", "Task/t1")), CodeInvariant, "Bundle.entry[0].resource", "does not belong to a DELETE"},
		{"GET with resource", bundle("transaction", entry(urn1, task, "GET", "Task/t1")), CodeInvariant, "Bundle.entry[0].resource", "does not belong to a GET"},
		{"PATCH with the resource itself", bundle("transaction", entry(urn1, task, "PATCH", "Task/t1")), CodeStructure, "Bundle.entry[0].resource", "JSON Patch"},
		{"unknown type in the url", bundle("transaction", entry(urn1, small, "POST", "Booking")), CodeValue, "Bundle.entry[0].request.url", "must begin with a resource type"},
		{"absolute url", bundle("transaction", entry(urn1, small, "POST", "https://own.example/fhir/Appointment")), CodeValue, "Bundle.entry[0].request.url", "relative to the base"},
		{"url upwards", bundle("transaction", entry(urn1, "", "GET", "../admin")), CodeValue, "Bundle.entry[0].request.url", "relative to the base"},
		{"fullUrl twice", bundle("transaction", ok, ok), CodeDuplicate, "Bundle.entry[1].fullUrl", "entry 0 has the same fullUrl"},
		{"fullUrl of a version", bundle("transaction", entry("https://own.example/fhir/Task/t1/_history/2", task, "PUT", "Task/t1")), CodeInvariant, "Bundle.entry[0].fullUrl", "bdl-8"},
		{"same identity twice", bundle("transaction", entry(urn1, task, "PUT", "Task/t1"), entry(urn2, "", "DELETE", "Task/t1")), CodeDuplicate, "Bundle.entry[1].request.url", "entry 0 changes the same resource"},
		{"same condition twice", bundle("transaction", request(`"method":"POST","url":"Appointment","ifNoneExist":"identifier=1"`), request(`"method":"POST","url":"Appointment","ifNoneExist":"identifier=1"`)), CodeDuplicate, "Bundle.entry[1].request.ifNoneExist", "same condition"},
		{"ifNoneExist on PUT", bundle("transaction", request(`"method":"PUT","url":"Appointment?a=1","ifNoneExist":"identifier=1"`)), CodeInvariant, "Bundle.entry[0].request.ifNoneExist", "for POST only"},
		{"ifMatch on POST", bundle("transaction", request(`"method":"POST","url":"Appointment","ifMatch":"W/\"1\""`)), CodeInvariant, "Bundle.entry[0].request.ifMatch", "for PUT, PATCH and DELETE"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			b, issues := parsed(t, tc.in).Bundle(5)
			require.Nil(t, b)
			require.Len(t, issues, 1)
			require.Equal(t, []string{tc.code, tc.expression}, []string{issues[0].Code, issues[0].Expression})
			require.Contains(t, issues[0].Text, tc.text)
		})
	}
}

// In a batch one bad entry does not harm the others.
func TestBatchEntriesStandAlone(t *testing.T) {
	r := parsed(t, bundle("batch",
		entry(urn1, small, "POST", "Appointment"),
		entry(urn2, strings.Replace(small, "proposed", "x", 1), "POST", "Appointment"),
		entry(urn3, small, "POST", "Task"),
		`{"resource":7,"request":{"method":"POST","url":"Task"}}`,
		`"nothing"`,
		entry("urn:uuid:0b5b3c52-6c0a-4b7e-9a53-1c6ce4a5a009", task, "PUT", "Task/t1")))
	b, issues := r.Bundle(0)
	require.Nil(t, issues)
	require.Empty(t, b.Entries[0].Issues)
	require.Equal(t, "Bundle.entry[1].resource.status", b.Entries[1].Issues[0].Expression)
	require.Equal(t, "Bundle.entry[2].request.url", b.Entries[2].Issues[0].Expression)
	require.Equal(t, "Bundle.entry[3].resource", b.Entries[3].Issues[0].Expression)
	require.Equal(t, "Bundle.entry[4]", b.Entries[4].Issues[0].Expression)
	require.Empty(t, b.Entries[5].Issues)
}

// The cap on issues is per entry: a flood in one does not let the next pass.
func TestBatchFloodDoesNotHideLaterEntries(t *testing.T) {
	flood := `{"resourceType":"Patient","name":[` + strings.Repeat(`{"given":7},`, 500) + `{"given":7}]}`
	b, issues := parsed(t, bundle("batch", entry(urn1, flood, "POST", "Patient"),
		entry(urn2, strings.Replace(small, "proposed", "x", 1), "POST", "Appointment"))).Bundle(0)
	require.Nil(t, issues)
	require.Len(t, b.Entries[0].Issues, maxIssues)
	require.Len(t, b.Entries[1].Issues, 1)
}

// A body within the size limit cannot make the walk long by many entries.
func TestBundleEntriesAreLimitedBeforeTheWalk(t *testing.T) {
	entries := strings.Repeat("7,", MaxEntries-1) + "7"
	_, issues := Parse([]byte(bundle("batch", entries)), 0)
	require.Nil(t, issues)
	_, issues = Parse([]byte(bundle("batch", entries, "7")), 0)
	require.Len(t, issues, 1)
	require.Equal(t, CodeTooCostly, issues[0].Code)
	require.Equal(t, "Bundle.entry", issues[0].Expression)
}

func TestBundleThatIsNoRequest(t *testing.T) {
	b, issues := parsed(t, `{"resourceType":"Bundle","type":"searchset","total":1,"link":[{"relation":"self","url":"u"}],
		"entry":[{"fullUrl":"https://a.example/Task/t1","resource":`+task+`,"search":{"mode":"match"}}]}`).Bundle(0)
	require.Nil(t, issues)
	require.Equal(t, "match", b.Entries[0].Node.String("search", "mode"))
	b, issues = parsed(t, `{"resourceType":"Bundle","type":"transaction"}`).Bundle(0)
	require.Nil(t, issues)
	require.Empty(t, b.Entries)
}

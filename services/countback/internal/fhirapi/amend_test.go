package fhirapi

import (
	"encoding/base64"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// asPatch makes the body of a request a JSON Patch.
var asPatch = []string{"Content-Type", "", "Content-Type", patchType}

func TestPatch(t *testing.T) {
	h := open(t)
	made := h.must(201, "POST", root+"/Patient", patient("1"))
	at := root + "/Patient/" + made.String("id")
	h.pass(time.Hour)
	r := h.must(200, "PATCH", at, `[{"op":"test","path":"/gender","value":"female"},{"op":"replace","path":"/gender","value":"other"}]`,
		append([]string{"If-Match", `W/"1"`}, asPatch...)...)
	require.Equal(t, []string{`W/"2"`, "other", "2"}, []string{r.header.Get("ETag"), r.String("gender"), r.String("meta", "versionId")})
	want := with(t, with(t, string(made.raw), "female", "other"), `"versionId":"1","lastUpdated":"2026-11-02T09`, `"versionId":"2","lastUpdated":"2026-11-02T10`)
	require.Equal(t, want, string(r.raw), "all else stays as it was sent")
	require.Equal(t, r.raw, h.must(200, "GET", at, "").raw)
	require.Equal(t, made.raw, h.must(200, "GET", at+"/_history/1", "").raw)

	same := h.must(200, "PATCH", at, `[]`, asPatch...)
	require.Equal(t, `W/"2"`, same.header.Get("ETag"), "a patch that changes nothing makes no version")
	byNumber := h.must(200, "PATCH", root+"/Patient?identifier="+personSystem+"|canary-p1", `[{"op":"remove","path":"/gender"}]`, asPatch...)
	require.Equal(t, `W/"3"`, byNumber.header.Get("ETag"))
	require.Empty(t, byNumber.String("gender"))
	h.must(412, "PATCH", at, `[]`, append([]string{"If-Match", `W/"2"`}, asPatch...)...)
	require.Equal(t, acceptPatch, h.must(415, "PATCH", at, `[]`).header.Get("Accept-Patch"))
}

// fhirpathPatch is a FHIRPath Patch of operations, each the JSON of its parts.
func fhirpathPatch(operations ...string) string {
	return `{"resourceType":"Parameters","parameter":[{"name":"operation","part":[` +
		strings.Join(operations, `]},{"name":"operation","part":[`) + `]}]}`
}

// TestFHIRPathPatch: a FHIRPath Patch is carried out like a JSON Patch, whole or
// not at all, by id, by condition and in a transaction; and so it is on a Task.
func TestFHIRPathPatch(t *testing.T) {
	h := open(t)
	made := h.must(201, "POST", root+"/Patient", patient("1"))
	at := root + "/Patient/" + made.String("id")
	other := `{"name":"type","valueCode":"replace"},{"name":"path","valueString":"Patient.gender"},{"name":"value","valueCode":"other"}`
	beyond := `{"name":"type","valueCode":"replace"},{"name":"path","valueString":"Patient.birthDate.where(false)"},{"name":"value","valueDate":"1950-01-01"}`
	code, expression, text := h.must(422, "PATCH", at, fhirpathPatch(other, beyond)).issue()
	require.Equal(t, []string{"business-rule", "Patient"}, []string{code, expression})
	require.Contains(t, text, "operation 1 of the patch: its path finds nothing")
	require.Equal(t, made.raw, h.must(200, "GET", at, "").raw, "nothing of it was done")

	r := h.must(200, "PATCH", at, fhirpathPatch(other), "If-Match", `W/"1"`)
	require.Equal(t, []string{`W/"2"`, "other"}, []string{r.header.Get("ETag"), r.String("gender")})
	h.must(412, "PATCH", at, fhirpathPatch(other), "If-Match", `W/"1"`)
	byNumber := h.must(200, "PATCH", root+"/Patient?identifier="+personSystem+"|canary-p1", fhirpathPatch(`{"name":"type","valueCode":"delete"},{"name":"path","valueString":"Patient.gender"}`))
	require.Empty(t, byNumber.String("gender"))
	for _, kind := range []string{"transaction", "batch"} {
		done := h.must(200, "POST", root, bundleOf(kind, entry("", "PATCH", at[len(root)+1:], fhirpathPatch(
			`{"name":"type","valueCode":"add"},{"name":"path","valueString":"Patient"},{"name":"name","valueString":"gender"},{"name":"value","valueCode":"male"}`,
			`{"name":"type","valueCode":"delete"},{"name":"path","valueString":"Patient.gender"}`))))
		require.Equal(t, "200 OK", done.String("entry", "response", "status"))
	}
	code, _, _ = h.must(422, "PATCH", at, fhirpathPatch(`{"name":"type","valueCode":"add"},{"name":"path","valueString":"Patient"},{"name":"name","valueString":"gender"},{"name":"value","valueCode":"canary"}`)).issue()
	require.Equal(t, "code-invalid", code, "the outcome must be a valid resource")

	who := h.book("2")
	task := h.task(who, "name-coach")
	moved := h.must(200, "PATCH", root+"/Task/"+task.String("id"), fhirpathPatch(`{"name":"type","valueCode":"replace"},{"name":"path","valueString":"Task.status"},{"name":"value","valueCode":"accepted"}`))
	require.Equal(t, "accepted", moved.String("status"))
}

// TestConditions: each conditional interaction takes any search parameters, and
// follows R4's table: none, one, more than one.
//
// Source: HL7 FHIR R4 (4.0.1), RESTful API, 3.1.0.4.3, 3.1.0.5.1, 3.1.0.7.1, 3.1.0.8.1.
func TestConditions(t *testing.T) {
	h := open(t)
	one := func(birth, more string) string {
		return `{"resourceType":"Patient","name":[{"family":"Canaryfeather","given":["Una"]}],"birthDate":"` + birth + `"` + more + `}`
	}
	p := root + "/Patient"
	const by = "family=canaryfeather&birthdate=1950-02-03"
	made := h.must(201, "POST", p, one("1950-02-03", ""), "If-None-Exist", by)
	at := p + "/" + made.String("id")
	same := h.must(200, "POST", p, one("1950-02-03", `,"gender":"other"`), "If-None-Exist", by)
	require.Equal(t, made.raw, same.raw, "one is found: nothing is changed")
	h.must(201, "POST", p, one("1951-02-03", ""), "If-None-Exist", "family=canaryfeather&birthdate=1951")

	updated := h.must(200, "PUT", p+"?"+by, one("1950-02-03", `,"gender":"female"`))
	require.Equal(t, []string{made.String("id"), `W/"2"`}, []string{updated.String("id"), updated.header.Get("ETag")})
	h.must(201, "PUT", p+"?family=canaryfeather&birthdate=1952", one("1952-02-03", ""))
	h.must(412, "PUT", p+"?family=canaryfeather", one("1950-02-03", ""))
	h.must(400, "PUT", p+"?"+by, one("1950-02-03", `,"id":"canary-other"`))
	h.must(409, "PUT", p+"?birthdate=1999", one("1999-02-03", `,"id":"`+made.String("id")+`"`))

	patched := h.must(200, "PATCH", p+"?gender=female&birthdate=1950-02-03", `[{"op":"remove","path":"/gender"}]`, asPatch...)
	require.Equal(t, `W/"3"`, patched.header.Get("ETag"))
	h.must(404, "PATCH", p+"?gender=female", `[]`, asPatch...)
	h.must(412, "PATCH", p+"?name:contains=feather", `[]`, asPatch...)
	h.must(200, "PATCH", p+"?_id="+made.String("id"), `[]`, asPatch...)

	h.must(412, "DELETE", p+"?family=canaryfeather", "")
	h.must(204, "DELETE", p+"?"+by, "")
	h.must(410, "GET", at, "")
	h.must(204, "DELETE", p+"?"+by, "")

	done := h.must(200, "POST", root, bundleOf("transaction",
		entry("", "POST", "Patient", one("1953-02-03", ""), `"ifNoneExist":"family=canaryfeather&birthdate=1953"`),
		entry("", "PUT", "Patient?family=canaryfeather&birthdate=1952", one("1952-02-03", `,"gender":"male"`))))
	require.Equal(t, []string{"201 Created", "200 OK"}, []string{done.entries()[0].String("response", "status"), done.entries()[1].String("response", "status")})
	twice := entry("", "POST", "Patient", one("1954-02-03", ""), `"ifNoneExist":"birthdate=1954"`)
	h.must(422, "POST", root, bundleOf("transaction", twice, twice))
}

// TestPatchMovesThePlan: a patched booking is planned like one that was sent.
func TestPatchMovesThePlan(t *testing.T) {
	h := open(t)
	who := h.book("1")
	before := h.task(who, "name-coach")
	h.must(200, "PATCH", who.booking, `[{"op":"replace","path":"/start","value":"2027-01-18T10:00:00-06:00"},
		{"op":"replace","path":"/end","value":"2027-01-18T12:30:00-06:00"}]`, asPatch...)
	require.Contains(t, h.get(who.carePlan).text(), "2027-01-18")
	require.NotEqual(t, before.String("meta", "versionId"), h.task(who, "name-coach").String("meta", "versionId"))
}

func (r response) text() string { return string(r.raw) }

func TestPatchTask(t *testing.T) {
	h := open(t)
	who := h.book("1")
	task := h.task(who, "name-coach")
	at := root + "/Task/" + task.String("id")
	r := h.must(200, "PATCH", at, `[{"op":"test","path":"/status","value":"`+task.String("status")+`"},{"op":"replace","path":"/status","value":"accepted"},
		{"op":"add","path":"/owner","value":{"reference":"Practitioner/canary-7"}}]`, append([]string{"If-Match", task.header.Get("ETag")}, asPatch...)...)
	require.Equal(t, []string{"accepted", "Practitioner/canary-7", `W/"2"`}, []string{r.String("status"), r.String("owner", "reference"), r.header.Get("ETag")})
	require.Equal(t, "1", h.must(200, "GET", root+"/Task?owner=Practitioner/canary-7", "").String("total"))
	code, _, text := h.must(422, "PATCH", at, `[{"op":"replace","path":"/status","value":"draft"}]`, asPatch...).issue()
	require.Equal(t, "business-rule", code)
	require.Contains(t, text, "open moves are: completed, cancelled, failed, requested, received, ready, in-progress")
}

// TestDeleteBooking: a deleted booking behaves as one that was entered in error.
// What the plan becomes is compared with what that status makes of it.
func TestDeleteBooking(t *testing.T) {
	outcome := func(h *house, who told) []string {
		var out []string
		plan := h.must(200, "GET", who.carePlan, "")
		out = append(out, plan.String("status"))
		for _, e := range h.must(200, "GET", root+"/Task?_count=200&_sort=_id&patient="+strings.TrimPrefix(who.patient, root+"/"), "").entries() {
			out = append(out, e.String("resource", "code", "coding", "code")+" "+e.String("resource", "status")+" "+
				e.String("resource", "businessStatus", "coding", "code")+" "+e.String("resource", "statusReason", "text"))
		}
		return out
	}
	h := open(t)
	who := h.book("1")
	running := outcome(h, who)
	h.pass(time.Hour)
	gone := h.must(204, "DELETE", who.booking, "")
	require.Equal(t, `W/"2"`, gone.header.Get("ETag"))
	require.Empty(t, gone.raw)
	deleted := outcome(h, who)
	require.Equal(t, "revoked", deleted[0])

	other := open(t)
	twin := other.book("1")
	other.pass(time.Hour)
	other.must(200, "PATCH", twin.booking, `[{"op":"replace","path":"/status","value":"entered-in-error"}]`, asPatch...)
	require.Equal(t, outcome(other, twin), deleted)

	h.must(410, "GET", who.booking, "")
	h.must(410, "GET", who.booking+"/_history/2", "")
	h.must(200, "GET", who.booking+"/_history/1", "")
	h.must(410, "PATCH", who.booking, "[]", asPatch...)
	h.must(410, "GET", who.booking+"/$earliest-safe-date", "")
	require.Equal(t, "0", h.must(200, "GET", root+"/Appointment?identifier="+bookingSystem+"|canary-b1", "").String("total"))
	past := h.must(200, "GET", who.booking+"/_history", "").entries()
	require.Len(t, past, 2)
	require.Equal(t, []string{"DELETE", "204 No Content", ""},
		[]string{past[0].String("request", "method"), past[0].String("response", "status"), past[0].String("resource", "id")})

	held := h.held()
	again := h.must(204, "DELETE", who.booking, "")
	require.Equal(t, `W/"2"`, again.header.Get("ETag"), "deleted once")
	h.must(204, "DELETE", root+"/Appointment/canary-never", "")
	require.Equal(t, deleted, outcome(h, who))
	require.Equal(t, strings.SplitN(held, "events", 2)[0], strings.SplitN(h.held(), "events", 2)[0], "no new version of anything")

	h.pass(time.Hour)
	id := who.booking[strings.LastIndexByte(who.booking, '/')+1:]
	back := with(t, booking("1", who.patient[len(root)+1:], who.order[len(root)+1:]), `",`, `","id":"`+id+`",`)
	r := h.must(201, "PUT", who.booking, back)
	require.Equal(t, testBase+"/Appointment/"+id+"/_history/3", r.header.Get("Location"))
	require.Equal(t, running, outcome(h, who), "what is sent again goes on")
}

// TestPatchOfAFeed: a patch is an edit of what is held and counts as it arrives,
// whatever order its source gives; what the source said before does not undo it.
func TestPatchOfAFeed(t *testing.T) {
	h := open(t)
	who := h.book("1")
	sent := func(lastUpdated, words string) string {
		b := with(t, booking("7", who.patient[len(root)+1:], who.order[len(root)+1:]), `"meta":{`, `"meta":{"lastUpdated":"`+lastUpdated+`",`)
		return with(t, b, "canary right hip", words)
	}
	condition := root + "/Appointment?identifier=" + bookingSystem + "|canary-b7"
	h.must(201, "PUT", condition, sent("2026-01-05T10:00:00Z", "canary one"))
	patched := h.must(200, "PATCH", condition, `[{"op":"replace","path":"/description","value":"canary two"}]`, asPatch...)
	require.Equal(t, []string{`W/"2"`, "canary two"}, []string{patched.header.Get("ETag"), patched.String("description")})
	for _, again := range []string{sent("2026-01-05T10:00:00Z", "canary one"), sent("2026-01-05T09:00:00Z", "canary none")} {
		require.Equal(t, "canary two", h.must(200, "PUT", condition, again).String("description"))
	}
	require.Equal(t, "canary three", h.must(200, "PUT", condition, sent("2026-01-05T11:00:00Z", "canary three")).String("description"))
}

// TestDeletedStays: a message from before the deletion, by its source's own
// order, does not bring a booking back, however it names it; a later one does,
// with the history that it had.
func TestDeletedStays(t *testing.T) {
	h := open(t)
	who := h.book("1")
	by, order := who.patient[len(root)+1:], who.order[len(root)+1:]
	sent := func(lastUpdated string) string {
		return with(t, booking("7", by, order), `"meta":{`, `"meta":{"lastUpdated":"`+lastUpdated+`",`)
	}
	condition := root + "/Appointment?identifier=" + bookingSystem + "|canary-b7"
	made := h.must(201, "PUT", condition, sent("2026-01-05T10:00:00Z"))
	at := root + "/Appointment/" + made.String("id")
	h.must(204, "DELETE", condition, "")
	held := strings.SplitN(h.held(), "events", 2)[0]
	for _, c := range []struct{ name, lastUpdated, text string }{
		{"an older one", "2026-01-05T09:00:00Z", "superseded: "}, {"the same", "2026-01-05T10:00:00Z", "deleted: "},
	} {
		for _, how := range [][]string{{"PUT", condition}, {"POST", root + "/Appointment"}} {
			r := h.must(200, how[0], how[1], sent(c.lastUpdated))
			require.Equal(t, "OperationOutcome", r.String("resourceType"), c.name)
			require.Contains(t, string(r.raw), "what was deleted stays deleted", c.name)
			require.Contains(t, string(r.raw), c.text, c.name)
			require.Equal(t, `W/"2"`, r.header.Get("ETag"))
			batch := h.must(200, "POST", root, bundleOf("batch", entry("", how[0], strings.TrimPrefix(how[1], root+"/"), sent(c.lastUpdated))))
			require.Equal(t, "200 OK", batch.entries()[0].String("response", "status"))
			require.Contains(t, string(batch.raw), c.text)
		}
	}
	require.Equal(t, held, strings.SplitN(h.held(), "events", 2)[0])
	h.must(410, "GET", at, "")
	r := h.must(201, "PUT", condition, sent("2026-01-05T11:00:00Z"))
	require.Equal(t, local(r.header.Get("Location")), at+"/_history/3")
}

// TestDeleteFact: a deleted fact no longer holds anything by itself, and a hold
// that is open is released by a person all the same.
func TestDeleteFact(t *testing.T) {
	h := open(t)
	who := h.book("1")
	made := h.must(201, "POST", root+"/Condition", `{"resourceType":"Condition","identifier":[{"system":"https://canary.example","value":"canary-c"}],
		"subject":{"reference":"`+who.patient[len(root)+1:]+`"},"code":{"coding":[{"system":"http://hl7.org/fhir/sid/icd-10-cm","code":"N39.0"}]}}`)
	require.Equal(t, "on-hold", h.get(who.carePlan).String("status"))
	h.must(412, "DELETE", root+"/Condition/"+made.String("id"), "", "If-Match", `W/"2"`)
	h.must(204, "DELETE", root+"/Condition?identifier=https://canary.example|canary-c", "", "If-Match", `W/"1"`)
	require.Equal(t, "on-hold", h.get(who.carePlan).String("status"))
	require.Contains(t, h.get(who.carePlan).String("text", "div"), "corrected or taken away since: a named person may release it")
	require.Empty(t, h.get(root+"/Condition?code=N39.0").entries())
	h.must(204, "DELETE", root+"/Condition?identifier=https://canary.example|canary-c", "")
}

// TestDeletePatient: a person goes after all that is about them.
func TestDeletePatient(t *testing.T) {
	h := open(t)
	who := h.must(201, "POST", root+"/Patient", patient("1"))
	at := root + "/Patient/" + who.String("id")
	fact := h.must(201, "POST", root+"/Observation", `{"resourceType":"Observation","status":"final","code":{"text":"canary"},"subject":{"reference":"Patient/`+who.String("id")+`"}}`)
	h.must(409, "DELETE", at, "")
	r := h.must(200, "POST", root, bundleOf("transaction", entry("", "DELETE", "Patient/"+who.String("id"), ""), entry("", "DELETE", "Observation/"+fact.String("id"), "")))
	for _, e := range r.entries() {
		require.Equal(t, "204 No Content", e.String("response", "status"), "whatever the order of the entries")
	}
	h.must(410, "GET", at, "")
	h.must(201, "POST", root+"/Patient", patient("1"), "If-None-Exist", "identifier="+personSystem+"|canary-p1")
}

// binary is a JSON Patch as an entry of a Bundle has it.
func binary(patch string) string {
	return `{"resourceType":"Binary","contentType":"` + patchType + `","data":"` + base64.StdEncoding.EncodeToString([]byte(patch)) + `"}`
}

// TestAmendInTransaction: DELETE, POST, PUT and PATCH in this order, whatever
// that of the entries; all or none.
func TestAmendInTransaction(t *testing.T) {
	h := open(t)
	who := h.book("1")
	order, subject := who.order[len(root)+1:], who.patient[len(root)+1:]
	moved := binary(`[{"op":"replace","path":"/birthDate","value":"1958-03-18"}]`)
	entries := []string{
		entry("", "PATCH", subject, moved, `"ifMatch":"W/\"1\""`),
		entry(bookingURN, "POST", "Appointment", booking("1", subject, order)),
		entry("", "DELETE", who.booking[len(root)+1:], ""),
	}
	r := h.must(200, "POST", root, bundleOf("transaction", entries...))
	var got []string
	for _, e := range r.entries() {
		got = append(got, e.String("response", "status"))
	}
	require.Equal(t, []string{"200 OK", "201 Created", "204 No Content"}, got, "the deletion comes first, so that the same number is a new booking")
	require.Equal(t, "1958-03-18", h.get(who.patient).String("birthDate"))
	h.must(410, "GET", who.booking, "")

	held := h.held()
	for name, c := range map[string]struct {
		status  int
		code    string
		entries []string
	}{
		"a patch that does not fit": {422, "business-rule", []string{entry("", "DELETE", order, ""), entry("", "PATCH", subject, binary(`[{"op":"test","path":"/gender","value":"canary"}]`))}},
		"a patch of nothing":        {404, "not-found", []string{entry("", "DELETE", order, ""), entry("", "PATCH", "Patient/canary", binary("[]"))}},
		"no JSON Patch":             {415, "not-supported", []string{entry("", "PATCH", subject, `{"resourceType":"Binary","contentType":"text/plain","data":"YQ=="}`)}},
		"no operation":              {400, "required", []string{entry("", "PATCH", subject, `{"resourceType":"Parameters"}`)}},
		"no base64":                 {400, "value", []string{entry("", "PATCH", subject, `{"resourceType":"Binary","contentType":"`+patchType+`","data":"@@@"}`)}},
		"no patch":                  {400, "structure", []string{entry("", "PATCH", subject, binary("{}"))}},
		"the same twice":            {422, "duplicate", []string{entry("", "DELETE", "ServiceRequest?identifier="+orderSystem+"|canary-o1", ""), entry("", "DELETE", order, "")}},
		"a Task":                    {422, "business-rule", []string{entry("", "PATCH", "Task/canary", binary("[]"))}},
		"a plan deleted":            {422, "not-supported", []string{entry("", "DELETE", who.carePlan[len(root)+1:], "")}},
	} {
		t.Run(name, func(t *testing.T) {
			h.t = t
			code, _, _ := h.must(c.status, "POST", root, bundleOf("transaction", c.entries...)).issue()
			require.Equal(t, c.code, code)
			require.Equal(t, held, h.held(), "all or none")
		})
	}
	h.t = t
	task := h.must(200, "GET", root+"/Task?code=name-coach&status:not=cancelled", "").entries()[0].Get("resource")
	batch := h.must(200, "POST", root, bundleOf("batch", entry("", "PATCH", "Task/"+task.String("id"), binary(`[{"op":"add","path":"/note","value":[{"text":"canary"}]}]`)),
		entry("", "DELETE", order, ""), entry("", "DELETE", "CarePlan/canary", "")))
	got = nil
	for _, e := range batch.entries() {
		got = append(got, e.String("response", "status"))
	}
	require.Equal(t, []string{"200 OK", "204 No Content", "405 Method Not Allowed"}, got)
}

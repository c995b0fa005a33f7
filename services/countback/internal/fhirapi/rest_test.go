package fhirapi

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestCreateAndRead(t *testing.T) {
	h := open(t)
	created := h.must(201, "POST", root+"/Patient", patient("1"))
	location := created.header.Get("Location")
	id := created.String("id")
	require.Equal(t, testBase+"/Patient/"+id+"/_history/1", location)
	require.Equal(t, `W/"1"`, created.header.Get("ETag"))
	require.Equal(t, "Mon, 02 Nov 2026 15:00:00 GMT", created.header.Get("Last-Modified"))
	require.Equal(t, "no-store", created.header.Get("Cache-Control"))
	require.Equal(t, "2026-11-02T09:00:00.000-06:00", created.String("meta", "lastUpdated"), "with the facility's offset")

	for _, path := range []string{root + "/Patient/" + id, local(location)} {
		r := h.must(200, "GET", path, "")
		require.Equal(t, created.raw, r.raw)
		require.Equal(t, created.header.Get("ETag"), r.header.Get("ETag"))
		require.Equal(t, created.header.Get("Last-Modified"), r.header.Get("Last-Modified"))
		require.Empty(t, r.header.Get("Location"))
		head := h.must(200, "HEAD", path, "")
		require.Empty(t, head.raw)
		require.Equal(t, r.header.Get("ETag"), head.header.Get("ETag"))
		require.Equal(t, r.header.Get("Content-Length"), head.header.Get("Content-Length"))
	}
	sent := with(t, string(created.raw), `,"id":"`+id+`","meta":{"versionId":"1","lastUpdated":"2026-11-02T09:00:00.000-06:00"}`, "")
	require.Equal(t, patient("1"), sent, "what was sent is kept byte for byte")
}

func TestUpdate(t *testing.T) {
	h := open(t)
	made := h.must(201, "PUT", root+"/Patient/canary-1", with(t, patient("1"), `",`, `","id":"canary-1",`))
	require.Equal(t, testBase+"/Patient/canary-1/_history/1", made.header.Get("Location"), "update as create")
	h.pass(time.Hour)
	second := with(t, with(t, patient("1"), `",`, `","id":"canary-1",`), "female", "other")
	changed := h.must(200, "PUT", root+"/Patient/canary-1", second, "If-Match", `W/"1"`)
	require.Equal(t, `W/"2"`, changed.header.Get("ETag"))
	require.Equal(t, "Mon, 02 Nov 2026 16:00:00 GMT", changed.header.Get("Last-Modified"))
	require.Empty(t, changed.header.Get("Location"))
	require.Equal(t, testBase+"/Patient/canary-1/_history/2", changed.header.Get("Content-Location"))
	require.Equal(t, made.raw, h.must(200, "GET", root+"/Patient/canary-1/_history/1", "").raw, "the first version stays")

	again := h.must(200, "PUT", root+"/Patient/canary-1", second, "If-Match", `"2"`)
	require.Equal(t, `W/"2"`, again.header.Get("ETag"), "the same again is no new version; tags compare weakly")
	h.must(412, "PUT", root+"/Patient/canary-1", second, "If-Match", `W/"1"`)
}

func TestConditionalCreate(t *testing.T) {
	h := open(t)
	condition := []string{"If-None-Exist", "identifier=" + personSystem + "|canary-p1"}
	first := h.must(201, "POST", root+"/Patient", patient("1"), condition...)
	again := h.must(200, "POST", root+"/Patient", with(t, patient("1"), "female", "other"), condition...)
	require.Equal(t, first.raw, again.raw, "the one that exists, not changed")
	require.Equal(t, first.header.Get("Location"), again.header.Get("Content-Location"))
}

func TestConditionalUpdate(t *testing.T) {
	h := open(t)
	at := root + "/Patient?identifier=" + personSystem + "|canary-p1"
	first := h.must(201, "PUT", at, patient("1"))
	second := h.must(200, "PUT", at+"&_format=json", with(t, patient("1"), "female", "other"))
	require.Equal(t, first.String("id"), second.String("id"))
	require.Equal(t, `W/"2"`, second.header.Get("ETag"))
	require.NotEmpty(t, first.header.Get("Location"))
}

func TestNotModified(t *testing.T) {
	h := open(t)
	h.must(201, "POST", root+"/Patient", patient("1"))
	h.pass(1500 * time.Millisecond) // Last-Modified has whole seconds
	made := h.must(201, "POST", root+"/Patient", patient("2"))
	at := root + "/Patient/" + made.String("id")
	modified := made.header.Get("Last-Modified")
	for _, c := range []struct {
		name   string
		header []string
		status int
	}{
		{"the same version", []string{"If-None-Match", `W/"1"`}, 304},
		{"the same, strong", []string{"If-None-Match", `"1"`}, 304},
		{"one of several", []string{"If-None-Match", `W/"7", W/"1"`}, 304},
		{"any", []string{"If-None-Match", "*"}, 304},
		{"another version", []string{"If-None-Match", `W/"2"`}, 200},
		{"not since", []string{"If-Modified-Since", modified}, 304},
		{"since", []string{"If-Modified-Since", "Mon, 02 Nov 2026 15:00:00 GMT"}, 200},
		{"the tag counts, not the time", []string{"If-None-Match", `W/"2"`, "If-Modified-Since", modified}, 200},
		{"no date", []string{"If-Modified-Since", "canary"}, 200},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := h.must(c.status, "GET", at, "", c.header...)
			require.Equal(t, `W/"1"`, r.header.Get("ETag"))
			require.Equal(t, c.status == 304, len(r.raw) == 0)
		})
	}
}

func TestPrefer(t *testing.T) {
	h := open(t)
	minimal := h.must(201, "POST", root+"/Patient", patient("1"), "Prefer", "return=minimal")
	require.Empty(t, minimal.raw)
	require.NotEmpty(t, minimal.header.Get("Location"))
	require.Equal(t, `W/"1"`, minimal.header.Get("ETag"))
	at := root + "/Patient?identifier=" + personSystem + "|canary-p1"
	for _, c := range []struct{ name, body, prefer, text string }{
		{"changed", with(t, patient("1"), "female", "other"), "return=OperationOutcome", "stored as a new version"},
		{"the same", with(t, patient("1"), "female", "other"), "handling=strict; return=OperationOutcome", "nothing was changed"},
	} {
		r := h.must(200, "PUT", at, c.body, "Prefer", c.prefer)
		code, _, text := r.issue()
		require.Equal(t, "informational", code, c.name)
		require.Contains(t, text, c.text)
		require.Equal(t, "information", r.String("issue", "severity"))
	}
	full := h.must(200, "PUT", at, patient("1"), "Prefer", "return=representation, canary=1")
	require.Equal(t, "Patient", full.String("resourceType"))
	refused := h.must(400, "POST", root+"/Patient", "{", "Prefer", "return=minimal")
	require.Equal(t, "OperationOutcome", refused.String("resourceType"), "a failure is always told")
}

func TestMediaTypes(t *testing.T) {
	h := open(t)
	for _, sent := range []string{"application/fhir+json", "application/json", "text/json", "application/fhir+json; charset=UTF-8",
		"application/fhir+json; fhirVersion=4.0"} {
		h.must(201, "POST", root+"/Patient", patient("1"), "Content-Type", "", "Content-Type", sent)
	}
	for _, accepted := range []string{"application/fhir+json", "*/*", "application/*;q=0.1", "text/html, application/json;q=0.5",
		"application/fhir+xml, application/fhir+json; fhirVersion=4.0", ", application/json"} {
		h.must(200, "GET", root+"/metadata", "", "Accept", accepted)
	}
	for _, refused := range []string{"text/html", "application/fhir+json;q=0", "application/fhir+json; fhirVersion=3.0", "canary"} {
		h.must(406, "GET", root+"/metadata", "", "Accept", refused)
	}
	for _, format := range []string{"json", "application/json", "application/fhir+json", "application%2Ffhir%2Bjson"} {
		h.must(200, "GET", root+"/metadata?_format="+format, "", "Accept", "text/html")
	}
	h.must(406, "GET", root+"/metadata?_format=html", "", "Accept", "application/json")
	h.must(201, "POST", root+"/Patient", patient("1"), "Content-Encoding", "identity")
}

// TestAllow compares the header Allow with what really is served.
func TestAllow(t *testing.T) {
	h := open(t)
	for _, o := range offers {
		for _, at := range []struct {
			path     string
			instance bool
		}{{root + "/" + o.typ, false}, {root + "/" + o.typ + "/canary", true}} {
			r := h.must(405, "TRACE", at.path, "")
			require.Equal(t, strings.Join(o.methods(at.instance), ", "), r.header.Get("Allow"))
			for _, method := range []string{"GET", "HEAD", "POST", "PUT", "PATCH", "DELETE"} {
				allowed := strings.Contains(r.header.Get("Allow"), method)
				require.Equal(t, allowed, h.send(method, at.path, "").status != http.StatusMethodNotAllowed, "%s %s", method, at.path)
			}
		}
	}
	require.Equal(t, "POST", h.must(405, "GET", root, "").header.Get("Allow"))
	require.Equal(t, "GET, HEAD", h.must(405, "PUT", root+"/metadata", "").header.Get("Allow"))
}

// TestTask is a person's entry on a Task, as a worklist makes it.
func TestTask(t *testing.T) {
	h := open(t)
	who := h.book("1")
	task := h.task(who, "name-coach")
	at := root + "/Task/" + task.String("id")
	require.Equal(t, `W/"1"`, task.header.Get("ETag"))
	h.pass(time.Hour)
	done := h.must(200, "PUT", at, status(t, task, "completed", `"note":[{"text":"canary"}]`), "If-Match", task.header.Get("ETag"))
	require.Equal(t, `W/"2"`, done.header.Get("ETag"))
	require.Equal(t, "done", done.String("businessStatus", "coding", "code"))
	require.Equal(t, testBase+"/Task/"+task.String("id")+"/_history/2", done.header.Get("Content-Location"))
	require.Equal(t, done.raw, h.must(200, "GET", at, "").raw)
	require.Equal(t, task.raw, h.must(200, "GET", at+"/_history/1", "").raw)
	h.must(304, "GET", at, "", "If-None-Match", `W/"2"`)
	again := h.must(200, "PUT", at, string(done.raw), "If-Match", `W/"2"`, "Prefer", "return=OperationOutcome")
	_, _, text := again.issue()
	require.Contains(t, text, "nothing was changed")
}

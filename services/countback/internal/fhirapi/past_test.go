package fhirapi

import (
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
)

// versions are the entries of a history, as Type/id/version.
func (r response) versions() []string {
	var out []string
	for _, e := range r.entries() {
		_, path, _ := strings.Cut(e.String("fullUrl"), testBase+"/")
		out = append(out, path+"/"+strings.Trim(e.String("response", "etag"), `W/"`))
	}
	return out
}

// all follows the pages of a Bundle from its first.
func (h *house) all(path string) []string {
	h.t.Helper()
	var out []string
	for path != "" {
		page := h.must(200, "GET", path, "")
		out = append(out, page.versions()...)
		path = page.link("next")
	}
	return out
}

func TestInstanceHistory(t *testing.T) {
	h := open(t)
	made := h.must(201, "PUT", root+"/Patient/canary-1", with(t, patient("1"), `",`, `","id":"canary-1",`))
	h.pass(time.Hour)
	second := h.must(200, "PUT", root+"/Patient/canary-1", with(t, with(t, patient("1"), `",`, `","id":"canary-1",`), "female", "other"))

	r := h.must(200, "GET", root+"/Patient/canary-1/_history", "")
	require.Equal(t, "history", r.String("type"))
	require.Equal(t, root+"/Patient/canary-1/_history", r.link("self"))
	require.Empty(t, r.link("next"))
	require.Equal(t, []string{"Patient/canary-1/2", "Patient/canary-1/1"}, r.versions(), "the newest first")
	newest, first := r.entries()[0], r.entries()[1]
	require.Equal(t, string(second.raw), string(r.body.Bytes(newest.Get("resource"))))
	require.Equal(t, string(made.raw), string(r.body.Bytes(first.Get("resource"))))
	require.Equal(t, []string{"PUT", "Patient/canary-1", "200 OK"},
		[]string{newest.String("request", "method"), newest.String("request", "url"), newest.String("response", "status")})
	require.Equal(t, []string{"POST", "Patient", "201 Created"},
		[]string{first.String("request", "method"), first.String("request", "url"), first.String("response", "status")})
	require.Equal(t, "2026-11-02T10:00:00.000-06:00", newest.String("response", "lastModified"))

	since := h.must(200, "GET", root+"/Patient/canary-1/_history?_since=2026-11-02T09:30:00-06:00", "")
	require.Equal(t, []string{"Patient/canary-1/2"}, since.versions())
	require.Equal(t, []string{"2", "1", "2"}, []string{r.String("total"), since.String("total"),
		h.must(200, "GET", root+"/Patient/canary-1/_history?_count=1", "").String("total")}, "on all pages")
	require.Contains(t, since.link("self"), "_since=")
	require.Equal(t, []string{"Patient/canary-1/2", "Patient/canary-1/1"},
		h.must(200, "GET", root+"/Patient/canary-1/_history?_since=2026-11-02", "").versions(), "a day begins at its midnight here")
	require.Empty(t, h.must(200, "GET", root+"/Patient/canary-1/_history?_count=0", "").versions())
	require.Empty(t, h.must(200, "HEAD", root+"/Patient/canary-1/_history", "").raw)
	require.NotContains(t, h.must(200, "GET", root+"/Patient/canary-1/_history?canary=1", "").link("self"), "canary=")
}

// TestTaskHistory: versions of a Task are rendered from rows, by the pages as
// by their addresses.
func TestTaskHistory(t *testing.T) {
	h := open(t)
	who := h.book("1")
	task := h.task(who, "name-coach")
	at := root + "/Task/" + task.String("id")
	h.pass(time.Hour)
	h.must(200, "PUT", at, status(t, task, "accepted"))
	h.pass(time.Hour)
	h.must(200, "PUT", at, status(t, h.get(at), "in-progress"))
	r := h.must(200, "GET", at+"/_history", "")
	require.Len(t, r.entries(), 3)
	require.Equal(t, "3", r.String("total"))
	for n, e := range r.entries() {
		version := h.must(200, "GET", at+"/_history/"+string(rune('3'-n)), "")
		require.Equal(t, string(version.raw), string(r.body.Bytes(e.Get("resource"))))
	}
	require.Equal(t, r.versions(), h.all(at+"/_history?_count=1"))
}

// TestHistoryOfAll pages through everything while it changes: what was there is
// seen once, what comes later stands in front of it.
func TestHistoryOfAll(t *testing.T) {
	h := open(t)
	who := h.book("1")
	h.pass(time.Minute)
	h.must(200, "PUT", root+"/Task/"+h.task(who, "name-coach").String("id"), status(t, h.task(who, "name-coach"), "accepted"))
	for _, typ := range []string{"", "/Task", "/Provenance", "/Patient"} {
		whole := h.all(root + typ + "/_history?_count=200")
		seen := map[string]bool{}
		for _, v := range whole {
			require.False(t, seen[v], "%s twice", v)
			seen[v] = true
			require.True(t, typ == "" || strings.HasPrefix("/"+v, typ+"/"), v)
		}
		require.NotEmpty(t, whole)
		page := h.must(200, "GET", root+typ+"/_history?_count=3", "")
		paged := page.versions()
		h.pass(time.Minute)
		h.must(201, "POST", root+"/Patient", patient("later"+url.QueryEscape(typ)))
		for next := page.link("next"); next != ""; {
			page = h.must(200, "GET", next, "")
			require.LessOrEqual(t, len(page.entries()), 3)
			paged = append(paged, page.versions()...)
			next = page.link("next")
		}
		require.Equal(t, whole, paged, typ)
	}
	whole := h.must(200, "GET", root+"/_history?_count=200", "")
	last := ""
	for _, e := range whole.entries() {
		at := e.String("response", "lastModified")
		require.True(t, last == "" || at <= last, "the newest first")
		last = at
	}
	h.must(400, "GET", root+"/Task/_history?"+strings.SplitN(h.must(200, "GET", root+"/Patient/_history?_count=1", "").link("next"), "?", 2)[1], "")
}

// TestHistoryInBundle reads histories by entries.
func TestHistoryInBundle(t *testing.T) {
	h := open(t)
	who := h.book("1")
	r := h.must(200, "POST", root, bundleOf("batch", entry("", "GET", "_history?_count=2", ""),
		entry("", "GET", "Task/_history?_count=2", ""), entry("", "GET", strings.TrimPrefix(who.patient, root+"/")+"/_history", ""),
		entry("", "GET", "Patient/canary/_history", ""), entry("", "GET", "Canary/_history", "")))
	var got []string
	for _, e := range r.entries() {
		got = append(got, e.String("response", "status")+" "+e.String("resource", "type"))
	}
	require.Equal(t, []string{"200 OK history", "200 OK history", "200 OK history", "404 Not Found ", "404 Not Found "}, got)
	_, issues := fhir.Parse(r.raw, 0)
	require.Empty(t, issues)
}

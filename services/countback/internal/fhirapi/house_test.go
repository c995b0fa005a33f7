package fhirapi

import (
	"bytes"
	"fmt"
	"io"
	"log"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/search"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

const (
	testZone = "America/Chicago"
	testBase = "https://plans.larkspindle.example/fhir"
)

// canary is part of every value that a test sends: it must never be logged.
const canary = "canary"

// logged is what a house wrote to its log.
type logged struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (l *logged) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(p)
}

func (l *logged) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

// house is the edge over a real office and a real database, behind a real
// server.
type house struct {
	t       *testing.T
	db      *store.DB
	office  *casework.Office
	handler http.Handler
	options *Options
	url     string
	log     *logged

	mu  sync.Mutex
	now time.Time
}

func (h *house) clock() time.Time {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.now
}

func (h *house) pass(d time.Duration) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.now = h.now.Add(d)
}

// open builds a house at 09:00 on 2 November 2026. Whatever a test does, its
// log must not hold the canary.
func open(t *testing.T, change ...func(*Options)) *house {
	t.Helper()
	zone, err := time.LoadLocation(testZone)
	require.NoError(t, err)
	holidays, err := calendar.Holidays("us-federal")
	require.NoError(t, err)
	cal, err := calendar.New(calendar.Options{Zone: zone, Holidays: holidays})
	require.NoError(t, err)
	h := &house{t: t, log: &logged{}, now: time.Date(2026, 11, 2, 9, 0, 0, 0, zone)}
	h.db, err = store.Open(t.Context(), store.Options{Path: t.TempDir(), Now: h.clock})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, h.db.Close()) })
	h.office, err = casework.Open(t.Context(), casework.Options{
		DB: h.db, Facility: translate.Facility{Calendar: cal, Base: testBase}, Token: "demo",
	})
	require.NoError(t, err)
	o := Options{
		Office: h.office, Base: testBase + "/", Zone: zone, Now: h.clock, Version: "1.2.3",
		Log: slog.New(slog.NewJSONHandler(h.log, &slog.HandlerOptions{Level: slog.LevelDebug})),
	}
	for _, f := range change {
		f(&o)
	}
	h.options = &o
	h.handler, err = New(o)
	require.NoError(t, err)
	server := httptest.NewUnstartedServer(h.handler)
	server.Config.ErrorLog = log.New(h.log, "", 0)
	server.Start()
	t.Cleanup(func() {
		server.Close()
		require.NotContains(t, strings.ToLower(h.log.String()), canary, "the log holds what was sent")
	})
	h.url = server.URL
	return h
}

// response is an answer; its body, if any, was let in by pkg/fhir.
type response struct {
	status int
	header http.Header
	raw    []byte
	body   *fhir.Resource
}

// String is the text of an element of the body.
func (r response) String(path ...string) string {
	if r.body == nil {
		return ""
	}
	return r.body.String(path...)
}

// issue is the first issue of an OperationOutcome.
func (r response) issue() (code, expression, text string) {
	return r.String("issue", "code"), r.String("issue", "expression"), r.String("issue", "details", "text")
}

// send sends a request; header holds names and values by turns. A body is
// sent as FHIR JSON unless a header says otherwise. What comes back must be
// well-formed FHIR.
func (h *house) send(method, path, body string, header ...string) response {
	h.t.Helper()
	var content io.Reader
	if body != "" {
		content = strings.NewReader(body)
	}
	req, err := http.NewRequestWithContext(h.t.Context(), method, h.url+path, content)
	require.NoError(h.t, err)
	if body != "" {
		req.Header.Set("Content-Type", mediaType)
	}
	for n := 0; n < len(header); n += 2 {
		if header[n+1] == "" {
			req.Header.Del(header[n])
			continue
		}
		req.Header.Add(header[n], header[n+1])
	}
	res, err := http.DefaultTransport.RoundTrip(req)
	require.NoError(h.t, err)
	defer res.Body.Close()
	out := response{status: res.StatusCode, header: res.Header}
	out.raw, err = io.ReadAll(res.Body)
	require.NoError(h.t, err)
	require.NotEmpty(h.t, res.Header.Get("X-Request-Id"))
	if len(out.raw) > 0 {
		require.Equal(h.t, mediaType, res.Header.Get("Content-Type"))
		var issues fhir.Issues
		out.body, issues = fhir.Parse(out.raw, 64<<20)
		require.Empty(h.t, issues, "the answer is not well-formed FHIR: %s", out.raw)
	}
	return out
}

func (h *house) get(path string, header ...string) response {
	h.t.Helper()
	return h.send("GET", path, "", header...)
}

// must sends and asks for a status.
func (h *house) must(status int, method, path, body string, header ...string) response {
	h.t.Helper()
	r := h.send(method, path, body, header...)
	require.Equal(h.t, status, r.status, "%s %s: %s", method, path, r.raw)
	return r
}

// held is all that is stored: each current version, how much was received and
// how many events wait. Two equal texts mean that nothing happened between.
func (h *house) held() string {
	h.t.Helper()
	var b strings.Builder
	for _, typ := range search.Types() {
		q, issues := search.Parse(typ, nil, search.Options{Zone: time.UTC, MaxCount: 10000})
		require.Empty(h.t, issues)
		q.Count = 10000
		page, err := h.office.Search(h.t.Context(), q)
		require.NoError(h.t, err)
		for _, s := range page.Items {
			fmt.Fprintln(&b, s.Type, s.ID, s.Version)
		}
	}
	waiting, err := h.db.Unpublished(h.t.Context(), 10000)
	require.NoError(h.t, err)
	fmt.Fprintln(&b, "events", len(waiting), "messages", h.received())
	return b.String()
}

// received counts the messages in the archive, whose numbers have no gaps.
func (h *house) received() (n int64) {
	h.t.Helper()
	require.NoError(h.t, h.db.Read(h.t.Context(), func(tx *store.Tx) error {
		for {
			if _, err := tx.Archived(n + 1); err != nil {
				require.ErrorIs(h.t, err, store.ErrNotFound)
				return nil
			}
			n++
		}
	}))
	return n
}

// entries are the resources of a Bundle.
func (r response) entries() []*fhir.Node {
	var out []*fhir.Node
	for _, e := range r.body.Get("entry").Items() {
		out = append(out, e)
	}
	return out
}

// link is the address of a link of a Bundle below /fhir; empty when there is
// none.
func (r response) link(relation string) string {
	for _, l := range r.body.Get("link").Items() {
		if l.String("relation") == relation {
			return strings.Replace(l.String("url"), testBase, root, 1)
		}
	}
	return ""
}

// local makes an address of ours one of the test server's.
func local(address string) string { return strings.Replace(address, testBase, root, 1) }

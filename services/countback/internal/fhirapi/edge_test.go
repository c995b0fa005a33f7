package fhirapi

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/stretchr/testify/require"
)

// lines are the lines of the log.
func (h *house) lines() []map[string]any {
	h.t.Helper()
	var out []map[string]any
	for line := range strings.Lines(h.log.String()) {
		var one map[string]any
		require.NoError(h.t, json.Unmarshal([]byte(line), &one))
		out = append(out, one)
	}
	return out
}

func TestRequestID(t *testing.T) {
	h := open(t)
	r := h.get(root+"/metadata", "X-Request-Id", "canary-7")
	require.Equal(t, "canary-7", r.header.Get("X-Correlation-Id"), "the client's id goes back to it")
	require.Len(t, r.header.Get("X-Request-Id"), 24)
	other := h.get(root + "/metadata")
	require.NotEqual(t, r.header.Get("X-Request-Id"), other.header.Get("X-Request-Id"))
	require.Empty(t, other.header.Get("X-Correlation-Id"))
	for _, bad := range []string{strings.Repeat("x", 200), "a canary", "canäry"} {
		require.Empty(t, h.get(root+"/metadata", "X-Request-Id", bad).header.Get("X-Correlation-Id"))
	}
	last := h.lines()[1]
	require.Equal(t, other.header.Get("X-Request-Id"), last["request_id"])
}

// TestLogHoldsNoPatientData sends the canary in every place that a client has,
// and looks for it, and for the ids of what was stored, in all that was logged.
func TestLogHoldsNoPatientData(t *testing.T) {
	h := open(t)
	who := h.book("1")
	h.get(who.patient)
	h.get(who.patient + "/_history/1")
	h.get(root+"/Patient?name=canary&identifier=a|canary", "Prefer", "canary")
	h.send("POST", root+"/Patient/_search", "name=canary", "Content-Type", "", "Content-Type", "application/x-www-form-urlencoded")
	h.send("PUT", root+"/Patient?identifier=a|canary", patient("2"), "If-Match", `W/"3"`)
	h.send("POST", root+"/Patient", with(t, patient("3"), "female", "canary"), "If-None-Exist", "canary")
	h.send("CANARY", root+"/canary/canary", "canary")
	h.send("GET", "/canary?canary", "", "X-Request-Id", "canary", "Accept", "canary/canary")
	coach := h.task(who, "name-coach")
	h.send("PUT", root+"/Task/"+coach.String("id"), status(t, coach, "cancelled", because("waived", "canary")))
	h.send("POST", root, bundleOf("batch", entry("", "GET", "Patient/canary", ""), entry("", "CANARY", "canary", "")))

	text := strings.ToLower(h.log.String())
	require.NotContains(t, text, canary)
	for _, address := range []string{who.patient, who.order, who.booking, who.carePlan, root + "/Task/" + coach.String("id")} {
		id := address[strings.LastIndexByte(address, '/')+1:]
		require.NotContains(t, text, id)
	}
	routes := map[string]bool{}
	for _, line := range h.lines() {
		require.ElementsMatch(t, []string{"time", "level", "msg", "method", "route", "status", "duration", "request_id"}, keys(line))
		routes[line["method"].(string)+" "+line["route"].(string)] = true
	}
	for _, want := range []string{"POST /fhir", "GET /fhir/Patient/:id", "GET /fhir/Patient/:id/_history/:vid", "GET /fhir/Patient",
		"POST /fhir/Patient/_search", "PUT /fhir/Patient", "PUT /fhir/Task/:id", "other none", "GET none"} {
		require.Contains(t, routes, want)
	}
}

func keys(m map[string]any) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	return out
}

func TestAccessLogTakesTheTime(t *testing.T) {
	h := open(t)
	s := h.server(t)
	engine := gin.New()
	engine.Use(s.identify, s.access)
	engine.GET("/slow", func(c *gin.Context) { h.pass(1500 * time.Millisecond) })
	engine.ServeHTTP(httptest.NewRecorder(), httptest.NewRequest("GET", "/slow?canary", nil))
	require.Equal(t, float64(1500*time.Millisecond), h.lines()[0]["duration"])
	require.Equal(t, "/slow", h.lines()[0]["route"])
}

// server builds the same server as open did, to put other handlers behind its
// middleware.
func (h *house) server(t *testing.T) *server {
	t.Helper()
	o := *h.options
	return &server{Options: o}
}

func TestPanic(t *testing.T) {
	h := open(t)
	s := h.server(t)
	engine := gin.New()
	engine.Use(s.identify, s.access, s.recover)
	engine.GET("/panic", func(*gin.Context) { panic("canary Fernwhistle") })
	engine.GET("/late", func(c *gin.Context) {
		c.String(http.StatusOK, "begun")
		panic(errors.New("canary"))
	})
	engine.GET("/abort", func(*gin.Context) { panic(http.ErrAbortHandler) })

	w := httptest.NewRecorder()
	engine.ServeHTTP(w, httptest.NewRequest("GET", "/panic", nil))
	id := w.Header().Get("X-Request-Id")
	require.Equal(t, http.StatusInternalServerError, w.Code)
	require.JSONEq(t, `{"resourceType":"OperationOutcome","issue":[{"severity":"error","code":"exception",
		"details":{"text":"the service failed; its log has more under this request id"},"diagnostics":"request id `+id+`"}]}`, w.Body.String())
	lines := h.lines()
	require.Equal(t, "string", lines[0]["type"])
	require.Equal(t, id, lines[0]["request_id"])
	require.Contains(t, lines[0]["stack"], "edge_test.go:")
	require.Equal(t, "ERROR", lines[1]["level"])

	w = httptest.NewRecorder()
	engine.ServeHTTP(w, httptest.NewRequest("GET", "/late", nil))
	require.Equal(t, "begun", w.Body.String(), "what was begun cannot be taken back")
	require.PanicsWithValue(t, http.ErrAbortHandler, func() {
		engine.ServeHTTP(httptest.NewRecorder(), httptest.NewRequest("GET", "/abort", nil))
	})
}

// TestUnknownFailure shows that a failure says nothing of itself to the
// sender, and its text to the log.
func TestUnknownFailure(t *testing.T) {
	h := open(t)
	s := h.server(t)
	engine := gin.New()
	engine.Use(s.identify, s.access)
	engine.GET("/fail", func(c *gin.Context) { s.fail(c, errors.New("disk 7 is odd")) })
	w := httptest.NewRecorder()
	engine.ServeHTTP(w, httptest.NewRequest("GET", "/fail", nil))
	require.Equal(t, http.StatusInternalServerError, w.Code)
	require.NotContains(t, w.Body.String(), "disk")
	require.Contains(t, w.Body.String(), w.Header().Get("X-Request-Id"))
	require.Equal(t, "disk 7 is odd", h.lines()[0]["error"])
}

// TestClientGone: a client that went is no failure of ours.
func TestClientGone(t *testing.T) {
	h := open(t)
	who := h.book("1")
	before := h.held()
	for _, c := range []struct{ name, method, path, body string }{
		{"write", "POST", root + "/Patient", patient("2")},
		{"transaction", "POST", root, operation("2")},
		{"batch", "POST", root, bundleOf("batch", entry("", "POST", "Patient", patient("2")))},
		{"read", "GET", who.patient, ""},
		{"search", "GET", root + "/Task", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			gone, cancel := context.WithCancel(t.Context())
			cancel()
			w := h.record(gone, c.method, c.path, c.body)
			if c.method == "GET" && w.Code == http.StatusOK {
				return // the answer was ready before anybody looked
			}
			require.Equal(t, statusClientGone, w.Code, w.Body.String())
		})
	}
	require.Equal(t, before, h.held())
	for _, line := range h.lines() {
		require.Equal(t, "INFO", line["level"])
	}
}

// record lets the handler answer without a server between.
func (h *house) record(ctx context.Context, method, path, body string) *httptest.ResponseRecorder {
	r := httptest.NewRequestWithContext(ctx, method, path, strings.NewReader(body))
	r.Header.Set("Content-Type", mediaType)
	w := httptest.NewRecorder()
	h.handler.ServeHTTP(w, r)
	return w
}

// TestBodyCutOff: a body that breaks off is not taken for what was meant.
func TestBodyCutOff(t *testing.T) {
	h := open(t)
	before := h.held()
	send := func(ctx context.Context, body io.Reader) *httptest.ResponseRecorder {
		r := httptest.NewRequestWithContext(ctx, "POST", root+"/Patient", body)
		r.Header.Set("Content-Type", mediaType)
		w := httptest.NewRecorder()
		h.handler.ServeHTTP(w, r)
		return w
	}
	broken := func() io.Reader {
		return io.MultiReader(strings.NewReader(patient("1")), iotest.ErrReader(io.ErrUnexpectedEOF))
	}
	w := send(t.Context(), broken())
	require.Equal(t, http.StatusBadRequest, w.Code)
	require.Contains(t, w.Body.String(), `"code":"incomplete"`)
	gone, cancel := context.WithCancel(t.Context())
	cancel()
	require.Equal(t, statusClientGone, send(gone, broken()).Code)
	// Without a length in front, the limit counts what arrives.
	w = send(t.Context(), io.MultiReader(strings.NewReader(patient("1")), strings.NewReader(strings.Repeat(" ", defaultMaxResource))))
	require.Equal(t, http.StatusRequestEntityTooLarge, w.Code)
	require.Equal(t, before, h.held())
}

func TestTooSlow(t *testing.T) {
	h := open(t)
	late, cancel := context.WithDeadline(t.Context(), time.Unix(0, 0))
	defer cancel()
	w := h.record(late, "POST", root+"/Patient", patient("1"))
	require.Equal(t, http.StatusServiceUnavailable, w.Code)
	require.Equal(t, "2", w.Header().Get("Retry-After"))
	require.Contains(t, w.Body.String(), `"code":"timeout"`)
}

func TestStoreClosed(t *testing.T) {
	h := open(t)
	who := h.book("1")
	require.NoError(t, h.db.Close())
	for _, r := range []response{h.get(who.patient), h.get(root + "/Task"), h.send("POST", root+"/Patient", patient("2"))} {
		code, _, text := r.issue()
		require.Equal(t, http.StatusServiceUnavailable, r.status)
		require.Equal(t, "2", r.header.Get("Retry-After"))
		require.Equal(t, "transient", code)
		require.Contains(t, text, "send the request again")
	}
	batch := h.must(200, "POST", root, bundleOf("batch", entry("", "GET", "Patient/canary", "")))
	require.Equal(t, "503 Service Unavailable", batch.String("entry", "response", "status"))
}

func TestOptionsAreRequired(t *testing.T) {
	h := open(t)
	for name, drop := range map[string]func(*Options){
		"office": func(o *Options) { o.Office = nil }, "base": func(o *Options) { o.Base = "" },
		"zone": func(o *Options) { o.Zone = nil }, "log": func(o *Options) { o.Log = nil }, "clock": func(o *Options) { o.Now = nil },
	} {
		o := *h.options
		drop(&o)
		_, err := New(o)
		require.Error(t, err, name)
	}
}

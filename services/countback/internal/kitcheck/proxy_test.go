package kitcheck

import (
	"bytes"
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/app"
)

// fault is one way in which a server can be wrong.
type fault struct {
	name  string
	about string
	// ask changes a request on its way in; may be nil.
	ask func(*message)
	// answer changes the response on its way out; may be nil.
	answer func(*message)
	// instead answers in the server's place when it returns true; may be nil.
	instead func(*broken, *message) bool
}

// message is a request, and after it was carried out its response.
type message struct {
	*http.Request
	query url.Values
	body  []byte

	status int
	header http.Header
	out    []byte
}

// path is the path below the base, such as Patient/1.
func (m *message) path() string { return strings.Trim(strings.TrimPrefix(m.URL.Path, "/fhir"), "/") }

// of reports whether the path is of a type.
func (m *message) of(typ string) bool {
	p := m.path()
	return p == typ || strings.HasPrefix(p, typ+"/")
}

// edit changes the response as JSON; what is none stays.
func (m *message) edit(change func(object)) { m.out = edited(m.out, change) }

// editSent does the same with the request.
func (m *message) editSent(change func(object)) { m.body = edited(m.body, change) }

type object = map[string]any

func edited(body []byte, change func(object)) []byte {
	d := json.NewDecoder(bytes.NewReader(body))
	d.UseNumber()
	var o object
	if d.Decode(&o) != nil || o == nil {
		return body
	}
	change(o)
	out, err := json.Marshal(o)
	if err != nil {
		return body
	}
	return out
}

// broken is the real server behind a proxy with at most one fault.
type broken struct {
	URL   string
	app   *app.App
	fault atomic.Pointer[fault]
	// greeting is true until the first request of a run, by which the runner asks
	// whether it talks to a server of FHIR R4 at all. That one is answered rightly.
	greeting atomic.Bool
	log      *slog.Logger

	behind *http.Transport // to the real server
}

// start starts both; all links of the server lead through the proxy.
func start(t *testing.T) *broken {
	t.Helper()
	b := &broken{log: slog.New(slog.DiscardHandler), behind: &http.Transport{DisableCompression: true}}
	front := httptest.NewServer(b)
	t.Cleanup(front.Close)
	b.URL = front.URL + "/fhir"
	a, err := app.Start(t.Context(), app.Config{
		Addr: "127.0.0.1:0", Admin: "127.0.0.1:0", Data: t.TempDir(), BaseURL: b.URL, Facility: "main",
		Zone: "America/Chicago", Holidays: "us-federal", OperatingDays: "Mon-Fri", Today: today,
	}, b.log)
	require.NoError(t, err)
	t.Cleanup(func() {
		b.behind.CloseIdleConnections()
		require.NoError(t, a.Close())
	})
	b.app = a
	return b
}

// today is the day on which the server's clock stands; a Wednesday.
const today = "2026-11-25"

func (b *broken) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(r.Body)
	if err != nil {
		http.Error(w, err.Error(), http.StatusBadGateway)
		return
	}
	m := &message{Request: r, query: r.URL.Query(), body: body}
	f := b.fault.Load()
	if f == nil || b.greeting.CompareAndSwap(true, false) {
		f = &fault{}
	}
	if f.ask != nil {
		before := m.query.Encode()
		f.ask(m)
		if m.query.Encode() != before {
			m.URL.RawQuery = m.query.Encode()
		}
	}
	if f.instead == nil || !f.instead(b, m) {
		b.forward(m)
	}
	if f.answer != nil {
		f.answer(m)
	}
	for name, values := range m.header {
		if name != "Content-Length" || r.Method == http.MethodHead {
			w.Header()[name] = values
		}
	}
	if r.Method != http.MethodHead {
		w.Header().Set("Content-Length", strconv.Itoa(len(m.out)))
	}
	w.WriteHeader(m.status)
	if _, err := w.Write(m.out); err != nil {
		b.log.Debug("the client went", "error", err)
	}
}

// forward lets the real server answer.
func (b *broken) forward(m *message) {
	m.status, m.header, m.out = b.send(m.Method, m.URL.RequestURI(), m.Header, m.body)
}

func (b *broken) send(method, at string, header http.Header, body []byte) (int, http.Header, []byte) {
	fail := func(err error) (int, http.Header, []byte) {
		return http.StatusBadGateway, http.Header{}, []byte(err.Error())
	}
	req, err := http.NewRequest(method, "http://"+b.app.Addr()+at, bytes.NewReader(body))
	if err != nil {
		return fail(err)
	}
	req.Header = header.Clone()
	resp, err := b.behind.RoundTrip(req)
	if err != nil {
		return fail(err)
	}
	defer resp.Body.Close()
	out, err := io.ReadAll(resp.Body)
	if err != nil {
		return fail(err)
	}
	return resp.StatusCode, resp.Header, out
}

// deadline is far beyond what a run takes.
const deadline = 5 * time.Minute

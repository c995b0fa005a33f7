package app

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"example.org/countback/services/countback/internal/search"
)

func TestMain(m *testing.M) {
	// A broker that is stopped while the relay is still making its stream leaves
	// these two loops of that stream behind; they hold no file and do nothing.
	const broker = "github.com/nats-io/nats-server/v2/server"
	goleak.VerifyTestMain(m,
		goleak.IgnoreAnyFunction(broker+".(*fileStore).flushStreamStateLoop"),
		goleak.IgnoreAnyFunction(broker+"/ats.Register.func1"),
		goleak.Cleanup(func(code int) {
			os.RemoveAll(built)
			os.Exit(code)
		}))
}

// settings are those of a server on free ports in a folder of its own.
func settings(t testing.TB) Config {
	return Config{
		Addr: "127.0.0.1:0", Admin: "127.0.0.1:0", NATSListen: "127.0.0.1:0", Data: t.TempDir(),
		Facility: "main", Zone: "America/Chicago", Holidays: "us-federal", OperatingDays: "Mon-Fri",
		Today: "2026-10-06",
	}
}

// started is a running service, closed when the test ends.
func started(t testing.TB, cfg Config) *App {
	t.Helper()
	a, err := Start(t.Context(), cfg, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	t.Cleanup(func() {
		http.DefaultClient.CloseIdleConnections()
		require.NoError(t, a.Close())
	})
	return a
}

// send makes a request and gives the answer's status and body.
func send(t testing.TB, method, target string, body []byte) (int, []byte) {
	t.Helper()
	req, err := http.NewRequestWithContext(context.WithoutCancel(t.Context()), method, target, bytes.NewReader(body))
	require.NoError(t, err)
	req.Header.Set("Content-Type", "application/fhir+json")
	resp, err := http.DefaultClient.Do(req)
	require.NoError(t, err)
	defer resp.Body.Close()
	out, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	return resp.StatusCode, out
}

// found lists the resources of every page of a search.
func found(t testing.TB, a *App, query string) []json.RawMessage {
	t.Helper()
	var out []json.RawMessage
	for next := a.URL() + "/" + query; next != ""; {
		status, body := send(t, http.MethodGet, next, nil)
		require.Equal(t, 200, status, string(body))
		var b struct {
			Entry []struct{ Resource json.RawMessage }
			Link  []struct{ Relation, URL string }
		}
		require.NoError(t, json.Unmarshal(body, &b))
		for _, e := range b.Entry {
			out = append(out, e.Resource)
		}
		next = ""
		for _, l := range b.Link {
			if l.Relation == "next" {
				next = l.URL
			}
		}
	}
	return out
}

// versions gives every current resource's name and version.
func versions(t testing.TB, a *App) map[string]string {
	t.Helper()
	out := map[string]string{}
	for _, typ := range search.Types() {
		for _, raw := range found(t, a, typ+"?_count=200") {
			var r struct {
				ID   string
				Meta struct{ VersionID, LastUpdated string }
			}
			require.NoError(t, json.Unmarshal(raw, &r))
			out[typ+"/"+r.ID] = r.Meta.VersionID + " " + r.Meta.LastUpdated
		}
	}
	return out
}

// sent is a message of the invented hospital.
type sent struct {
	Name, Method, Path string
	Body               json.RawMessage
}

// corpus lists what the invented hospital's systems send, in file order.
func corpus(t testing.TB) []sent {
	t.Helper()
	names, err := filepath.Glob("../../../../testdata/demo/*.json")
	require.NoError(t, err)
	require.NotEmpty(t, names)
	var out []sent
	for _, name := range names {
		b, err := os.ReadFile(name)
		require.NoError(t, err)
		var f struct{ Messages []sent }
		require.NoError(t, json.Unmarshal(b, &f))
		for n, m := range f.Messages {
			if m.Body != nil {
				m.Name = fmt.Sprintf("%s message %d", filepath.Base(name), n)
				out = append(out, m)
			}
		}
	}
	return out
}

func (s sent) post(t testing.TB, a *App) {
	t.Helper()
	target := a.URL()
	if s.Path != "" {
		typ, query, conditional := strings.Cut(s.Path, "?")
		target += "/" + typ
		if conditional {
			name, value, _ := strings.Cut(query, "=")
			target += "?" + name + "=" + url.QueryEscape(value)
		}
	}
	status, body := send(t, s.Method, target, s.Body)
	require.Less(t, status, 300, "%s: %s", s.Name, body)
}

// events reads every event of the outbox through the stream.
func events(t testing.TB, a *App) map[string]uint64 {
	t.Helper()
	counts, err := a.counted(t.Context())
	require.NoError(t, err)
	return counts
}

func TestRepeatedMessagesChangeNothing(t *testing.T) {
	a := started(t, settings(t))
	for n, m := range corpus(t) {
		t.Run(m.Name, func(t *testing.T) {
			m.post(t, a)
			if testing.Short() && n%5 > 0 {
				return // everything there is is read four times a message
			}
			before, told := versions(t, a), events(t, a)
			m.post(t, a)
			m.post(t, a)
			require.Equal(t, before, versions(t, a))
			require.Equal(t, told, events(t, a))
		})
	}
}

func TestDemo(t *testing.T) {
	cfg := settings(t)
	cfg.Today = DemoToday
	var out bytes.Buffer
	require.NoError(t, Demo(t.Context(), cfg, true, &out))
	golden := filepath.Join("testdata", "demo.golden")
	if os.Getenv("UPDATE") != "" {
		require.NoError(t, os.WriteFile(golden, out.Bytes(), 0o644))
	}
	want, err := os.ReadFile(golden)
	require.NoError(t, err)
	require.Equal(t, string(want), out.String())
}

func TestRefusesToListenBeyondLoopback(t *testing.T) {
	for _, addr := range []string{"0.0.0.0:0", ":0", "192.0.2.1:8080", "[::]:0"} {
		cfg := settings(t)
		cfg.Addr = addr
		_, err := Start(t.Context(), cfg, slog.New(slog.DiscardHandler))
		require.ErrorIs(t, err, ErrExposed, addr)
	}
}

func TestRefusesSettings(t *testing.T) {
	booking := filepath.Join(t.TempDir(), "booking.json")
	require.NoError(t, os.WriteFile(booking, []byte(`{"resourceType":"Patient"}`), 0o600))
	closures := filepath.Join(t.TempDir(), "closures.txt")
	require.NoError(t, os.WriteFile(closures, []byte("2026-12-24\n2026-12-31..2026-12-28\n"), 0o600))
	for name, r := range map[string]struct {
		change func(*Config)
		text   string
	}{
		"facility with a dot":    {func(c *Config) { c.Facility = "a.b" }, "-facility"},
		"facility as a wildcard": {func(c *Config) { c.Facility = "*" }, "-facility"},
		"zone":                   {func(c *Config) { c.Zone = "Mars/Olympus" }, "-zone"},
		"holidays":               {func(c *Config) { c.Holidays = "atlantis" }, "-holidays"},
		"closures":               {func(c *Config) { c.Closures = closures }, "-closures: not a list of closed days: line 2"},
		"closures not there":     {func(c *Config) { c.Closures = closures + "x" }, "-closures"},
		"operating days":         {func(c *Config) { c.OperatingDays = "Someday" }, "-operating-days"},
		"today":                  {func(c *Config) { c.Today = "tomorrow" }, "-today"},
		"base url":               {func(c *Config) { c.BaseURL = "foo" }, "-base-url"},
		"no protocol":            {func(c *Config) { c.Protocol = booking }, "not a PlanDefinition"},
		"protocol not there":     {func(c *Config) { c.Protocol = booking + "x" }, "-protocol"},
	} {
		t.Run(name, func(t *testing.T) {
			cfg := settings(t)
			r.change(&cfg)
			_, err := Start(t.Context(), cfg, slog.New(slog.DiscardHandler))
			require.ErrorContains(t, err, r.text)
		})
	}
}

// Two processes in one folder would each have a broker on the same files.
func TestOneProcessAFolder(t *testing.T) {
	cfg := settings(t)
	a, err := Start(t.Context(), cfg, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	_, err = Start(t.Context(), cfg, slog.New(slog.DiscardHandler))
	require.ErrorIs(t, err, ErrInUse)
	require.NoError(t, a.Close())
	a, err = Start(t.Context(), cfg, slog.New(slog.DiscardHandler))
	require.NoError(t, err, "free again")
	require.NoError(t, a.Close())
}

func TestHealthAndMetrics(t *testing.T) {
	a := started(t, settings(t))
	for _, m := range corpus(t)[:1] {
		m.post(t, a)
	}
	require.NoError(t, a.Published(t.Context()))
	for _, path := range []string{"/healthz", "/readyz"} {
		status, _ := send(t, http.MethodGet, a.AdminURL()+path, nil)
		require.Equal(t, 200, status, path)
	}
	status, body := send(t, http.MethodGet, a.AdminURL()+"/metrics", nil)
	require.Equal(t, 200, status)
	require.Contains(t, string(body), "countback_events_published_total 2\n")
	require.Contains(t, string(body), "countback_events_waiting 0\n")
	require.Contains(t, string(body), "countback_timers_failing 0\n")
	require.Contains(t, string(body), `countback_cases{state="behind"} 1`)
}

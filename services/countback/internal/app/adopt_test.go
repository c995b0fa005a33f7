package app

import (
	"encoding/json"
	"fmt"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// firstVersion is that of the default protocol.
const firstVersion = "1.0.2"

const protocolPath = "/PlanDefinition/hip-or-knee-replacement"

// signed is the example protocol in another version, with a named approver and
// the first call renamed after the version, so that each version differs in it.
func signed(t testing.TB, version string) []byte {
	t.Helper()
	body, err := os.ReadFile("../../../../api/protocol/PlanDefinition-hip-or-knee-replacement.json")
	require.NoError(t, err)
	text := string(body)
	for _, change := range [][2]string{
		{`"version": "` + firstVersion + `"`, `"version": "` + version + `"`},
		{`"status": "draft",`, `"status": "active", "approvalDate": "2026-10-01", "endorser": [{"name": "Dr Wendeline Thatchmarsh"}],`},
		{`"title": "First call"`, `"title": "First call ` + version + `"`},
	} {
		require.Equal(t, 1, strings.Count(text, change[0]), change[0])
		text = strings.Replace(text, change[0], change[1], 1)
	}
	return []byte(text)
}

// adoption is how far a server has come.
type adoption struct {
	inForce     string
	open, older int
}

func adoptionAt(t testing.TB, base string) adoption {
	t.Helper()
	status, body := send(t, http.MethodGet, base+protocolPath+"/$adoption", nil)
	require.Equal(t, 200, status, string(body))
	var out adoption
	var p struct {
		Parameter []struct {
			Name           string
			ValueInteger   int
			ValueCanonical string
		}
	}
	require.NoError(t, json.Unmarshal(body, &p))
	for _, v := range p.Parameter {
		switch v.Name {
		case "in-force":
			_, out.inForce, _ = strings.Cut(v.ValueCanonical, "|")
		case "open-cases":
			out.open = v.ValueInteger
		case "older":
			out.older = v.ValueInteger
		}
	}
	return out
}

// caughtUp waits until no open case is planned by an older version.
func caughtUp(t testing.TB, base string) {
	t.Helper()
	require.Eventually(t, func() bool { return adoptionAt(t, base).older == 0 }, time.Minute, 5*time.Millisecond)
}

// writer is a log that a test reads while it is written.
type writer struct {
	mu   sync.Mutex
	text strings.Builder
}

func (w *writer) Write(p []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.text.Write(p)
}

func (w *writer) String() string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.text.String()
}

// The running service plans open cases again by itself, shows how far it is, and
// keeps what was adopted when it is started again with something else.
func TestAdoptedInTheBackground(t *testing.T) {
	cfg := settings(t)
	var log writer
	a, err := Start(t.Context(), cfg, slog.New(slog.NewJSONHandler(&log, nil)))
	require.NoError(t, err)
	for n := range 5 {
		status, body := send(t, http.MethodPost, a.URL(), booking(n, "2026-11-30T07:30:00-06:00"))
		require.Equal(t, 200, status, string(body))
	}
	status, body := send(t, http.MethodPut, a.URL()+protocolPath, signed(t, "1.1.0"))
	require.Equal(t, 200, status, string(body))
	caughtUp(t, a.URL())
	_, metrics := send(t, http.MethodGet, a.AdminURL()+"/metrics", nil)
	require.Contains(t, string(metrics), "countback_open_cases 5\n")
	require.Contains(t, string(metrics), "countback_open_cases_on_older_protocol 0\n")
	plans := found(t, a, "CarePlan?instantiates-canonical=http://countback.example/fhir"+protocolPath+"|1.1.0")
	require.Len(t, plans, 5)
	for _, raw := range plans {
		require.Contains(t, string(raw), `"versionId":"2"`)
	}
	require.NoError(t, a.Close())
	require.Contains(t, log.String(), `"open cases planned again by the protocol in force","cases":5`)

	require.NotContains(t, log.String(), "no time on some dates")

	cfg.Protocol = filepath.Join(t.TempDir(), "protocol.json")
	require.NoError(t, os.WriteFile(cfg.Protocol, signed(t, "1.5.0"), 0o600))
	a, err = Start(t.Context(), cfg, slog.New(slog.NewJSONHandler(&log, nil)))
	require.NoError(t, err)
	require.Equal(t, adoption{"1.1.0", 5, 0}, adoptionAt(t, a.URL()))
	require.Contains(t, log.String(), "-protocol has no effect")
	require.NoError(t, a.Close())
	http.DefaultClient.CloseIdleConnections()
}

// A protocol that leaves a step no time on some dates is planned by, and the
// operator is told when the service starts.
func TestStartTellsEmptyWindows(t *testing.T) {
	cfg := settings(t)
	cfg.Protocol = filepath.Join(t.TempDir(), "protocol.json")
	before, after, found := strings.Cut(string(signed(t, "1.1.0")), `"id": "arrival-call",`)
	require.True(t, found)
	after = strings.Replace(after, `"extension": [`, `"extension": [{"url": "http://countback.example/fhir/StructureDefinition/last-day", "extension": [
		{"url": "actionId", "valueId": "surgery"}, {"url": "relationship", "valueCode": "before-start"},
		{"url": "offset", "valueDuration": {"value": 2, "unit": "days", "system": "http://unitsofmeasure.org", "code": "d"}}]},`, 1)
	require.NoError(t, os.WriteFile(cfg.Protocol, []byte(before+`"id": "arrival-call",`+after), 0o600))
	var log writer
	a, err := Start(t.Context(), cfg, slog.New(slog.NewJSONHandler(&log, nil)))
	require.NoError(t, err)
	require.NoError(t, a.Close())
	require.Regexp(t, `"level":"WARN","msg":"a step of the protocol has no time on some dates","protocol":"[^"]*\|1\.1\.0","step":"arrival-call has an empty window`, log.String())
}

// TestKilledWhileCatchingUp ends the server with SIGKILL while open cases are
// being planned again by a version that was just adopted. The next start goes on
// by itself; in the end every case follows, and each was told once.
func TestKilledWhileCatchingUp(t *testing.T) {
	const cases = 40
	dir := t.TempDir()
	k := serveKilled(t, dir)
	for n := range cases {
		status, body := send(t, http.MethodPost, k.base, booking(n, "2026-11-30T07:30:00-06:00"))
		require.Equal(t, 200, status, string(body))
	}
	landed, version := 0, ""
	for n := 1; landed < 2; n++ {
		require.Less(t, n, 50, "no kill came in between")
		version = fmt.Sprintf("1.%d.0", n)
		status, body := send(t, http.MethodPut, k.base+protocolPath, signed(t, version))
		require.Equal(t, 200, status, string(body))
		at := adoptionAt(t, k.base)
		for at.older == cases {
			at = adoptionAt(t, k.base)
		}
		require.NoError(t, k.cmd.Process.Kill())
		_ = k.cmd.Wait()
		http.DefaultClient.CloseIdleConnections()
		if at.older > 0 {
			landed++
			t.Logf("killed with %d of %d cases left", at.older, cases)
		}
		k = serveKilled(t, dir)
		require.Equal(t, version, adoptionAt(t, k.base).inForce)
		caughtUp(t, k.base)
	}
	require.NoError(t, k.cmd.Process.Kill())
	_ = k.cmd.Wait()
	http.DefaultClient.CloseIdleConnections()

	cfg := settings(t)
	cfg.Data = dir
	a := started(t, cfg)
	require.Len(t, found(t, a, "CarePlan?instantiates-canonical=http://countback.example/fhir"+protocolPath+"|"+version), cases)
	calls := found(t, a, "Task?code=first-call")
	require.Len(t, calls, cases)
	for _, raw := range calls {
		require.Contains(t, string(raw), `"First call `+version+`"`)
	}
	require.NoError(t, a.Published(t.Context()))
	checkSequences(t, a)
}

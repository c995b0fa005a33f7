package app

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// built is the folder of the binary, removed when all tests have run.
var built string

// binary builds the real command once.
var binary = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "countback-binary-")
	if err != nil {
		return "", err
	}
	built = dir
	path := filepath.Join(dir, "countback")
	out, err := exec.Command("go", "build", "-o", path, "../..").CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("%w: %s", err, out)
	}
	return path, nil
})

func command(t *testing.T, args ...string) *exec.Cmd {
	t.Helper()
	path, err := binary()
	require.NoError(t, err)
	cmd := exec.Command(path, args...)
	cmd.Env = append(os.Environ(), "TZ=UTC")
	return cmd
}

// TestConsumerInAnotherProcess follows the events with the real command and
// checks that each came once, in the order of its case, and that none is missing.
func TestConsumerInAnotherProcess(t *testing.T) {
	a := started(t, settings(t))
	for _, m := range corpus(t) {
		m.post(t, a)
	}
	total := uint64(0)
	for _, n := range events(t, a) {
		total += n
	}
	cmd := command(t, "events", "-nats", a.NATSURL(), "-most", strconv.FormatUint(total, 10))
	var warned bytes.Buffer
	cmd.Stderr = &warned
	out, err := cmd.Output()
	require.NoError(t, err, warned.String())
	require.Empty(t, warned.String())
	last := map[string]int64{}
	ids := map[string]bool{}
	lines := bufio.NewScanner(bytes.NewReader(out))
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		var e struct {
			ID, Subject  string
			CaseSequence int64
		}
		require.NoError(t, json.Unmarshal(lines.Bytes(), &e))
		require.False(t, ids[e.ID], "an event came twice")
		ids[e.ID] = true
		require.Equal(t, last[e.Subject]+1, e.CaseSequence, "order of %s", e.Subject)
		last[e.Subject] = e.CaseSequence
	}
	require.Len(t, ids, int(total))
	require.Greater(t, len(last), 5)
}

// killed is one server process in the folder dir, on the ports given.
type killed struct {
	cmd  *exec.Cmd
	base string
}

func serveKilled(t *testing.T, dir string) killed {
	t.Helper()
	// The system gives the ports, and the server tells them: one that was free before
	// it started may be somebody else's when it does.
	cmd := command(t, "serve", "-data", dir, "-addr", "127.0.0.1:0", "-admin", "127.0.0.1:0", "-today", "2026-10-06")
	logged, err := cmd.StderrPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	var serving struct{ FHIR, Admin string }
	for lines := bufio.NewScanner(logged); serving.FHIR == "" && lines.Scan(); {
		_ = json.Unmarshal(lines.Bytes(), &serving) // other lines say other things
	}
	require.NotEmpty(t, serving.FHIR, "the server ended before it served")
	go func() { _, _ = io.Copy(io.Discard, logged) }()
	k := killed{cmd: cmd, base: serving.FHIR}
	require.Eventually(t, func() bool {
		resp, err := http.Get(serving.Admin + "/readyz")
		if err != nil {
			return false
		}
		resp.Body.Close()
		return resp.StatusCode == 200
	}, 20*time.Second, 5*time.Millisecond)
	return k
}

func freePort(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().String()
}

// TestKilledWhilePosting ends the server with SIGKILL while bookings are being
// posted, starts it again, and checks that what was acknowledged is there, that
// no plan is half there, and that the events have no gap. Only kills that land
// while a request is in flight count; COUNTBACK_KILLS asks for more of them.
func TestKilledWhilePosting(t *testing.T) {
	want := 4
	if s := os.Getenv("COUNTBACK_KILLS"); s != "" {
		n, err := strconv.Atoi(s)
		require.NoError(t, err)
		want = n
	}
	seed := uint64(time.Now().UnixNano())
	rng := rand.New(rand.NewPCG(seed, seed))
	dir := t.TempDir()
	acked := map[int]bool{}
	next, landed, tries := 0, 0, 0
	for landed < want {
		tries++
		k := serveKilled(t, dir)
		sent, inFlight := postUntilKilled(t, k, &next, time.Duration(20+rng.IntN(180))*time.Millisecond)
		for _, n := range sent {
			acked[n] = true
		}
		if inFlight {
			if landed++; landed%50 == 0 {
				t.Logf("%d so far", landed)
			}
		}
	}
	checkAfterKills(t, dir, acked, next)
	t.Logf("%d kills, %d of them with a request in flight; %d bookings acknowledged; seed %d", tries, landed, len(acked), seed)
}

// postUntilKilled posts bookings one after another until the process, which is
// killed after the delay, no longer answers.
func postUntilKilled(t *testing.T, k killed, next *int, delay time.Duration) (acked []int, inFlight bool) {
	t.Helper()
	var flying atomic.Bool
	killedNow := make(chan bool, 1)
	go func() {
		timer := time.NewTimer(delay)
		defer timer.Stop()
		<-timer.C
		flight := flying.Load()
		_ = k.cmd.Process.Kill()
		_ = k.cmd.Wait()
		killedNow <- flight
	}()
	client := &http.Client{Transport: &http.Transport{}}
	defer client.CloseIdleConnections()
	for {
		n := *next
		req, err := http.NewRequestWithContext(context.Background(), http.MethodPost, k.base, bytes.NewReader(booking(n, "2026-11-30T07:30:00-06:00")))
		require.NoError(t, err)
		req.Header.Set("Content-Type", "application/fhir+json")
		flying.Store(true)
		resp, err := client.Do(req)
		flying.Store(false)
		if err != nil {
			*next++ // it may or may not have been stored
			return acked, <-killedNow
		}
		resp.Body.Close()
		require.Equal(t, 200, resp.StatusCode)
		acked = append(acked, n)
		*next++
	}
}

func checkAfterKills(t *testing.T, dir string, acked map[int]bool, tried int) {
	t.Helper()
	cfg := settings(t)
	cfg.Data = dir
	a := started(t, cfg)
	steps := 0
	for n := range tried {
		booked := found(t, a, fmt.Sprintf("Appointment?identifier=https://theatre.meadowfold.example/appointment%%7CA-%d", n))
		if acked[n] {
			require.Len(t, booked, 1, "booking %d was acknowledged", n)
		}
		if len(booked) == 0 {
			continue
		}
		people := found(t, a, fmt.Sprintf("Patient?identifier=https://registry.meadowfold.example/person%%7CP-%d", n))
		require.Len(t, people, 1)
		var person struct{ ID string }
		require.NoError(t, json.Unmarshal(people[0], &person))
		plans := found(t, a, "CarePlan?patient="+person.ID)
		require.Len(t, plans, 1, "booking %d has one plan", n)
		var plan struct {
			ID       string
			Activity []struct{ Reference struct{ Reference string } }
		}
		require.NoError(t, json.Unmarshal(plans[0], &plan))
		tasks := found(t, a, "Task?patient="+person.ID+"&_count=200")
		require.Len(t, tasks, len(plan.Activity), "a plan is whole")
		if steps == 0 {
			steps = len(tasks)
		}
		require.Len(t, tasks, steps)
	}
	require.Greater(t, steps, 50)
	require.NoError(t, a.Published(t.Context()))
	report, err := a.relay.Audit(t.Context())
	require.NoError(t, err)
	t.Logf("audit of the stream: %+v", report)
	checkSequences(t, a)
}

// checkSequences reads the whole stream: each case counts 1, 2, 3 …
func checkSequences(t *testing.T, a *App) {
	t.Helper()
	var out, warned bytes.Buffer
	rows, err := a.db.Published(t.Context(), 0, 1<<20)
	require.NoError(t, err)
	total := len(rows)
	require.NoError(t, Events(t.Context(), EventsOptions{NATS: a.NATSURL(), Durable: "checker", Most: total}, &out, &warned))
	require.Empty(t, warned.String())
	last := map[string]int64{}
	for _, line := range bytes.Split(bytes.TrimSpace(out.Bytes()), []byte("\n")) {
		var e struct {
			Subject      string
			CaseSequence int64
		}
		require.NoError(t, json.Unmarshal(line, &e))
		if e.CaseSequence <= last[e.Subject] {
			continue // delivered again after a kill; a consumer drops it
		}
		require.Equal(t, last[e.Subject]+1, e.CaseSequence)
		last[e.Subject] = e.CaseSequence
	}
}

package app

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/event"
)

// storied is the service with traps in one folder, and what it was sent and said.
type storied struct {
	t         *testing.T
	dir, trap string
	cmd       *exec.Cmd
	dead      chan struct{}
	base      string
	admin     string
	client    *http.Client
	acked     []int // of booking n: messages in a row that were acknowledged
	sent      []int // that were sent
	strikes   int
}

// moved are the days that a booking gets, one message each.
var moved = []string{"2026-11-30", "2026-12-03"}

func newStory(t *testing.T) *storied {
	s := &storied{t: t, dir: t.TempDir(), trap: filepath.Join(t.TempDir(), "trap"), client: &http.Client{Transport: &http.Transport{}}}
	t.Cleanup(func() { s.kill(); s.client.CloseIdleConnections() })
	return s
}

// serve starts the service, unless it runs, and waits until nothing is left to do.
func (s *storied) serve() {
	s.t.Helper()
	_ = os.Remove(s.trap)
	if !s.died() {
		s.drained()
		return
	}
	path, err := trapped()
	require.NoError(s.t, err)
	addr, admin := freePort(s.t), freePort(s.t)
	s.cmd = exec.Command(path, "serve", "-data", s.dir, "-addr", addr, "-admin", admin, "-today", "2026-10-06")
	s.cmd.Env = append(os.Environ(), "TZ=UTC", "COUNTBACK_TRAP="+s.trap)
	require.NoError(s.t, s.cmd.Start())
	dead := make(chan struct{})
	s.dead, s.base, s.admin = dead, "http://"+addr+"/fhir", "http://"+admin
	go func() { _ = s.cmd.Wait(); close(dead) }()
	s.drained()
}

func (s *storied) died() bool {
	if s.dead == nil {
		return true
	}
	select {
	case <-s.dead:
		return true
	default:
		return false
	}
}

func (s *storied) kill() {
	if !s.died() {
		_ = s.cmd.Process.Kill()
		<-s.dead
	}
}

func (s *storied) struck() bool {
	_, err := os.Stat(s.trap + ".struck")
	return err == nil
}

// nothingWaits tells whether the service says that every event is published.
func (s *storied) nothingWaits() bool {
	resp, err := s.client.Get(s.admin + "/metrics")
	if err != nil {
		return false
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	return err == nil && strings.Contains(string(text), "\ncountback_events_waiting 0\n")
}

func (s *storied) drained() {
	s.t.Helper()
	require.Eventually(s.t, s.nothingWaits, patience, 2*time.Millisecond)
}

// post sends the m-th message of booking n and tells whether it was acknowledged.
func (s *storied) post(n, m int) bool {
	s.t.Helper()
	s.sent[n] = m + 1
	req, err := http.NewRequestWithContext(s.t.Context(), http.MethodPost, s.base, bytes.NewReader(booking(n, moved[m]+"T07:30:00-06:00")))
	require.NoError(s.t, err)
	req.Header.Set("Content-Type", "application/fhir+json")
	resp, err := s.client.Do(req)
	if err != nil {
		return false
	}
	_, err = io.Copy(io.Discard, resp.Body)
	resp.Body.Close()
	if err != nil || resp.StatusCode != http.StatusOK {
		require.GreaterOrEqual(s.t, resp.StatusCode, 500, "what failed inside is no fault of the sender")
		return false
	}
	s.acked[n] = m + 1
	return true
}

// tell sends a new booking and its move, and again what failed once; it tells
// whether the trap was met.
func (s *storied) tell(trap, how string) bool {
	s.t.Helper()
	s.serve()
	_ = os.Remove(s.trap + ".struck")
	setTrap(s.t, s.trap, trap)
	n := len(s.sent)
	s.sent, s.acked = append(s.sent, 0), append(s.acked, 0)
	for m := range moved {
		if ok := s.post(n, m); !ok && how == "once" {
			require.True(s.t, s.post(n, m), "%s: the same again goes through", trap)
		} else if !ok {
			break
		}
	}
	require.Eventually(s.t, func() bool { return s.died() || how != "once" && s.struck() || s.nothingWaits() }, patience, 2*time.Millisecond)
	met := s.died() || s.struck()
	if met {
		s.strikes++
	}
	if how == "for-good" {
		s.kill() // it is started anew, and all is well again
	}
	return met
}

// every tells the story for each point, before it and after it, at the N-th
// passing: all, or the first few and then some that are drawn, to the end; or only
// the first and one that is drawn.
func (s *storied) every(how string, rng *rand.Rand) {
	all, many := os.Getenv("COUNTBACK_POINTS") == "all", os.Getenv("COUNTBACK_KILLS") != ""
	for _, p := range points {
		for _, side := range []string{"before", "after"} {
			for nth := 1; ; nth++ {
				met := s.tell(fmt.Sprintln(p.name, side, how, nth), how)
				require.True(s.t, met || nth > 1, "%s %s is never met", p.name, side)
				if all && !met {
					s.t.Logf("%s, %s: %d times", p.name, side, nth-1)
				}
				if !met || !all && !many && nth > 1 {
					break
				}
				switch {
				case all:
				case !many:
					nth += rng.IntN(4)
				case nth >= 4:
					nth += rng.IntN(24)
				}
			}
		}
	}
	s.kill()
	_ = os.Remove(s.trap)
}

// check compares what stands with what the senders were told: nothing that was
// acknowledged is lost, each plan is the whole one of its date, and every case
// counts its events without a gap, in the outbox and in the stream.
func (s *storied) check() {
	t := s.t
	cfg := settings(t)
	cfg.Data = s.dir
	a := started(t, cfg)
	wants := map[int]map[string]string{0: nil}
	for m := range moved { // of a booking that nothing happened to
		n := len(s.sent) + m
		for k := range m + 1 {
			status, _ := send(t, http.MethodPost, a.URL(), booking(n, moved[k]+"T07:30:00-06:00"))
			require.Equal(t, 200, status)
		}
		wants[m+1] = statesOf(t, a, n)
	}
	require.NotEqual(t, wants[1], wants[2])
	sequences := map[string]int64{}
	for n := range s.sent {
		booked := found(t, a, fmt.Sprintf("Appointment?identifier=https://theatre.meadowfold.example/appointment%%7CA-%d", n))
		if len(booked) == 0 {
			require.Zero(t, s.acked[n], "booking %d was acknowledged", n)
			require.Empty(t, found(t, a, fmt.Sprintf("Patient?identifier=https://registry.meadowfold.example/person%%7CP-%d", n)), "half of a booking")
			continue
		}
		require.Len(t, booked, 1)
		var held struct{ Start string }
		require.NoError(t, json.Unmarshal(booked[0], &held))
		m := 1
		for moved[m-1] != held.Start[:10] {
			m++
		}
		require.GreaterOrEqual(t, m, s.acked[n], "a move of booking %d was acknowledged", n)
		require.LessOrEqual(t, m, s.sent[n])
		require.Equal(t, wants[m], statesOf(t, a, n), "booking %d", n)
	}
	require.NoError(t, a.Published(t.Context()))
	report, err := a.relay.Audit(t.Context())
	require.NoError(t, err)
	require.Zero(t, report.Missing)
	rows, err := a.db.Published(t.Context(), 0, 1<<20)
	require.NoError(t, err)
	for _, row := range rows {
		e, err := event.Decode(row.Body)
		require.NoError(t, err)
		sequences[e.CaseID()]++
		require.Equal(t, sequences[e.CaseID()], e.CaseSequence)
	}
	require.Len(t, sequences, len(found(t, a, "CarePlan?_count=200")), "each plan was told, and no other")
	checkSequences(t, a)
}

// TestKilledAtEveryPoint ends the real command with SIGKILL right before and
// right after a write, a commit, a publish and a mark, and starts it again.
// COUNTBACK_KILLS asks for more of them, COUNTBACK_POINTS=all for every one.
func TestKilledAtEveryPoint(t *testing.T) {
	seed := uint64(time.Now().UnixNano())
	s, began := newStory(t), time.Now()
	s.every("kill", rand.New(rand.NewPCG(seed, seed)))
	s.check()
	t.Logf("%d kills, each at a named point; %d bookings; seed %d; %s", s.strikes, len(s.sent), seed, time.Since(began).Round(time.Second))
}

// TestEveryPointFails lets the same calls of the real command fail, once and for
// good; after the latter it is started again.
func TestEveryPointFails(t *testing.T) {
	for _, how := range []string{"once", "for-good"} {
		t.Run(how, func(t *testing.T) {
			seed := uint64(time.Now().UnixNano())
			s, began := newStory(t), time.Now()
			s.every(how, rand.New(rand.NewPCG(seed, seed)))
			s.check()
			t.Logf("%d failures, %s; %d bookings; seed %d; %s", s.strikes, how, len(s.sent), seed, time.Since(began).Round(time.Second))
		})
	}
}

// A build whose points are not there would prove nothing.
func TestPointsAreFound(t *testing.T) {
	_, err := withTraps(filepath.Join("..", "store", "write.go"), []point{{name: "x", fn: "commit", call: "nowhere()"}})
	require.ErrorContains(t, err, "0 calls of nowhere() in commit")
	require.False(t, errors.Is(err, os.ErrNotExist))
}

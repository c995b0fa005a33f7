package app

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	_ "github.com/ncruces/go-sqlite3/driver"
	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/event"
	"example.org/countback/services/countback/internal/store"
)

// patience is how long these tests wait for another process: on a machine that
// does other work too, a start may take very long.
const patience = 2 * time.Minute

// timed is a story of processes in one folder, each with its clock standing
// somewhere else, and most of them killed.
type timed struct {
	t              *testing.T
	dir            string
	db             *sql.DB // looked at from outside
	starts, landed int
}

// bookedDays are the days of surgery; case n has one of them in turn.
var bookedDays = []string{"2026-11-30", "2026-12-01", "2026-12-02", "2026-12-03"}

const timedCases = 32

func timedBooking(n int) []byte {
	return booking(n, bookedDays[n%len(bookedDays)]+"T07:30:00-06:00")
}

// serve starts the real command with the clock at an instant.
func (s *timed) serve(at time.Time, more ...string) killed {
	s.t.Helper()
	s.starts++
	addr, admin := freePort(s.t), freePort(s.t)
	cmd := command(s.t, append([]string{"serve", "-data", s.dir, "-addr", addr, "-admin", admin, "-today", at.Format(time.RFC3339)}, more...)...)
	require.NoError(s.t, cmd.Start())
	s.t.Cleanup(func() { _ = cmd.Process.Kill() })
	return killed{cmd: cmd, base: "http://" + addr + "/fhir"}
}

func (k killed) kill() {
	_ = k.cmd.Process.Kill()
	_ = k.cmd.Wait()
}

// post sends a message as soon as the process answers.
func (s *timed) post(k killed, body []byte) {
	s.t.Helper()
	require.Eventually(s.t, func() bool {
		resp, err := http.Post(k.base, "application/fhir+json", bytes.NewReader(body))
		if err != nil {
			return false // not listening yet
		}
		resp.Body.Close()
		require.Equal(s.t, 200, resp.StatusCode)
		return true
	}, patience, 5*time.Millisecond)
	http.DefaultClient.CloseIdleConnections()
}

// due counts the cases with something to do at an instant.
func (s *timed) due(at time.Time) int {
	return s.count(`SELECT count(*) FROM care_case WHERE next_at <= ?`, at.UnixMicro())
}

func (s *timed) events() int { return s.count(`SELECT count(*) FROM outbox`) }

func (s *timed) count(query string, args ...any) int {
	s.t.Helper()
	var n int
	require.NoError(s.t, s.db.QueryRow(query, args...).Scan(&n))
	return n
}

// killWithin starts the service and kills it when it has planned some of the
// cases that are due and not others. That counts as landed; the tick may also be
// over before anyone looks.
func (s *timed) killWithin(at time.Time) {
	s.t.Helper()
	all := s.due(at)
	require.Positive(s.t, all)
	k := s.serve(at)
	defer k.kill()
	for limit := time.Now().Add(patience); s.due(at) == all; {
		require.True(s.t, time.Now().Before(limit), "the timers never fired")
	}
	k.kill()
	if s.due(at) > 0 {
		s.landed++
	}
}

// finish starts the service, perhaps with its clock behind, and lets it do all
// that is due.
func (s *timed) finish(at time.Time, behind time.Duration) {
	s.t.Helper()
	k := s.serve(at.Add(-behind))
	defer k.kill()
	require.Eventually(s.t, func() bool { return s.due(at) == 0 }, patience, 5*time.Millisecond)
}

// setBack starts the service with the clock one and a half days behind: a
// coordinator sees what they saw, and a message changes nothing of it.
func (s *timed) setBack(at time.Time) {
	s.t.Helper()
	before := s.stands()
	told := s.events()
	k := s.serve(at.Add(-37 * time.Hour))
	defer k.kill()
	s.post(k, bytes.Replace(timedBooking(0), []byte("Left knee replacement"), []byte("Left knee"), 1))
	require.Equal(s.t, before, s.stands())
	require.Equal(s.t, told, s.events())
}

// stands is how every item stands, in its version.
func (s *timed) stands() [sha256.Size]byte {
	s.t.Helper()
	var all string
	require.NoError(s.t, s.db.QueryRow(`SELECT group_concat(version || state) FROM (SELECT version, state FROM item ORDER BY care_case, n)`).Scan(&all))
	return sha256.Sum256([]byte(all))
}

// setFarBack: the service does not start, says why and what to do, and has
// changed nothing.
func (s *timed) setFarBack(at time.Time) {
	s.t.Helper()
	told := s.events()
	ctx, cancel := context.WithTimeout(s.t.Context(), patience)
	defer cancel()
	path, err := binary()
	require.NoError(s.t, err)
	out, err := exec.CommandContext(ctx, path, "serve", "-data", s.dir, "-addr", freePort(s.t), "-admin", freePort(s.t),
		"-today", at.Add(-49*time.Hour).Format(time.RFC3339)).CombinedOutput()
	require.Error(s.t, err)
	require.Contains(s.t, string(out), "the clock was set back by more than two days")
	require.Contains(s.t, string(out), "-clock-corrected")
	require.Equal(s.t, told, s.events())
}

// TestTimersOnce kills the service in the middle of its timers, starts it again
// at once or a week later, and sets the clock back between two starts. Every
// change is told once, in the case's own sequence, and all stands as in a service
// that nothing happened to. COUNTBACK_KILLS asks for more kills.
func TestTimersOnce(t *testing.T) {
	want := 3
	if text := os.Getenv("COUNTBACK_KILLS"); text != "" {
		var err error
		want, err = strconv.Atoi(text)
		require.NoError(t, err)
	}
	for landed := 0; landed < want; {
		s := &timed{t: t, dir: t.TempDir()}
		s.run()
		landed += s.landed
		t.Logf("%d starts, %d of them killed with some of the timers fired", s.starts, s.landed)
	}
}

// bookedAt is when the service hears of the bookings.
func bookedAt(t *testing.T) time.Time {
	zone, err := time.LoadLocation("America/Chicago")
	require.NoError(t, err)
	return time.Date(2026, 10, 6, 12, 0, 0, 0, zone)
}

// book sends so many bookings, from one number on, and opens the database.
func (s *timed) book(count, from int) {
	s.t.Helper()
	k := s.serve(bookedAt(s.t))
	defer k.kill()
	for n := range count {
		s.post(k, timedBooking(from+n))
	}
	k.kill()
	var err error
	s.db, err = sql.Open("sqlite3", "file:"+filepath.ToSlash(filepath.Join(s.dir, store.File))+"?_pragma=busy_timeout(60000)")
	require.NoError(s.t, err)
}

func (s *timed) run() {
	s.book(timedCases, 0)
	defer s.db.Close()
	at := bookedAt(s.t).AddDate(0, 0, 26)
	for week := range 5 {
		s.killWithin(at)
		switch week {
		case 0: // started again at once
			s.finish(at, 0)
		case 1: // the rest is done a week later
		case 2:
			s.finish(at, 37*time.Hour) // the others had come so far: so do the rest
			s.setBack(at)
			s.setFarBack(at)
		}
		at = at.AddDate(0, 0, 7)
	}
	at = at.AddDate(0, 0, -7)
	s.finish(at, 0)
	s.check(at)
}

// check reads the whole stream and compares all that stands with a service that
// nothing happened to.
func (s *timed) check(at time.Time) {
	t := s.t
	cfg := settings(t)
	cfg.Data, cfg.Today = s.dir, at.Format(time.RFC3339)
	a := started(t, cfg)
	require.NoError(t, a.Published(t.Context()))
	checkSequences(t, a)
	rows, err := a.db.Published(t.Context(), 0, 1<<20)
	require.NoError(t, err)
	told, sequence := map[string]bool{}, map[string]int64{}
	for _, row := range rows {
		e, err := event.Decode(row.Body)
		require.NoError(t, err)
		sequence[e.CaseID()]++
		require.Equal(t, sequence[e.CaseID()], e.CaseSequence)
		d, err := e.TasksData()
		if err != nil {
			continue // of the case
		}
		for _, k := range d.Tasks {
			for _, what := range []string{fmt.Sprint(k.ID, " version ", k.Version), k.ID + " " + e.Name() + " " + k.State} {
				require.False(t, told[what], "%s is told twice", what)
				told[what] = true
			}
		}
	}
	require.Len(t, sequence, timedCases)
	for n := range timedCases {
		require.Equal(t, unbrokenStates(t, at, n%len(bookedDays)), statesOf(t, a, n), "case %d", n)
	}
}

// statesOf is how the Tasks of booking n stand, by step.
func statesOf(t *testing.T, a *App, n int) map[string]string {
	t.Helper()
	people := found(t, a, fmt.Sprintf("Patient?identifier=https://registry.meadowfold.example/person%%7CP-%d", n))
	require.Len(t, people, 1)
	var person struct{ ID string }
	require.NoError(t, json.Unmarshal(people[0], &person))
	return states(t, found(t, a, "Task?patient="+person.ID+"&_count=200"))
}

func states(t *testing.T, tasks []json.RawMessage) map[string]string {
	t.Helper()
	out := map[string]string{}
	for _, raw := range tasks {
		var k task
		require.NoError(t, json.Unmarshal(raw, &k))
		if len(k.BusinessStatus.Coding) > 0 {
			out[k.step()] = k.Status + " " + k.BusinessStatus.Coding[0].Code + " " + k.Restriction.Period.Start + " " + k.Restriction.Period.End
		}
	}
	require.Greater(t, len(out), 50)
	return out
}

var unbroken = map[string]map[string]string{}

// unbrokenStates is how a booking stands at an instant in a service that took it
// in, stopped before anything was due, and did all that came due in one go.
func unbrokenStates(t *testing.T, at time.Time, day int) map[string]string {
	t.Helper()
	key := fmt.Sprint(at, day)
	if unbroken[key] != nil {
		return unbroken[key]
	}
	s := &timed{t: t, dir: t.TempDir()}
	s.book(1, day)
	defer s.db.Close()
	s.finish(at, 0)
	cfg := settings(t)
	cfg.Data, cfg.Today = s.dir, at.Format(time.RFC3339)
	a := started(t, cfg)
	unbroken[key] = statesOf(t, a, day)
	return unbroken[key]
}

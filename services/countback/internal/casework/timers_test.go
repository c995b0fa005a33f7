package casework

import (
	"context"
	"database/sql"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/event"
	"example.org/countback/services/countback/internal/store"
)

// change runs SQL beside the office, as a fault in what is stored would.
func (h *house) change(query string, args ...any) {
	h.t.Helper()
	pool, err := sql.Open("sqlite3", "file:"+filepath.ToSlash(filepath.Join(h.path, store.File)))
	require.NoError(h.t, err)
	defer pool.Close()
	_, err = pool.Exec(query, args...)
	require.NoError(h.t, err)
}

// A case that cannot be planned keeps no other waiting, rests longer each time,
// and is planned when the fault is mended, with each event once.
func TestACaseThatFails(t *testing.T) {
	h := newHouse(t)
	sick, well := h.book("1", surgery), h.book("2", surgery)
	good := h.caseRow(sick.plan).Data
	h.change(`UPDATE care_case SET data = ? WHERE id = ?`, []byte("{"), sick.plan)
	mark := h.mark()
	tick := func(when time.Time) (int, error) {
		h.setTo(when)
		return h.office.Tick(context.Background(), when, 1) // one at a time: the sick one is first
	}
	now := at("2026-09-12 00:00")
	n, err := tick(now)
	require.Equal(t, 1, n)
	require.ErrorContains(t, err, sick.plan)
	n, err = tick(now)
	require.Equal(t, 1, n)
	require.NoError(t, err)
	require.Equal(t, []string{event.CaseBehind}, h.happenings(well.plan, "", mark))
	n, err = tick(now)
	require.Zero(t, n, "no hot loop")
	require.NoError(t, err)

	for _, rest := range []time.Duration{10, 20, 40, 80, 160, 320, 640, 1280, 2560, 3600, 3600} {
		n, err = tick(now.Add(rest*time.Second - time.Microsecond))
		require.Zero(t, n, rest)
		require.NoError(t, err)
		now = now.Add(rest * time.Second)
		n, err = tick(now)
		require.Equal(t, 1, n, rest)
		require.ErrorContains(t, err, sick.plan)
	}
	require.Empty(t, h.happenings(sick.plan, "", mark))
	counts, err := h.office.Counts(context.Background())
	require.NoError(t, err)
	require.EqualValues(t, 1, counts.Resting, "an operator sees it")

	h.restart("2026-09-12 05:00")
	require.Error(t, h.office.db.Write(context.Background(), func(tx *store.Tx) error {
		return h.office.replan(tx, sick.patient, cause{}) // still sick
	}))
	h.change(`UPDATE care_case SET data = ? WHERE id = ?`, good, sick.plan)
	require.Equal(t, 1, h.tick("2026-09-12 05:00"), "a start tries at once")
	require.Equal(t, []string{event.CaseBehind}, h.happenings(sick.plan, "", mark))
	require.Zero(t, h.tick("2026-09-12 05:00"))
	counts, err = h.office.Counts(context.Background())
	require.NoError(t, err)
	require.Zero(t, counts.Resting)
}

// A fault of ours in the rules is an error of that case alone.
func TestACaseThatPanics(t *testing.T) {
	h := newHouse(t)
	one, other := h.book("1", surgery), h.book("2", surgery)
	protocol := h.office.Protocol()
	h.office.known[protocol.Canonical()] = nil
	h.set("2026-09-12 00:00")
	n, err := h.office.Tick(context.Background(), h.clock(), 10)
	require.Equal(t, 2, n)
	require.ErrorContains(t, err, "panic")
	h.office.know(protocol.Canonical(), protocol)
	require.Positive(t, h.tick("2026-09-12 00:10"))
	require.Equal(t, "behind", h.caseRow(one.plan).State)
	require.Equal(t, "behind", h.caseRow(other.plan).State)
}

// Several copies of the service share the cases: all ticking at once, each case
// is told of once; and a copy that died is followed by any other.
func TestSeveralCopies(t *testing.T) {
	h := newHouse(t)
	var all []booked
	for n := range 6 {
		all = append(all, h.book(fmt.Sprint(n), surgery))
	}
	copies := make([]*Office, 4)
	for n := range copies {
		var err error
		copies[n], err = Open(context.Background(), Options{DB: h.db, Facility: chicago(), Token: token})
		require.NoError(t, err)
	}
	mark := h.mark()
	for _, when := range []string{"2026-09-12 00:00", "2026-12-12 00:00", "2027-01-10 00:00"} {
		h.set(when)
		for _, err := range together(len(copies), func(n int) error {
			_, err := copies[n].Tick(context.Background(), h.clock(), 100)
			return err
		}) {
			require.NoError(t, err)
		}
		require.Zero(t, h.tick(when), "all is done")
	}
	require.Equal(t, []string{event.CaseBehind, event.CaseHeld}, h.happenings(all[5].plan, "", mark))
	replicas(t, h)

	// One took the cases and died.
	h.set("2027-01-11 10:00")
	leases, _, err := copies[0].take(context.Background(), h.clock(), 100)
	require.NoError(t, err)
	require.Len(t, leases, len(all))
	h.set("2027-01-11 10:00:59")
	n, err := copies[1].Tick(context.Background(), h.clock(), 100)
	require.NoError(t, err)
	require.Zero(t, n, "they are held")
	h.set("2027-01-11 10:01")
	taken, _, err := copies[1].take(context.Background(), h.clock(), 100)
	require.NoError(t, err)
	require.Len(t, taken, len(all), "they are anyone's")
	before := h.everything()
	require.NoError(t, copies[0].fire(context.Background(), leases[0]), "it was only slow: it finds them taken")
	require.Equal(t, before, h.everything())
	for _, l := range taken {
		require.NoError(t, copies[1].fire(context.Background(), l))
	}
	before = h.everything()
	require.NoError(t, copies[0].fire(context.Background(), leases[0]), "or done")
	require.Equal(t, before, h.everything())
	require.Zero(t, h.tick("2027-01-11 10:01"))
	require.Equal(t, "held", h.caseRow(all[0].plan).State)
}

// told is every event of a case in words that do not depend on ids.
func (h *house) told(plan string) []string {
	h.t.Helper()
	out := []string{}
	for _, e := range h.after(0) {
		if e.CaseID() != plan {
			continue
		}
		if d, err := e.TasksData(); err == nil && len(d.Tasks) > 0 {
			for _, k := range d.Tasks {
				out = append(out, fmt.Sprintf("%s %s v%d %s", e.Name(), k.Step, k.Version, k.State))
			}
			continue
		}
		out = append(out, e.Name())
	}
	return out
}

// stands is how a case and its items stand, by step.
func (h *house) stands(plan string) map[string]string {
	h.t.Helper()
	out := map[string]string{"case": h.caseRow(plan).State}
	for _, i := range h.items(plan) {
		out[fmt.Sprint(i.Step, i.Round)] = fmt.Sprint(i.State, i.Status, i.window())
	}
	return out
}

// untimed leaves out when the release of a hold was asked for, and what asked for
// that of holds that are over: who slept while evidence was missing asked later.
func untimed(stands map[string]string) map[string]string {
	maps.DeleteFunc(stands, func(item, state string) bool {
		return strings.HasPrefix(item, "clear-hold") && strings.HasPrefix(state, string(readiness.Needless))
	})
	for item := range stands {
		if strings.HasPrefix(item, "clear-hold") {
			stands[item] = "asked for"
		}
	}
	return stands
}

// However the clock went, by jumps on and back, with restarts and messages in
// between: what was told is what is told when it only went on, each once, and
// all stands as if the service had slept and woken at the last moment.
func TestAnyWayOfTheClock(t *testing.T) {
	folder := t.TempDir()
	rapid.Check(t, func(rt *rapid.T) {
		house := func() (*house, booked) {
			path, err := os.MkdirTemp(folder, "")
			require.NoError(rt, err)
			h := openHouse(rt, path, nil)
			return h, h.book("1", surgery)
		}
		jagged, j := house()
		defer func() { jagged.close() }()
		steady, s := house()
		defer steady.close()
		woken, w := house()
		defer woken.close()

		high := jagged.clock() // the furthest that time had come when it had effect
		for n := range rapid.IntRange(4, 24).Draw(rt, "steps") {
			size := rapid.SampledFrom([]time.Duration{time.Minute, 7 * time.Hour, 24 * time.Hour, 7 * 24 * time.Hour, 30 * 24 * time.Hour}).Draw(rt, "size")
			size = size*time.Duration(rapid.IntRange(1, 3).Draw(rt, "times")) - time.Duration(rapid.IntRange(0, 1).Draw(rt, "less"))*time.Microsecond
			clock := jagged.clock()
			switch step := rapid.SampledFrom([]string{"on", "on", "on", "back", "restart", "message"}).Draw(rt, "step"); step {
			case "on":
				jagged.tickTo(clock.Add(size))
			case "back":
				mark := jagged.mark()
				jagged.tickTo(clock.Add(-size))
				require.Empty(rt, jagged.after(mark), "nothing happens when time goes back")
			case "restart":
				back := clock.Add(-min(size, 60*24*time.Hour))
				jagged.close()
				jagged.setTo(back)
				if err := jagged.tryOpen(nil); err != nil {
					require.ErrorIs(rt, err, store.ErrClockBack)
					jagged.setTo(clock) // somebody put it right
					for jagged.tryOpen(nil) != nil {
						jagged.setTo(jagged.clock().Add(24 * time.Hour))
					}
				}
				jagged.tickTo(jagged.clock())
			case "message":
				a := appointment("1", j.patient, surgery)
				jagged.put(by(a), a.with("comment", fmt.Sprint(n)))
			}
			if now := jagged.clock(); now.After(high) {
				high = now
				steady.tickTo(high)
			}
		}
		woken.tickTo(high)
		require.Equal(rt, steady.told(s.plan), jagged.told(j.plan))
		require.Equal(rt, steady.stands(s.plan), jagged.stands(j.plan))
		require.Equal(rt, untimed(woken.stands(w.plan)), untimed(jagged.stands(j.plan)))
		once := map[string]bool{}
		for _, what := range jagged.told(j.plan) {
			require.False(rt, once[what], "%s is told twice", what)
			once[what] = true
		}
	})
}

// A clock that was ahead by more than two days and is right again, with somebody
// who says so: every case stands as it would have without, told by one change,
// and time goes on from there.
func TestClockThatWasAhead(t *testing.T) {
	h, other := newHouse(t), newHouse(t)
	b, o := h.book("1", surgery), other.book("1", surgery)
	h.tick("2026-12-20 09:00")
	other.tick("2026-12-20 09:00")
	h.tick("2029-03-01 00:00") // by mistake
	require.Equal(t, "held", h.caseRow(b.plan).State)
	h.close()
	h.set("2026-12-20 10:00")
	require.ErrorIs(t, h.tryOpen(nil), store.ErrClockBack)
	h.corrected = true
	h.open(nil)
	mark := h.mark()
	require.Equal(t, 1, h.tick("2026-12-20 10:00"))
	stands := untimed(h.stands(b.plan))
	require.Equal(t, "not-neededcancelled{2027-01-11 2027-01-12  }", stands[confirmStep+"1"], "what was asked by mistake is not asked any more")
	delete(stands, confirmStep+"1")
	delete(stands, "clear-hold1") // its last hour had passed: it stays as it was
	require.Equal(t, untimed(other.stands(o.plan)), stands)
	require.Equal(t, []string{event.CaseReleased, event.CaseBehind}, h.happenings(b.plan, "", mark))
	require.Zero(t, h.tick("2026-12-20 10:00"))

	h.corrected = false
	h.restart("2026-12-20 11:00")
	h.tick("2027-01-10 00:00")
	other.tick("2027-01-10 00:00")
	stands = untimed(h.stands(b.plan))
	delete(stands, confirmStep+"1")
	require.Equal(t, untimed(other.stands(o.plan)), stands)
	replicas(t, h)
}

// Killed between two cases, and started with the clock an hour behind: time had
// come so far, and the other case follows; both stand at the same moment.
func TestTheRestOfATickIsDone(t *testing.T) {
	h := newHouse(t)
	one, two := h.book("1", surgery), h.book("2", surgery)
	h.set("2026-09-12 00:00")
	n, err := h.office.Tick(context.Background(), h.clock(), 1)
	require.NoError(t, err)
	require.Equal(t, 1, n)
	h.restart("2026-09-11 23:00")
	require.Equal(t, 1, h.tick("2026-09-11 23:00"))
	require.Equal(t, h.stands(one.plan), h.stands(two.plan))
	require.Equal(t, "behind", h.caseRow(two.plan).State)
	require.Zero(t, h.tick("2026-09-12 00:00"))
}

// ask reads one value past the store.
func (h *house) ask(query string) string {
	h.t.Helper()
	pool, err := sql.Open("sqlite3", "file:"+filepath.ToSlash(filepath.Join(h.path, store.File)))
	require.NoError(h.t, err)
	defer pool.Close()
	return texts(h.t, pool, query)[0]
}

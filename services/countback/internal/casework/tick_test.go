package casework

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/event"
)

// happenings are what the events told of one Task, or of the case (id ""), in
// their order.
func (h *house) happenings(plan, id string, since int) []string {
	h.t.Helper()
	out := []string{}
	for _, e := range h.after(since) {
		if e.CaseID() != plan {
			continue
		}
		if strings.HasPrefix(e.Name(), "case.") {
			if id == "" {
				out = append(out, e.Name())
			}
			continue
		}
		d, err := e.TasksData()
		require.NoError(h.t, err)
		for _, k := range d.Tasks {
			if k.ID == id {
				out = append(out, e.Name())
			}
		}
	}
	return out
}

// prepared does every must of the preparation that is asked for, but one.
func (h *house) prepared(plan, but string) {
	h.t.Helper()
	p := h.office.Protocol()
	for _, i := range h.items(plan) {
		s := p.Step(i.Step)
		if i.Step == but || s.Need != readiness.Must || i.Last == "" || i.Last >= surgery || s.Trigger != "" {
			continue
		}
		if i.Status == "requested" || i.Status == "draft" && len(i.Opens) > 0 && i.Opens[:10] <= h.clock().Format("2006-01-02") {
			_, err := h.tryWork(i.ID, done(""), named("Maud Fennimore"))
			require.NoError(h.t, err, i.Step)
		}
	}
}

// The moments at which a Task changes with nothing but time, by hand: a day
// begins and ends at midnight of the facility, the warning is three days, and
// what is counted in hours goes by the clock.
func TestEachBoundary(t *testing.T) {
	type turn struct{ when, state, status, event string }
	for _, row := range []struct {
		step  string
		turns []turn
	}{
		{"medical-evaluation", []turn{
			{"2026-12-12 00:00", "open", "requested", event.TasksOpened},
			{"2027-01-01 00:00", "due", "requested", event.TasksDue}, // due on 4 January
			{"2027-01-05 00:00", "late", "requested", event.TasksLate},
			{"2027-01-11 10:00", "missed", "failed", event.TasksMissed}, // T0
		}},
		{"first-call", []turn{ // due at once: the warning is as long as the window
			{"2026-09-12 00:00", "late", "requested", event.TasksLate},
			{"2027-01-11 00:00", "missed", "failed", event.TasksMissed},
		}},
		{"arrival-call", []turn{
			{"2027-01-08 12:00", "due", "requested", event.TasksDue},
			{"2027-01-08 17:00", "late", "requested", event.TasksLate},
			{"2027-01-11 00:00", "missed", "failed", event.TasksMissed},
		}},
		{"stop-clear-fluids", []turn{
			{"2027-01-10 10:00", "due", "requested", event.TasksDue},
			{"2027-01-11 08:00", "late", "requested", event.TasksLate},
			{"2027-01-11 10:00", "missed", "failed", event.TasksMissed},
		}},
		{"ride-present", []turn{
			{"2027-01-11 10:00", "due", "requested", event.TasksDue},
			{"2027-01-13 00:00", "missed", "failed", event.TasksMissed}, // home on the 12th
		}},
		{"discharge-call", []turn{
			{"2027-01-12 00:00", "due", "requested", event.TasksDue},
			{"2027-01-15 00:00", "late", "requested", event.TasksLate},
		}},
	} {
		t.Run(row.step, func(t *testing.T) {
			h := newHouse(t)
			b := h.book("1", surgery)
			if row.turns[0].when > "2027-01-08 09:00" && row.turns[0].when < "2027-01-11 10:00" {
				h.tick("2027-01-08 09:00")
				h.prepared(b.plan, row.step) // else evidence is missing, and the case held
			}
			i, mark := h.step(b.plan, row.step), h.mark()
			var told []string
			for _, turn := range row.turns {
				// A breath before, it still stands as it stood.
				h.tickTo(at(turn.when).Add(-time.Microsecond))
				require.Equal(t, i, h.step(b.plan, row.step), "before %s", turn.when)
				require.Positive(t, h.tick(turn.when), turn.when)
				now := h.step(b.plan, row.step)
				require.Equal(t, []string{turn.state, turn.status}, []string{now.State, now.Status}, turn.when)
				require.Equal(t, i.Version+1, now.Version)
				told = append(told, turn.event)
				require.Equal(t, told, h.happenings(b.plan, i.ID, mark), turn.when)
				i = now

				before := h.everything()
				require.Zero(t, h.tick(turn.when), "the second time there is nothing to do")
				require.Equal(t, before, h.everything())
			}
		})
	}
}

// The case itself: behind, in danger, and in danger for as long as nobody says
// anything; each said once.
func TestTheCaseInTime(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	told := []string{}
	for _, row := range []struct{ when, state, event string }{
		{"2026-09-11 23:59:59", "on-track", ""},
		{"2026-09-12 00:00", "behind", event.CaseBehind}, // the first call was due on the 11th
		{"2027-01-09 23:59:59", "behind", ""},            //
		{"2027-01-10 00:00", "held", event.CaseHeld},     // implants were to be confirmed by the 9th: evidence is missing
		{"2027-01-11 10:00", "held", ""},                 // T0: that it passes ends nothing
		{"2027-01-12 11:00", "held", ""},                 // nor does the hour of an expected discharge
		{"2028-03-12 00:00", "held", ""},                 // the last questionnaire is too late; others are still asked for
	} {
		h.tick(row.when)
		require.Equal(t, row.state, h.caseRow(b.plan).State, row.when)
		if row.event != "" {
			told = append(told, row.event)
		}
		require.Equal(t, told, h.happenings(b.plan, "", 2), row.when)
		require.Zero(t, h.tick(row.when))
	}
	require.True(t, h.caseRow(b.plan).NextAt.IsZero(), "nothing more changes with time alone")
}

// A case that nothing holds when its hour comes: in theatre, home; each said once.
func TestTheDayByTheClock(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.tick("2027-01-11 09:00")
	h.letGo(b.plan)
	told, mark := []string{}, h.mark()
	for _, row := range []struct{ when, state, event string }{
		{"2027-01-11 09:59:59", "infeasible", ""},
		{"2027-01-11 10:00", "arrived", event.CaseArrived}, // T0
		{"2027-01-12 10:59:59", "arrived", ""},             //
		{"2027-01-12 11:00", "home", event.CaseDischarged}, // expected, after one night
		{"2028-03-12 00:00", "home", ""},                   // the last questionnaire is too late; others are still asked for
	} {
		h.tick(row.when)
		require.Equal(t, row.state, h.caseRow(b.plan).State, row.when)
		if row.event != "" {
			told = append(told, row.event)
		}
		require.Equal(t, told, h.happenings(b.plan, "", mark), row.when)
		require.Zero(t, h.tick(row.when))
	}
	require.True(t, h.caseRow(b.plan).NextAt.IsZero(), "nothing more changes with time alone")
}

// letGo releases all that holds a case.
func (h *house) letGo(plan string) {
	h.t.Helper()
	for _, i := range h.items(plan) {
		if i.Step == "clear-hold" && i.Status == "requested" {
			_, err := h.tryWork(i.ID, release("Maud Fennimore", "The surgeon takes it on."))
			require.NoError(h.t, err)
		}
	}
}

// The time that is kept for a case is right: until then a fresh plan is the
// same, and then something changes. A message in other words makes a fresh plan.
func TestNothingChangesBetweenTheTurns(t *testing.T) {
	for what, visit := range map[string]bool{"by the clock alone": false, "with a visit that nobody ends": true} {
		t.Run(what, func(t *testing.T) {
			h := newHouse(t)
			b := h.book("1", surgery)
			a := appointment("1", b.patient, surgery)
			turns := 0
			for {
				next := h.caseRow(b.plan).NextAt
				if arrival := at(surgery + " 07:00"); visit && (next.IsZero() || next.After(arrival)) {
					h.setTo(arrival)
					h.store(stay("1", b.patient, b.appointment, "arrived", surgery+" 07:00", ""))
					visit, next = false, h.caseRow(b.plan).NextAt
				}
				if next.IsZero() {
					break
				}
				turns++
				require.True(t, next.After(h.clock()))
				mark := h.mark()
				h.setTo(next.Add(-time.Microsecond))
				h.put(by(a), a.with("comment", strings.Repeat("x", turns)))
				require.Empty(t, h.after(mark), next)
				plan := h.get("CarePlan/" + b.plan)
				require.Equal(t, 1, h.tickTo(next))
				if reads := string(h.get("CarePlan/" + b.plan).Raw); reads == string(plan.Raw) {
					require.NotEmpty(t, h.after(mark), next)
				}
			}
			require.Greater(t, turns, 30)
		})
	}
}

// A clock that is set back changes nothing: not by itself, and not when a
// message makes a fresh plan.
func TestClockSetBack(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.tick("2026-12-13 09:00")
	before, items := h.everything(), h.items(b.plan)
	for _, when := range []string{"2026-12-13 08:00", "2026-09-08 10:22", "2020-01-01 00:00"} {
		require.Zero(t, h.tick(when))
		require.Equal(t, before, h.everything())
		mark := h.mark()
		a := appointment("1", b.patient, surgery)
		h.put(by(a), a.with("comment", when))
		require.Empty(t, h.after(mark))
		require.Equal(t, items, h.items(b.plan))
		before = h.everything()
	}
}

// Not more at once than asked for; the earliest first.
func TestTickInPortions(t *testing.T) {
	h := newHouse(t)
	for _, n := range []string{"1", "2", "3"} {
		h.book(n, surgery)
	}
	h.set("2026-09-12 00:00")
	for _, want := range []int{2, 1, 0} {
		n, err := h.office.Tick(context.Background(), h.clock(), 2)
		require.NoError(t, err)
		require.Equal(t, want, n)
	}
}

func TestProvenanceOfTime(t *testing.T) {
	h := newHouse(t)
	h.book("1", surgery)
	h.tick("2026-09-12 00:00")
	all := h.found("Provenance")
	require.Len(t, all, 2)
	for _, s := range all {
		p := parse(t, s.Body)
		if p.String("activity", "coding", "code") == "UPDATE" {
			require.Equal(t, "time passed", p.String("reason", "text"))
			require.False(t, p.Get("entity").Exists())
			require.Equal(t, localTime("2026-09-12 00:00"), strings.Replace(p.String("recorded"), ".000", "", 1))
		}
	}
}

package casework

import (
	"context"
	"fmt"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/event"
	"example.org/countback/services/countback/internal/store"
)

// plannedAnew asks that planning every person again changes nothing: each case
// stands as the protocol in force would have it.
func (h *house) plannedAnew() {
	h.t.Helper()
	before := h.everything()
	for _, s := range h.found("Patient") {
		require.NoError(h.t, h.db.Write(context.Background(), func(tx *store.Tx) error {
			return h.office.replan(tx, name(s), cause{})
		}))
	}
	require.Equal(h.t, before, h.everything())
}

// toldOnce asks that the events of every case count 1, 2, 3 …, and that no Task
// version is told of twice.
func (h *house) toldOnce() {
	h.t.Helper()
	last := map[string]int64{}
	versions := map[string]bool{}
	for _, e := range h.after(0) {
		require.Equal(h.t, last[e.Subject]+1, e.CaseSequence)
		last[e.Subject] = e.CaseSequence
		if d, err := e.TasksData(); err == nil {
			for _, k := range d.Tasks {
				name := fmt.Sprint(k.ID, " ", k.Version)
				require.False(h.t, versions[name], "%s in two events", name)
				versions[name] = true
			}
		}
	}
}

// A crash in the middle loses nothing: the next start goes on with the cases
// that are left, and each is told once.
func TestCatchUpAfterACrash(t *testing.T) {
	h := newHouse(t)
	var all []booked
	for n := range 7 {
		all = append(all, h.book(fmt.Sprint(n), surgery))
	}
	h.adopt(signedText(t, "1.1.0", earlierCleanser(t)...))
	mark := h.mark()
	for _, b := range all[2:5] {
		planned, err := h.office.catchUpOne(context.Background(), b.plan)
		require.NoError(t, err)
		require.True(t, planned)
		planned, err = h.office.catchUpOne(context.Background(), b.plan)
		require.NoError(t, err)
		require.False(t, planned, "once")
	}
	h.restart("2026-09-08 11:00")
	counts, err := h.office.Counts(context.Background())
	require.NoError(t, err)
	require.Equal(t, []int64{7, 4}, []int64{counts.Open, counts.Older})
	require.Equal(t, 4, h.catchUp())
	for _, b := range all {
		require.Equal(t, "1.1.0", h.ruledBy(b.plan))
		require.Equal(t, []string{event.TasksChanged}, names(h.ofCase(b.plan, mark)))
	}
	h.toldOnce()
	h.plannedAnew()
}

// A second version that comes before all cases follow the first.
func TestCatchUpWithTwoVersions(t *testing.T) {
	h := newHouse(t)
	one, two, three := h.book("1", surgery), h.book("2", surgery), h.book("3", surgery)
	h.adopt(signedText(t, "1.1.0", callTitle, newTitle))
	planned, err := h.office.catchUpOne(context.Background(), two.plan)
	require.NoError(t, err)
	require.True(t, planned)
	h.adopt(signedText(t, "1.2.0", append(earlierCleanser(t), callTitle, newTitle)...))
	require.Equal(t, 3, h.catchUp())
	for _, b := range []booked{one, two, three} {
		require.Equal(t, "1.2.0", h.ruledBy(b.plan))
		require.Equal(t, "2027-01-07", h.step(b.plan, "skin-cleanser").Due)
		require.Equal(t, "The very first call", h.get("Task/"+h.step(b.plan, "first-call").ID).String("code", "coding", "display"))
		require.EqualValues(t, 2, h.step(b.plan, "first-call").Version, "the second version left it alone")
	}
	require.Equal(t, "1.1.0", protocolVersion(h, two.plan, 2))
	require.Equal(t, "1.2.0", protocolVersion(h, two.plan, 3))
	h.toldOnce()
	h.plannedAnew()
}

// protocolVersion is the one that a version of a CarePlan names.
func protocolVersion(h *house, plan string, v int64) string {
	_, out := cutCanonical(parse(h.t, h.version("CarePlan/"+plan, v).Body).String("instantiatesCanonical"))
	return out
}

// Bookings that come while a protocol is adopted and open cases are caught up
// with: every plan is made by one protocol, and in the end by the last.
func TestAdoptWhileBooking(t *testing.T) {
	h := newHouse(t)
	const before, during = 20, 24
	for n := range before {
		h.book(fmt.Sprint(n), surgery)
	}
	versions := [][]byte{
		signedText(t, "1.1.0", earlierCleanser(t)...),
		signedText(t, "1.2.0", `"id": "skin-cleanser"`, `"id": "skin-soap"`),
	}
	var turn atomic.Int64
	for _, err := range together(6, func(worker int) error {
		switch worker {
		case 0, 1:
			_, err := h.office.Adopt(context.Background(), newProtocol(t, versions[worker]))
			return err
		case 2:
			for range 3 {
				if out, err := h.office.CatchUp(context.Background()); err != nil || out.Sick != nil {
					return fmt.Errorf("%w, %w", err, out.Sick)
				}
			}
			return nil
		}
		for n := turn.Add(1); n <= during; n = turn.Add(1) {
			if _, err := h.receive(delivery(t, "", bookingMessage(fmt.Sprint(before+n), surgery))); err != nil {
				return err
			}
		}
		return nil
	}) {
		require.NoError(t, err)
	}
	h.catchUp()
	last := h.office.Protocol()
	plans := h.found("CarePlan")
	require.Len(t, plans, before+during)
	for _, s := range plans {
		require.Equal(t, last.Version, h.ruledBy(s.ID))
		for v := int64(1); v <= s.Version; v++ {
			body := parse(t, h.version(name(s), v).Body)
			_, version := cutCanonical(body.String("instantiatesCanonical"))
			steps := map[string]bool{}
			for _, a := range body.Get("activity").Items() {
				id := a.String("reference", "reference")
				steps[h.get(id).String("code", "coding", "code")] = true
			}
			require.Equal(t, version == "1.2.0", steps["skin-soap"], "a plan of %s has the steps of that version", version)
			require.Equal(t, version != "1.2.0", steps["skin-cleanser"])
		}
	}
	h.toldOnce()
	h.plannedAnew()
}

// A case that cannot be planned keeps no other waiting and shows; the timers
// try it again, and it follows when it is mended.
func TestCatchUpWithASickCase(t *testing.T) {
	h := newHouse(t)
	sick, well := h.book("1", surgery), h.book("2", surgery)
	good := h.caseRow(sick.plan).Data
	h.change(`UPDATE care_case SET data = ? WHERE id = ?`, []byte("{"), sick.plan)
	h.adopt(signedText(t, "1.1.0", earlierCleanser(t)...))
	out, err := h.office.CatchUp(context.Background())
	require.NoError(t, err)
	require.Equal(t, 1, out.Planned)
	require.ErrorContains(t, out.Sick, sick.plan)
	require.Equal(t, "1.1.0", h.ruledBy(well.plan))
	counts, err := h.office.Counts(context.Background())
	require.NoError(t, err)
	require.Equal(t, []int64{2, 1}, []int64{counts.Open, counts.Older})

	n, err := h.office.Tick(context.Background(), h.clock(), 10)
	require.Equal(t, 1, n)
	require.ErrorContains(t, err, sick.plan)
	h.change(`UPDATE care_case SET data = ? WHERE id = ?`, good, sick.plan)
	require.Equal(t, 1, h.tick("2026-09-08 10:23"), "after its rest")
	require.Equal(t, "1.1.0", h.ruledBy(sick.plan))
	h.toldOnce()
}

// A case in which the rules run into a fault of ours ends nothing else.
func TestCatchUpWithAPanic(t *testing.T) {
	h := newHouse(t)
	h.book("1", surgery)
	h.adopt(signedText(t, "1.1.0", earlierCleanser(t)...))
	p := h.office.Protocol()
	h.office.mu.Lock()
	h.office.known[p.Canonical()] = nil
	h.office.mu.Unlock()
	out, err := h.office.CatchUp(context.Background())
	require.NoError(t, err)
	require.ErrorContains(t, out.Sick, "panic")
	h.office.know(p.Canonical(), p)
	require.Equal(t, 1, h.catchUp())
}

// What is over keeps the rules of its time, whatever comes later; booked again,
// it follows the rules of now.
func TestWhatIsOverKeepsItsRules(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	a := appointment("1", b.patient, surgery)
	h.put(by(a), a.with("status", "cancelled"))
	h.adopt(signedText(t, "1.1.0", append(earlierCleanser(t), `"expression": "!fracture"`, `"expression": "fracture"`)...))
	require.Zero(t, h.catchUp())
	stood, plan := h.items(b.plan), h.get("CarePlan/"+b.plan).Raw
	h.put(by(a), a.with("status", "cancelled").with("comment", "sent once more"))
	h.store(order("1", b.patient))
	h.tick("2027-02-01 08:00")
	require.Equal(t, firstVersion, h.ruledBy(b.plan))
	require.Equal(t, stood, h.items(b.plan))
	require.Equal(t, string(plan), string(h.get("CarePlan/"+b.plan).Raw))

	h.adopt(signedText(t, "1.2.0", earlierCleanser(t)...))
	again := appointment("1", b.patient, "2027-03-15")
	h.put(by(a), again)
	require.Equal(t, "1.2.0", h.ruledBy(b.plan))
	require.True(t, h.caseRow(b.plan).Open)
	h.plannedAnew()
}

// A step that a new version no longer has is asked for no longer, and its Task
// still says what it was; what was done of it stays as it is.
func TestCatchUpDropsAStep(t *testing.T) {
	h := newHouse(t)
	one, other := h.book("1", surgery), h.book("2", surgery)
	finished := h.work(one.plan, "skin-cleanser", done(""))
	title := h.get("Task/"+finished.ID).String("code", "coding", "display")
	h.adopt(signedText(t, "1.1.0", `"id": "skin-cleanser"`, `"id": "skin-soap"`))
	mark := h.mark()
	require.Equal(t, 2, h.catchUp())
	require.Equal(t, finished, h.step(one.plan, "skin-cleanser"))
	gone := h.step(other.plan, "skin-cleanser")
	require.Equal(t, []string{"not-needed", "cancelled"}, []string{gone.State, gone.Status})
	task := h.get("Task/" + gone.ID)
	require.Equal(t, title, task.String("code", "coding", "display"))
	require.Equal(t, "The plan no longer has this step.", task.String("statusReason", "text"))
	require.Equal(t, []string{event.TasksCancelled}, h.happenings(other.plan, gone.ID, mark))
	require.Equal(t, []string{event.TasksOpened}, h.happenings(other.plan, h.step(other.plan, "skin-soap").ID, mark))
	h.plannedAnew()
}

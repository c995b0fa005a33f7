package casework

import (
	"context"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/event"
)

// move sends the booking again with another day, as theatre systems do.
func (h *house) move(n, patient, day string) Result {
	h.t.Helper()
	a := appointment(n, patient, day)
	return h.put(by(a), a)
}

// window is what says when an item may be done.
type window struct{ Opens, Due, Last, Marks string }

func (i item) window() window { return window{i.Opens, i.Due, i.Last, i.Marks} }

// windows are those of the last round of each step.
func (h *house) windows(plan string) map[string]window {
	h.t.Helper()
	out := map[string]window{}
	for _, i := range h.items(plan) {
		out[i.Step] = i.window()
	}
	return out
}

func byID(items []item) map[string]item {
	out := map[string]item{}
	for _, i := range items {
		out[i.ID] = i
	}
	return out
}

// The start moves, and every window follows it: to where a fresh booking for
// that day would have it.
func TestWindowsFollowTheStart(t *testing.T) {
	for what, day := range map[string]string{"later": "2027-01-25", "earlier": "2026-12-01", "much earlier": "2026-09-15"} {
		t.Run(what, func(t *testing.T) {
			h := newHouse(t)
			b := h.book("1", surgery)
			before, mark := byID(h.items(b.plan)), h.mark()
			h.move("1", b.patient, day)
			fresh := h.book("2", day)
			require.Equal(t, h.windows(fresh.plan), h.windows(b.plan))

			events := h.after(mark)
			events = slices.DeleteFunc(events, func(e event.Event) bool { return e.CaseID() != b.plan })
			redated := h.caseData(events, event.CaseRedated)
			require.Equal(t, day, redated.SurgeryDate)
			require.Equal(t, surgery, redated.PreviousSurgeryDate)
			require.EqualValues(t, 2, redated.Version)
			require.Equal(t, b.plan, h.onlyCase(b.patient).ID)

			// Each Task that changed has one new version and stands in one event
			// with what it now says; the others have neither.
			told := map[string]event.TaskData{}
			for _, e := range events {
				if e.Name() == event.CaseRedated || e.Name() == event.CaseInfeasible {
					continue
				}
				d, err := e.TasksData()
				require.NoError(t, err)
				for _, k := range d.Tasks {
					require.NotContains(t, told, k.ID)
					told[k.ID] = k
				}
			}
			for _, now := range h.items(b.plan) {
				was := before[now.ID]
				if was.window() == now.window() && was.State == now.State {
					require.Equal(t, was, now)
					require.NotContains(t, told, now.ID)
					continue
				}
				require.Equal(t, was.Version+1, now.Version, now.Step)
				require.Equal(t, event.TaskData{ID: now.ID, Version: now.Version, Step: now.Step, State: now.State, Opens: now.Opens, Due: now.Due, Last: now.Last}, told[now.ID])
				delete(told, now.ID)
			}
			require.Empty(t, told)
		})
	}
}

// Dates by hand, on a calendar, for a move from Monday 11 to Monday 25 January
// 2027. Monday 18 January is a federal holiday (5 U.S.C. 6103), so that what
// staff would do on it moves to Friday the 15th.
func TestWindowsOfAMoveByHand(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	for _, row := range []struct{ step, opens, due, last string }{
		{"medical-evaluation", "2026-12-12", "2027-01-04", "2027-01-11T10:00:00-06:00"},
		{"joint-class", "2026-11-30", "2026-12-28", "2027-01-10"},
		{"arrival-call", "2027-01-08T12:00:00-06:00", "2027-01-08T17:00:00-06:00", "2027-01-10"},
		{"stop-clear-fluids", "2027-01-10T10:00:00-06:00", "2027-01-11T08:00:00-06:00", "2027-01-11T10:00:00-06:00"},
		{"first-call", "2026-09-08", "2026-09-11", "2027-01-10"},
	} {
		require.Equal(t, window{row.opens, row.due, row.last, ""}, h.step(b.plan, row.step).window(), row.step)
	}
	h.move("1", b.patient, "2027-01-25")
	for _, row := range []struct{ step, opens, due, last string }{
		{"medical-evaluation", "2026-12-26", "2027-01-15", "2027-01-25T10:00:00-06:00"},
		{"joint-class", "2026-12-14", "2027-01-11", "2027-01-24"},
		{"arrival-call", "2027-01-22T12:00:00-06:00", "2027-01-22T17:00:00-06:00", "2027-01-24"},
		{"stop-clear-fluids", "2027-01-24T10:00:00-06:00", "2027-01-25T08:00:00-06:00", "2027-01-25T10:00:00-06:00"},
		{"first-call", "2026-09-08", "2026-09-11", "2027-01-24"},
	} {
		require.Equal(t, window{row.opens, row.due, row.last, ""}, h.step(b.plan, row.step).window(), row.step)
	}
}

// worked books somebody and does some of the work.
func (h *house) worked() booked {
	h.t.Helper()
	b := h.book("1", surgery)
	h.set("2026-09-10 09:00")
	for _, step := range []string{"first-call", "infection-check-1", "dental-check-1", "home-safety", "ride-home"} {
		require.Equal(h.t, "done", h.work(b.plan, step, done("2026-09-10")).State)
	}
	return b
}

// Of what is asked for again it is known since when: its due day may lie before that.
func TestSinceWhenItIsAskedAgain(t *testing.T) {
	h := newHouse(t)
	b := h.worked()
	h.set("2026-10-20 08:00")
	h.move("1", b.patient, "2027-01-25")
	v, err := h.office.View(context.Background(), b.plan)
	require.NoError(t, err)
	var again []string
	for _, i := range v.Items {
		if i.Key.Round == 1 {
			require.Zero(t, i.Again, i.Key)
			continue
		}
		again = append(again, i.Key.Step)
		require.True(t, i.Again.Equal(at("2026-10-20 08:00")), i.Key)
	}
	require.Contains(t, again, "infection-check-1")
}

// What is done and still counts stays done; what counted for one date only is
// asked for again, as a new Task that replaces the old one.
func TestDoneWorkWhenTheDateMoves(t *testing.T) {
	h := newHouse(t)
	b := h.worked()
	before, mark := byID(h.items(b.plan)), h.mark()
	h.set("2026-09-11 08:00")
	h.move("1", b.patient, "2027-01-25")
	events := h.after(mark)

	for _, step := range []string{"first-call", "home-safety"} {
		rounds := h.rounds(b.plan, step)
		require.Len(t, rounds, 1, step)
		require.Equal(t, []string{"done", "completed"}, []string{rounds[0].State, rounds[0].Status}, step)
		was := before[rounds[0].ID]
		if was.window() == rounds[0].window() {
			require.Equal(t, was, rounds[0], step)
		} else { // its window is counted from the day of surgery, and follows
			require.Equal(t, was.Version+1, rounds[0].Version, step)
			require.Contains(t, h.steps(events, event.TasksChanged), step)
		}
	}

	again := []string{"dental-check-1", "infection-check-1", "ride-home"}
	for _, step := range again {
		rounds := h.rounds(b.plan, step)
		require.Len(t, rounds, 2, step)
		old, fresh := rounds[0], rounds[1]
		require.Equal(t, []string{"expired", "completed"}, []string{old.State, old.Status}, step)
		require.Equal(t, old.ID, fresh.Replaces, step)
		require.EqualValues(t, 1, fresh.Version)
		require.Equal(t, "requested", fresh.Status, step)
		task := h.get("Task/" + fresh.ID)
		replaces := ""
		for _, e := range task.Get("extension").Items() {
			if e.String("url") == "http://hl7.org/fhir/StructureDefinition/task-replaces" {
				replaces = e.String("valueReference", "reference")
			}
		}
		require.Equal(t, "Task/"+old.ID, replaces, step)
		require.Equal(t, "2026-09-10", h.get("Task/"+old.ID).String("executionPeriod", "end"), "the evidence stays where it was")
	}
	require.Equal(t, again, h.steps(events, event.TasksExpired))
	require.Equal(t, again, h.steps(events, event.TasksReopened))

	// Back to the first day: the first evidence counts again, and what was
	// asked for anew is asked for no longer.
	mark = h.mark()
	h.move("1", b.patient, surgery)
	events = h.after(mark)
	for _, step := range again {
		rounds := h.rounds(b.plan, step)
		require.Equal(t, []string{"done", "completed"}, []string{rounds[0].State, rounds[0].Status}, step)
		require.Equal(t, []string{"not-needed", "cancelled"}, []string{rounds[1].State, rounds[1].Status}, step)
	}
	require.Equal(t, again, h.steps(events, event.TasksDone))
	require.Equal(t, again, h.steps(events, event.TasksCancelled))
	require.Equal(t, "2027-01-25", h.caseData(events, event.CaseRedated).PreviousSurgeryDate)

	// And away again: the second round is taken up, not a third one.
	h.move("1", b.patient, "2027-01-25")
	for _, step := range again {
		rounds := h.rounds(b.plan, step)
		require.Len(t, rounds, 2, step)
		require.Equal(t, "requested", rounds[1].Status, step)
	}
}

// What failed, failed for the date that was booked: for another it is asked for
// again, and for the first one it has still failed.
func TestFailedWorkWhenTheDateMoves(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.work(b.plan, "first-call", status("failed"), because("", "abroad until then"))
	require.Equal(t, "held", h.caseRow(b.plan).State, "evidence is missing")
	mark := h.mark()
	h.move("1", b.patient, "2027-01-25")
	rounds := h.rounds(b.plan, "first-call")
	require.Len(t, rounds, 2)
	require.Equal(t, []string{"failed", "requested", rounds[0].ID}, []string{rounds[0].Status, rounds[1].Status, rounds[1].Replaces})
	require.Equal(t, "on-track", h.caseRow(b.plan).State)
	require.Equal(t, []string{event.CaseRedated, event.CaseReleased}, names(h.after(mark))[:2])
	require.Equal(t, []string{"first-call"}, h.steps(h.after(mark), event.TasksReopened))
	h.move("1", b.patient, surgery)
	require.Equal(t, "held", h.caseRow(b.plan).State)
}

// The hour moves on the same day: what is counted in hours follows, the rest
// does not, and the case has not another date.
func TestOnlyTheHourMoves(t *testing.T) {
	h := newHouse(t)
	b := h.worked()
	before, mark := byID(h.items(b.plan)), h.mark()
	a := appointment("1", b.patient, surgery).with("start", localTime(surgery+" 07:30")).with("end", localTime(surgery+" 10:00"))
	h.put(by(a), a)
	events := h.after(mark)
	require.Equal(t, []string{event.TasksChanged}, names(events))

	var changed []string
	for _, now := range h.items(b.plan) {
		was := before[now.ID]
		if was == now {
			continue
		}
		changed = append(changed, now.Step)
		clock := len(now.Opens) > len("2027-01-11") || len(now.Due) > len("2027-01-11") || len(now.Last) > len("2027-01-11")
		require.True(t, clock, "%s has no hour", now.Step)
		require.NotEqual(t, was.window(), now.window(), now.Step)
	}
	slices.Sort(changed)
	require.Equal(t, changed, h.steps(events, event.TasksChanged))
	require.Subset(t, changed, []string{"stop-solids", "stop-light-meal", "stop-clear-fluids", "medical-evaluation", "first-walk", "surgical-consent"})
	require.NotContains(t, changed, "ride-home")
	require.Equal(t, "2027-01-11T05:30:00-06:00", h.step(b.plan, "stop-clear-fluids").Due) // two hours before 07:30
	require.Len(t, h.rounds(b.plan, "ride-home"), 1, "arranged for that day, and it is that day")
}

// A date that a must cannot meet says so.
func TestMovedTooNear(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.set("2026-09-30 09:00")
	mark := h.mark()
	h.move("1", b.patient, "2026-10-01")
	events := h.after(mark)
	require.Contains(t, names(events), event.CaseRedated)
	require.Equal(t, "infeasible", h.caseData(events, event.CaseInfeasible).State)
	// Some steps may apply: the plan names the day before which it cannot be, and
	// the event, which has no room for conditions, none.
	require.Empty(t, h.caseData(events, event.CaseInfeasible).EarliestSafeDate)
	require.Contains(t, string(h.get("CarePlan/"+b.plan).Raw), `"url":"not-before"`)
	require.Contains(t, string(h.get("CarePlan/"+b.plan).Raw), `"url":"if-known"`)
	require.Equal(t, "infeasible", h.caseRow(b.plan).State)
	require.Contains(t, h.get("CarePlan/"+b.plan).String("text", "div"), "can no longer be done in time")
	mark = h.mark()
	h.move("1", b.patient, surgery)
	require.Contains(t, names(h.after(mark)), event.CaseFeasible)
}

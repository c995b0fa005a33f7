package casework

import (
	"context"
	"errors"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/event"
	"example.org/countback/services/countback/internal/store"
)

// What people write, what then stands, and who is told of it.
func TestWork(t *testing.T) {
	for _, row := range []struct {
		name, step    string
		edits         []edit
		state, status string
		events        []string // names, in order
	}{
		{"done early, from a draft", "home-safety", []edit{done("")}, "done", "completed", []string{event.TasksDone}},
		{"done, with its day", "first-call", []edit{done("2026-09-08")}, "done", "completed", []string{event.TasksDone}},
		{"left out with a reason", "name-coach", []edit{status("cancelled"), because("waived", "lives in a care home")}, "waived", "cancelled", []string{event.TasksWaived}},
		{"not needed, which was in doubt", "interpreter-booked", []edit{status("cancelled"), because("not-needed", "")}, "not-needed", "cancelled", []string{event.TasksCancelled}},
		{"needed, which was in doubt", "interpreter-booked", []edit{status("requested")}, "open", "requested", []string{event.TasksChanged}},
		{"tried in vain", "name-coach", []edit{status("failed"), because("", "nobody is left")}, "missed", "failed", []string{event.TasksMissed}},
		{"taken on", "first-call", []edit{status("accepted")}, "due", "accepted", []string{event.TasksChanged}},
		{"begun", "first-call", []edit{status("in-progress")}, "due", "in-progress", []string{event.TasksChanged}},
		{"seen", "first-call", []edit{status("received")}, "due", "received", []string{event.TasksChanged}},
		{"a note", "first-call", []edit{set("note", []res{{"text": "QuillfeatherNote"}})}, "due", "requested", []string{event.TasksChanged}},
		{"an owner", "first-call", []edit{set("owner", ref("Practitioner/p-1"))}, "due", "requested", []string{event.TasksChanged}},
		{"a note on a draft", "medical-evaluation", []edit{set("note", []res{{"text": "fax only"}})}, "upcoming", "draft", []string{event.TasksChanged}},
		{"nothing", "first-call", nil, "due", "requested", []string{}},
		{"only what is ours", "first-call", []edit{set("businessStatus", coded("http://countback.example/fhir/CodeSystem/item-state", "done")), set("meta", nil), set("lastModified", nil)},
			"due", "requested", []string{}},
	} {
		t.Run(row.name, func(t *testing.T) {
			h := newHouse(t)
			b := h.book("1", surgery)
			before, mark := byID(h.items(b.plan)), h.mark()
			sent := h.taskWork(h.step(b.plan, row.step).ID, row.edits...)
			got, err := h.office.Work(context.Background(), sent)
			require.NoError(t, err)

			now := h.step(b.plan, row.step)
			require.Equal(t, []string{row.state, row.status}, []string{now.State, now.Status})
			require.Equal(t, string(h.get("Task/"+now.ID).Raw), string(got.Stored.Body), "what is answered is what stands")
			events := h.after(mark)
			require.Equal(t, row.events, names(events))
			changed := len(row.events) > 0
			require.Equal(t, changed, got.Changed)
			require.Equal(t, changed, now.Version == before[now.ID].Version+1)
			for _, i := range h.items(b.plan) {
				require.True(t, i.ID == now.ID || i == before[i.ID], "%s changed too", i.Step)
			}
			if changed {
				told, err := events[len(events)-1].TasksData()
				require.NoError(t, err)
				require.Equal(t, []event.TaskData{{ID: now.ID, Version: now.Version, Step: now.Step, State: now.State, Opens: now.Opens, Due: now.Due, Last: now.Last}}, told.Tasks)
			}
			h.read(func(tx *store.Tx) error { // after the booking's own bundle
				kept, err := tx.Archived(2)
				require.Equal(t, []string{"PUT", "Task/" + now.ID, string(sent.Body)}, []string{kept.Method, kept.Target, string(kept.Body)})
				return err
			})
		})
	}
}

// Without a day of its own, what is done was done today: in the facility's
// zone, not in UTC, where it is tomorrow already.
func TestDoneToday(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.set("2026-09-09 23:30")
	i := h.work(b.plan, "first-call", done(""))
	require.Equal(t, "2026-09-09", h.get("Task/"+i.ID).String("executionPeriod", "end"))
}

// Work that is done so early that it will be too old on the day of surgery is
// kept, and asked for again at once.
func TestDoneTooEarlyToCount(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	mark := h.mark()
	h.work(b.plan, "medical-evaluation", done("2026-09-08"))
	rounds := h.rounds(b.plan, "medical-evaluation")
	require.Len(t, rounds, 2)
	require.Equal(t, []string{"expired", "completed"}, []string{rounds[0].State, rounds[0].Status})
	require.Equal(t, []string{"upcoming", "draft", rounds[0].ID}, []string{rounds[1].State, rounds[1].Status, rounds[1].Replaces})
	require.Equal(t, []string{event.TasksExpired, event.TasksReopened}, names(h.after(mark)))
}

// What follows a step opens when it is done.
func TestWhatFollowsOpens(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	require.Equal(t, "draft", h.step(b.plan, "risk-review").Status)
	mark := h.mark()
	h.set("2026-10-20 10:00")
	h.work(b.plan, "screening-bloods", done("2026-10-19"))
	i := h.step(b.plan, "risk-review")
	require.Equal(t, []string{"open", "requested", "2026-10-19"}, []string{i.State, i.Status, i.Opens})
	require.Contains(t, h.steps(h.after(mark), event.TasksDone), "screening-bloods")
	require.Contains(t, h.steps(h.after(mark), event.TasksChanged), "risk-review")
}

// What a person set on a Task stays through every change of plan.
func TestWorkSurvivesReplanning(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.work(b.plan, "first-call", status("accepted"), set("owner", ref("Practitioner/p-1")))
	h.work(b.plan, "ride-home", status("in-progress"), set("note", []res{{"text": "a niece drives"}}))
	h.work(b.plan, "name-coach", status("cancelled"), because("waived", "a nurse herself"))
	check := func(step, state, status string) {
		t.Helper()
		i := h.step(b.plan, step)
		require.Equal(t, []string{state, status}, []string{i.State, i.Status}, step)
	}
	h.move("1", b.patient, "2027-01-25")
	check("first-call", "due", "accepted")
	check("ride-home", "open", "in-progress")
	check("name-coach", "waived", "cancelled")
	h.tick("2026-09-14 09:00")
	check("first-call", "late", "accepted")
	require.Equal(t, "Practitioner/p-1", h.get("Task/"+h.step(b.plan, "first-call").ID).String("owner", "reference"))

	a := appointment("1", b.patient, "2027-01-25")
	h.put(by(a), a.with("status", "cancelled"))
	check("ride-home", "not-needed", "cancelled")
	h.move("1", b.patient, "2027-01-25")
	check("ride-home", "open", "in-progress")
	require.Equal(t, "a niece drives", h.get("Task/"+h.step(b.plan, "ride-home").ID).String("note", "text"))
}

// What is written is taken back, with a reason; the event follows.
func TestCorrections(t *testing.T) {
	for _, row := range []struct {
		name, step  string
		first, then []edit
		state       string
		event       string
	}{
		{"done by mistake", "first-call", []edit{done("")}, []edit{status("requested"), because("", "another person of that name")}, "due", event.TasksReopened},
		{"left out by mistake", "name-coach", []edit{status("cancelled"), because("waived", "no")}, []edit{status("requested"), because("", "a friend was found")}, "open", event.TasksReopened},
		{"failed, and then it worked", "name-coach", []edit{status("failed"), because("", "nobody")}, []edit{done(""), because("", "her sister")}, "done", event.TasksDone},
		{"done on another day", "first-call", []edit{done("2026-09-08")}, []edit{set("executionPeriod", res{"end": "2026-09-07"})}, "done", event.TasksChanged},
		{"needed after all", "interpreter-booked", []edit{status("cancelled"), because("not-needed", "")}, []edit{status("requested"), because("", "she asked for one")}, "upcoming", event.TasksReopened},
	} {
		t.Run(row.name, func(t *testing.T) {
			h := newHouse(t)
			b := h.book("1", surgery)
			h.work(b.plan, row.step, row.first...)
			mark := h.mark()
			i := h.work(b.plan, row.step, row.then...)
			require.Equal(t, row.state, i.State)
			require.EqualValues(t, 3, i.Version)
			require.Equal(t, []string{row.event}, names(h.after(mark)))
			require.Len(t, h.rounds(b.plan, row.step), 1)
		})
	}
}

// What is refused, in which words, and that it leaves nothing behind.
func TestWorkRefused(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.work(b.plan, "dental-check-1", done(""))
	for _, row := range []struct {
		name, step       string
		edits            []edit
		code, expression string
	}{
		{"a must left out", "first-call", []edit{status("cancelled"), because("waived", "no time")}, "business-rule", "Task.status"},
		{"a must before leaving left out", "ride-home", []edit{status("cancelled"), because("waived", "walks")}, "business-rule", "Task.status"},
		{"left out without a text", "name-coach", []edit{status("cancelled"), because("waived", "")}, "required", "Task.statusReason.text"},
		{"left out without a code", "name-coach", []edit{status("cancelled"), because("", "no")}, "required", "Task.statusReason"},
		{"not needed, though it applies", "name-coach", []edit{status("cancelled"), because("not-needed", "no")}, "business-rule", "Task.statusReason"},
		{"failed without a reason", "name-coach", []edit{status("failed")}, "required", "Task.statusReason"},
		{"taken back without a reason", "dental-check-1", []edit{status("requested")}, "required", "Task.statusReason"},
		{"an illegal move", "dental-check-1", []edit{status("in-progress")}, "business-rule", "Task.status"},
		{"a draft taken on", "medical-evaluation", []edit{status("accepted")}, "business-rule", "Task.status"},
		{"held by hand", "first-call", []edit{status("on-hold")}, "business-rule", "Task.status"},
		{"done tomorrow", "first-call", []edit{done("2026-09-09")}, "business-rule", "Task.executionPeriod.end"},
		{"done in some month", "first-call", []edit{done("2026-09")}, "value", "Task.executionPeriod.end"},
		{"a wash before its day", "antiseptic-wash-1", []edit{done("")}, "business-rule", "Task.executionPeriod.end"},
		{"its day taken away", "dental-check-1", []edit{set("executionPeriod", nil)}, "required", "Task.executionPeriod.end"},
		{"its window", "first-call", []edit{set("restriction", res{"period": res{"end": "2027-01-01"}})}, "business-rule", "Task.restriction"},
		{"its case", "first-call", []edit{set("groupIdentifier", nil)}, "business-rule", "Task.groupIdentifier"},
		{"its person", "first-call", []edit{set("for", ref("Patient/other"))}, "business-rule", "Task.for"},
		{"its step", "first-call", []edit{set("code", coded("http://countback.example/fhir/CodeSystem/step", "joint-class"))}, "business-rule", "Task.code"},
		{"its instructions", "first-call", []edit{set("input", nil)}, "business-rule", "Task.input"},
		{"its urgency", "first-call", []edit{set("priority", "stat")}, "business-rule", "Task.priority"},
		{"its sources", "first-call", []edit{set("extension", nil)}, "business-rule", "Task.extension"},
		{"something new", "first-call", []edit{set("location", ref("Location/l-1"))}, "business-rule", "Task.location"},
	} {
		t.Run(row.name, func(t *testing.T) {
			before := h.everything()
			_, err := h.tryWork(h.step(b.plan, row.step).ID, row.edits...)
			require.ErrorIs(t, err, ErrInvalid)
			var r *Refusal
			require.True(t, errors.As(err, &r))
			require.Equal(t, []string{row.code, row.expression}, []string{r.Issues[0].Code, r.Issues[0].Expression})
			require.Equal(t, before, h.everything())
		})
	}
	t.Run("no such Task", func(t *testing.T) {
		before := h.everything()
		w := h.taskWork(h.step(b.plan, "first-call").ID, done(""))
		w.ID = b.plan + ".9999"
		_, err := h.office.Work(context.Background(), w)
		require.ErrorIs(t, err, ErrNotFound)
		require.Equal(t, before, h.everything())
	})
}

// Two people have read the same version and write at once: one of them is told
// to read again.
func TestTwoWriteAtOnce(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	mark := h.mark()
	id := h.step(b.plan, "first-call").ID
	works := []TaskWork{h.taskWork(id, done("")), h.taskWork(id, status("failed"), because("", "no answer"))}
	errs := make([]error, len(works))
	var all sync.WaitGroup
	for n := range works {
		works[n].IfMatch = `W/"1"`
		all.Go(func() { _, errs[n] = h.office.Work(context.Background(), works[n]) })
	}
	all.Wait()
	lost := 0
	if errs[0] == nil {
		lost = 1
	}
	require.NoError(t, errs[1-lost])
	require.ErrorIs(t, errs[lost], ErrVersion)
	require.EqualValues(t, 2, h.step(b.plan, "first-call").Version)
	require.Equal(t, []string{"completed", "failed"}[1-lost], h.step(b.plan, "first-call").Status)
	require.NotEmpty(t, h.after(mark))

	// Read again, it goes through.
	again := h.taskWork(id, set("note", []res{{"text": "called back"}}))
	again.IfMatch = `W/"2"`
	_, err := h.office.Work(context.Background(), again)
	require.NoError(t, err)
}

// The versions of a Task are kept as they were.
func TestVersionsOfATask(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	id := h.step(b.plan, "first-call").ID
	var served []string
	for n, e := range []edit{nil, status("accepted"), set("note", []res{{"text": "busy"}}), done("")} {
		if e != nil {
			h.setTo(h.clock().Add(1e9))
			h.work(b.plan, "first-call", e)
		}
		current := h.get("Task/" + id)
		served = append(served, string(current.Raw))
		require.Equal(t, []string{"requested", "accepted", "accepted", "completed"}[n], current.String("status"))
	}
	h.restart("2026-09-09 10:00")
	for n, want := range served {
		got := h.version("Task/"+id, int64(n+1))
		require.Equal(t, want, string(got.Body))
		require.EqualValues(t, n+1, got.Version)
		require.IsType(t, &fhir.Resource{}, parse(t, got.Body))
	}
}

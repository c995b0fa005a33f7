package translate

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// exampleRows is one row of every kind that a Task is rendered from.
func exampleRows(t *testing.T, f Facility, p *Protocol) map[string]*Row {
	out := map[string]*Row{}
	add := func(name, step, now string, change func(*world), work *Work) {
		w := newWorld(t, f, p, now)
		if work != nil && work.Outcome != readiness.NoOutcome {
			r := Row{Work: work}
			w.c.Entries[readiness.Key{Step: step, Round: 1}] = r.Entry()
		}
		if change != nil {
			change(&w)
		}
		out[name] = rowOf(t, f, w.item(t, step), work)
	}
	today := f.hipOn(t, onS)
	snapshot := today.Snapshot()
	reason := func(text string) json.RawMessage {
		return json.RawMessage(`{"coding":[{"system":"` + SystemReason + `","code":"waived"}],"text":"` + text + `"}`)
	}
	pets := func(w *world) { w.c.Facts["has_pets"] = true }

	add("upcoming", "visit", "2026-10-02 09:00", nil, nil)
	add("open", "visit", "2026-11-10 09:00", nil, nil)
	add("due-and-accepted", "visit", "2026-11-23 09:00", nil, &Work{Status: "accepted", Owner: json.RawMessage(`{"reference":"Practitioner/nurse"}`), Note: json.RawMessage(`[{"text":"rang twice"}]`)})
	add("late", "visit", "2026-11-24 09:00", nil, nil)
	add("missed", "visit", "2026-11-30 08:00", nil, nil)
	add("compressed", "visit", "2026-11-26 09:00", func(w *world) { w.c.Booked = f.clock(t, "2026-11-26 08:00") }, nil)
	add("done", "visit", "2026-11-20 09:00", nil, &Work{Outcome: readiness.Done, On: "2026-11-12", For: snapshot, ExecutionPeriod: json.RawMessage(`{"end":"2026-11-12"}`), Output: json.RawMessage(`[{"type":{"text":"Letter"},"valueReference":{"reference":"DocumentReference/d"}}]`)})
	add("replaced", "visit", "2026-11-20 09:00", func(w *world) { w.c.Day = date(t, "2027-01-04"); w.c.Start = f.clock(t, onS2) }, &Work{Outcome: readiness.Done, On: "2026-11-12", For: snapshot})
	out["replaced"].Work = nil // the new round, which nobody has touched
	add("failed", "visit", "2026-11-20 09:00", nil, &Work{Outcome: readiness.Failed, Reason: "did not come", StatusReason: json.RawMessage(`{"text":"did not come"}`)})
	add("waived", "pets", "2026-11-20 09:00", pets, &Work{Outcome: readiness.Waived, Reason: "sister does it", StatusReason: reason("sister does it")})
	add("unknown", "pets", "2026-11-20 09:00", nil, nil)
	add("not-needed", "pets", "2026-11-20 09:00", func(w *world) { w.c.Facts["has_pets"] = false }, nil)
	out["not-needed"].Why = "Does not apply to this person: there are pets at home."
	add("paused", "call", "2026-11-20 09:00", func(w *world) { w.c.Held = true }, &Work{Status: "in-progress"})
	add("clock-point", "fluids", "2026-11-29 12:00", nil, nil)
	add("clock-point-too-late", "fluids", "2026-11-30 06:00", func(w *world) { w.c.Booked = f.clock(t, "2026-12-01 09:00") }, nil)
	add("afternoon", "call", "2026-11-27 13:00", nil, nil)
	add("waiting", "practise", "2026-11-20 09:00", nil, nil)
	add("opened-after-its-due", "practise", "2026-12-02 09:00", func(w *world) {
		w.c.Entries[readiness.Key{Step: "visit", Round: 1}] = readiness.Entry{Outcome: readiness.Done, On: date(t, "2026-11-30"), For: snapshot}
	}, nil)
	add("raised", "ask", "2026-11-20 09:00", func(w *world) {
		w.c.Raised = []readiness.Raised{{Trigger: TriggerUnclear, Key: "Procedure/q", At: f.clock(t, "2026-11-20 08:00"), Why: "it could belong to this booking, and so could another"}}
	}, nil)
	add("postponed", "visit", "2026-11-20 09:00", func(w *world) { w.c.Day, w.c.Start = 0, time.Time{} }, nil)
	add("signed-goes-on", "visit", "2026-11-20 09:00", nil, &Work{
		Outcome: readiness.Done, On: "2026-11-12", For: snapshot, Decision: "go-on", Reason: "a valve", StatusReason: json.RawMessage(`{"text":"a valve"}`),
		Owner: json.RawMessage(`{"display":"Dr Example Prescriber"}`), ExecutionPeriod: json.RawMessage(`{"end":"2026-11-12"}`),
		Output: json.RawMessage(`[{"type":{"coding":[{"system":"` + SystemOutput + `","code":"medicine-decision"}]},"valueCodeableConcept":{"coding":[{"system":"` + SystemDecision + `","code":"go-on"}]}}]`),
	})
	return out
}

// What is served today for every kind of row; the kept rows beside it say what
// was served before.
func TestTaskGoldens(t *testing.T) {
	f, p := chicago(t), keptProtocol(t)
	w := newWorld(t, f, p, "2026-11-20 09:00")
	for name, r := range exampleRows(t, f, p) {
		t.Run(name, func(t *testing.T) {
			task, body := rendered(t, f, stored(t, r), w.task(r), p)
			golden(t, "task/"+name+".json", pretty(t, body))
			require.Equal(t, string(r.State), task.String("businessStatus", "coding", "code"))
			require.Equal(t, r.Status, task.String("status"))
		})
	}
}

// The status that a worklist sees follows from the state, and from what people
// set while it is asked for.
func TestStatusOf(t *testing.T) {
	accepted := &Work{Status: "accepted"}
	done := &Work{Outcome: readiness.Done}
	for _, r := range []struct {
		state readiness.ItemState
		work  *Work
		want  string
	}{
		{readiness.Upcoming, nil, "draft"}, {readiness.Upcoming, accepted, "draft"},
		{readiness.Open, nil, "requested"}, {readiness.Open, accepted, "accepted"}, {readiness.Open, &Work{}, "requested"},
		{readiness.Due, nil, "requested"}, {readiness.Due, accepted, "accepted"},
		{readiness.Late, nil, "requested"}, {readiness.Late, accepted, "accepted"},
		{readiness.Paused, nil, "on-hold"}, {readiness.Paused, accepted, "on-hold"},
		{readiness.Missed, nil, "failed"}, {readiness.Missed, accepted, "failed"},
		{readiness.StateDone, done, "completed"}, {readiness.Expired, done, "completed"},
		{readiness.StateWaived, nil, "cancelled"}, {readiness.Needless, nil, "cancelled"},
	} {
		require.Equal(t, r.want, StatusOf(&readiness.Item{State: r.state}, r.work), "%s %v", r.state, r.work)
	}
}

func TestPriority(t *testing.T) {
	for _, r := range []struct {
		step  string
		state readiness.ItemState
		want  string
	}{
		{"", readiness.Open, "routine"}, {"routine", readiness.Due, "routine"}, {"", readiness.Late, "urgent"},
		{"urgent", readiness.Open, "urgent"}, {"asap", readiness.Late, "asap"}, {"stat", readiness.Late, "stat"},
	} {
		b, err := json.Marshal(priority(&readiness.Step{Priority: r.step}, r.state))
		require.NoError(t, err)
		require.Equal(t, `"`+r.want+`"`, string(b))
	}
}

package casework

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// What becomes of a stopped medicine is answered by a person with a name, who says
// what was decided; the name cannot be taken away afterwards.
func TestRestartOrBridgeNamesWhoDecidedWhat(t *testing.T) {
	h := newHouse(t)
	b := h.stopped()
	h.move("1", b.patient, "2027-02-15")
	asks := h.step(b.plan, "restart-or-bridge").ID
	for _, r := range []struct {
		name    string
		edits   []edit
		refused string
	}{
		{"nothing", []edit{done("")}, "Task.owner is missing"},
		{"nobody", []edit{done(""), named("the prescriber"), whyText("Restart.")}, "Task.owner is missing"},
		{"no decision", []edit{done(""), named("Dr Wendeline Thatchmarsh")}, "Task.statusReason.text is missing"},
		{"an empty note", []edit{done(""), named("Dr Wendeline Thatchmarsh"), set("note", []res{{"text": " "}})}, "Task.statusReason.text is missing"},
	} {
		_, err := h.tryWork(asks, r.edits...)
		require.ErrorContains(t, err, r.refused, r.name)
	}
	act := Act{TaskID: asks, Does: ActDone, By: "Nurse Fen", Owner: "Dr Wendeline Thatchmarsh", Source: "desk"}
	_, err := h.office.Act(t.Context(), act)
	require.ErrorContains(t, err, "write what was decided")
	act.Text = "Restart tonight."
	_, err = h.office.Act(t.Context(), act)
	require.NoError(t, err)
	task := h.get("Task/" + asks)
	require.Equal(t, []string{"completed", "Dr Wendeline Thatchmarsh", "Restart tonight."},
		[]string{task.String("status"), task.String("owner", "display"), task.String("statusReason", "text")})
	_, err = h.tryWork(asks, set("owner", nil))
	require.ErrorContains(t, err, "Task.owner is missing")
}

// The day moves, the prescriber lets the medicine be taken again, and the day moves
// back: neither the old signature nor the old last dose counts, until it is signed
// and taken again. Taking the answer back lets them count as before.
func TestAnAnsweredRestartEndsTheOldSignature(t *testing.T) {
	h := newHouse(t)
	b := h.stopped()
	sign := h.step(b.plan, "medicine-sign-off").ID
	h.move("1", b.patient, "2027-02-15")
	h.work(b.plan, "restart-or-bridge", done(""), named("Dr Wendeline Thatchmarsh"), set("note", []res{{"text": "Restart tonight."}}))
	h.move("1", b.patient, "2027-01-11")
	again := h.step(b.plan, "medicine-sign-off")
	require.NotEqual(t, "done", again.State)
	require.NotEqual(t, sign, again.ID)
	require.Contains(t, h.get("Task/"+again.ID).String("reasonCode", "text"), "the prescriber has decided on this medicine since")
	require.NotEqual(t, "done", h.step(b.plan, "medicine-stop").State)
	require.NotContains(t, h.advice(b.plan, "medicine-sign-off"), "as a named prescriber signed")
	require.Contains(t, h.kinds(b.patient), "medicine-timing", "nobody knows when the last dose is")

	h.work(b.plan, "medicine-sign-off", done(""), named("Dr Corvan Stillmarch"))
	require.Equal(t, "done", h.step(b.plan, "medicine-sign-off").State, "signed after the answer, on the same clock")

	h = newHouse(t)
	b = h.stopped()
	h.move("1", b.patient, "2027-02-15")
	h.work(b.plan, "restart-or-bridge", done(""), named("Dr Wendeline Thatchmarsh"), whyText("Restart tonight."))
	asks := h.step(b.plan, "restart-or-bridge").ID
	_, err := h.tryWork(asks, set("status", "requested"), whyText("the wrong person"))
	require.NoError(t, err)
	h.move("1", b.patient, "2027-01-11")
	require.Equal(t, "done", h.rounds(b.plan, "medicine-sign-off")[0].State)
	require.Equal(t, "done", h.rounds(b.plan, "medicine-stop")[0].State)
}

// What happened is answered by a person with a name, and at the desk by whoever is
// there. On a question that a record has answered, nothing is written unseen.
func TestWhatHappenedIsAnsweredByAPersonWithAName(t *testing.T) {
	h := newHouse(t)
	b := h.byClock()
	task := h.step(b.plan, confirmStep).ID
	for _, owner := range []any{nil, res{"display": "ward staff"}} {
		_, err := h.tryWork(task, saysOf("arrived", surgery), set("owner", owner))
		require.ErrorContains(t, err, "Task.owner is missing")
	}
	_, err := h.office.Act(t.Context(), Act{TaskID: task, Does: ActHappened, By: "Idony Larkmead", Came: surgery, Source: "desk"})
	require.NoError(t, err)
	require.Equal(t, "Idony Larkmead", h.get("Task/"+task).String("owner", "display"))

	h = newHouse(t)
	b = h.byClock()
	task = h.step(b.plan, confirmStep).ID
	e := stay("1", b.patient, b.appointment, "in-progress", surgery+" 06:40", "")
	h.put(by(e), e)
	require.Equal(t, "completed", h.step(b.plan, confirmStep).Status, "by the record")
	before := h.everything()
	_, err = h.tryWork(task, saysOf("not-operated", true))
	require.ErrorContains(t, err, "Task.output: a record has answered this already")
	require.Equal(t, before, h.everything())
}

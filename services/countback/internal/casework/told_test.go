package casework

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/event"
	"example.org/countback/services/countback/internal/translate"
)

// tellStep is the step of the default protocol by which a person is told that
// their day changed.
const tellStep = "tell-the-new-day"

func (h *house) tellings(plan string) (out []item) {
	h.t.Helper()
	for _, i := range h.items(plan) {
		if i.Step == tellStep {
			out = append(out, i)
		}
	}
	return out
}

func (h *house) handout(plan string) translate.Handout {
	h.t.Helper()
	out, err := h.office.Handout(context.Background(), plan)
	require.NoError(h.t, err)
	return out
}

func owner(name string) edit { return set("owner", res{"display": name}) }

// Whoever could know the old day is told of the new one by a named person, once,
// whatever becomes of the day until then.
func TestWhoWasToldIsToldOfTheNewDay(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.set("2026-10-02 09:00") // a Friday
	mark := h.mark()
	h.move("1", b.patient, "2027-01-25")
	require.Equal(t, []string{tellStep}, h.steps(h.after(mark), event.TasksOpened))
	first := h.step(b.plan, tellStep)
	require.Equal(t, "2026-10-05", first.Due, "the next business day")
	task := h.get("Task/" + first.ID)
	require.Equal(t, []string{"requested", "urgent", "coordinator"}, []string{task.String("status"), task.String("priority"), task.String("performerType", "coding", "code")})
	require.Contains(t, extensionTexts(task, "why"), "So far the person was told Mon 11 Jan 2027; the operation is now on Mon 25 Jan 2027.")

	h.set("2026-10-06 09:00")
	h.move("1", b.patient, "2027-02-08")
	require.Len(t, h.tellings(b.plan), 1)
	again := h.step(b.plan, tellStep)
	require.Equal(t, []string{"late", "2026-10-05"}, []string{again.State, again.Due}, "they wait since the first move")
	require.Contains(t, extensionTexts(h.get("Task/"+first.ID), "why"), "So far the person was told Mon 11 Jan 2027; the operation is now on Mon 8 Feb 2027.")

	require.True(t, h.handout(b.plan).Untold, "their calendar says so first")
	_, err := h.tryWork(first.ID, done(""))
	require.ErrorContains(t, err, "named", "somebody answers for it")
	require.Equal(t, "done", h.work(b.plan, tellStep, done(""), owner("Idony Quillwright")).State)
	require.False(t, h.handout(b.plan).Untold)
	h.plannedAnew()

	h.set("2026-10-07 09:00")
	a := appointment("1", b.patient, "2027-02-08")
	h.put(by(a), a.with("status", "cancelled"))
	list := h.tellings(b.plan)
	require.Len(t, list, 2)
	require.Equal(t, []string{"done", "due"}, []string{list[0].State, list[1].State}, "a case that is over is told of as well")
	require.Contains(t, extensionTexts(h.get("Task/"+list[1].ID), "why"), "So far the person was told Mon 8 Feb 2027; the operation is called off.")
	m, err := h.office.Morning(context.Background(), MorningOptions{Rows: 9})
	require.NoError(t, err)
	var listed []string
	for _, l := range m.Lists {
		for _, i := range l.Items {
			if i.Step.Code == tellStep {
				listed = append(listed, l.Name)
			}
		}
	}
	require.Equal(t, []string{ListCalls}, listed)
	h.plannedAnew()
	h.toldOnce()
}

// Nobody is asked to tell what nobody can have been told, and what a feed mends on
// the day it booked; a calendar that was handed out counts on the same day.
func TestWhoWasNotToldIsNotAskedAbout(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.move("1", b.patient, "2027-01-25")
	require.Empty(t, h.tellings(b.plan))
	_, err := h.office.NewCalendarLink(context.Background(), b.plan, "coach", "Idony Quillwright")
	require.NoError(t, err)
	h.move("1", b.patient, "2027-02-08")
	require.Len(t, h.tellings(b.plan), 1)
}

// Who comes in for the operation knows the day; the case can end.
func TestTellingEndsWhenTheOperationBegins(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.set("2026-10-02 09:00")
	h.move("1", b.patient, "2027-01-25")
	v := stay("1", b.patient, b.appointment, "in-progress", "2027-01-25 07:00", "")
	h.set("2027-01-25 07:00")
	h.put(by(v), v)
	i := h.step(b.plan, tellStep)
	require.Equal(t, "cancelled", i.Status)
	require.Equal(t, "The operation began: the person knows the day.", h.get("Task/"+i.ID).String("statusReason", "text"))
	h.plannedAnew()
}

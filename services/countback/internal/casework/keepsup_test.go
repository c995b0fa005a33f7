package casework

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/event"
)

// The open question about a stopped medicine says what is true now, and tells
// each change of that once: a second move, a corrected last dose, a date that is
// lost. Days by hand: 5 January to 22 February is 48 days, 4 January is one more.
func TestTheQuestionKeepsUp(t *testing.T) {
	h := newHouse(t)
	b := h.stopped()
	h.move("1", b.patient, "2027-02-15")
	stopped, ask := h.step(b.plan, "medicine-stop").ID, h.step(b.plan, "restart-or-bridge").ID
	stopped = h.rounds(b.plan, "medicine-stop")[0].ID
	for _, r := range []struct {
		name string
		then func()
		says string
	}{
		{"it moves again", func() { h.move("1", b.patient, "2027-02-22") },
			stoppedForThe11th + "The operation is now on Mon 22 Feb 2027: until then the person would be without it for 48 days from the last dose."},
		{"the last dose is corrected", func() {
			_, err := h.tryWork(stopped, set("executionPeriod", res{"end": "2027-01-04"}))
			require.NoError(t, err)
		}, "Warfarin is stopped already for the operation of Mon 11 Jan 2027: the last dose is recorded for Mon 4 Jan 2027. The operation is now on Mon 22 Feb 2027: until then the person would be without it for 49 days from the last dose."},
		{"the date is lost", func() {
			a := appointment("1", b.patient, surgery).with("status", "waitlist").with("start", nil).with("end", nil)
			h.put(by(a), a)
		}, "Warfarin is stopped already for the operation of Mon 11 Jan 2027: the last dose is recorded for Mon 4 Jan 2027. The operation has no date any more; until when the person is without it is not known."},
	} {
		t.Run(r.name, func(t *testing.T) {
			mark, version := h.mark(), h.get("Task/"+ask).String("meta", "versionId")
			r.then()
			require.Equal(t, []string{"requested: " + r.says}, h.asked(b.plan))
			require.Contains(t, h.steps(h.after(mark), event.TasksChanged), "restart-or-bridge")
			require.NotContains(t, h.steps(h.after(mark), event.TasksOpened), "restart-or-bridge")
			said, err := h.office.Happenings(t.Context(), b.plan)
			require.NoError(t, err)
			var told []string
			for _, i := range said[0].Items {
				told = append(told, i.Text)
			}
			require.Contains(t, told, "what it is about: "+r.says)

			mark = h.mark()
			now := h.get("Task/"+ask).String("meta", "versionId")
			require.NotEqual(t, version, now)
			h.tick("2027-01-07 09:00") // told once
			require.NotContains(t, h.steps(h.after(mark), event.TasksChanged), "restart-or-bridge")
			require.Equal(t, now, h.get("Task/"+ask).String("meta", "versionId"))
		})
	}

	// The answer keeps its words, whatever comes after it.
	h.work(b.plan, "restart-or-bridge", done(""), named("Dr Example Prescriber"), whyText("Restart tonight."))
	answered := h.asked(b.plan)
	_, err := h.tryWork(stopped, set("executionPeriod", res{"end": "2027-01-03"}))
	require.NoError(t, err)
	require.Equal(t, answered, h.asked(b.plan))
	h.move("1", b.patient, "2027-03-01")
	require.Equal(t, answered[0], h.asked(b.plan)[0])

	// One whose answer is taken back says what is true by then.
	_, err = h.tryWork(ask, set("status", "requested"), because("", "decided on the wrong person"))
	require.NoError(t, err)
	require.Contains(t, h.asked(b.plan)[0], "the last dose is recorded for Sun 3 Jan 2027. The operation is now on Mon 1 Mar 2027")
}

// A last dose far too early is asked about; the day is then corrected: the open
// question tells the new day and asks no second time for what was answered: the
// last dose is then signed again. Signed for Tue 5 January.
func TestAnEarlyDoseIsCorrected(t *testing.T) {
	h := newHouse(t)
	b := h.signed()
	h.work(b.plan, "medicine-stop", done("2026-12-12"))
	stop := h.step(b.plan, "medicine-stop").ID
	correct := func(day string) {
		_, err := h.tryWork(stop, set("executionPeriod", res{"end": day}))
		require.NoError(t, err)
	}
	correct("2026-12-10")
	require.Len(t, h.asked(b.plan), 1)
	require.Contains(t, h.asked(b.plan)[0], "requested: Warfarin: the last dose is recorded for Thu 10 Dec 2026, 26 days before the one that stands (Tue 5 Jan 2027)")
	h.work(b.plan, "restart-or-bridge", done(""), named("Dr Example Prescriber"), whyText("Restart tonight."))
	h.tick("2026-12-20 09:00")
	require.Len(t, h.asked(b.plan), 1, "it is what was answered")
	require.Equal(t, "requested", h.step(b.plan, "medicine-sign-off").Status, "what is taken was decided anew, and so is the last dose")

	correct("2026-12-12") // of what does not count any more
	h.tick("2027-01-06 08:00")
	correct("2027-01-05")
	require.Equal(t, []string{"completed: Warfarin: the last dose is recorded for Thu 10 Dec 2026"}, cutAt(h.asked(b.plan), ", 26 days"), "what was answered keeps its words")
	require.Equal(t, "requested", h.step(b.plan, "medicine-sign-off").Status)
}

// cutAt leaves of each text what stands before a mark.
func cutAt(texts []string, mark string) (out []string) {
	for _, s := range texts {
		before, _, _ := strings.Cut(s, mark)
		out = append(out, before)
	}
	return out
}

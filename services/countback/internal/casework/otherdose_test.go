package casework

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/sheet"
	"example.org/countback/services/countback/internal/translate"
)

func inWords(text string) res {
	return res{"type": coded(translate.SystemOutput, translate.OutputDoseWords), "valueString": text}
}

// onInsulin is a case in which the list of medicines was made.
func (h *house) onInsulin() booked {
	h.t.Helper()
	b := h.book("1", surgery)
	m := takes("1", b.patient, "274783", "insulin glargine")
	h.put(by(m), m)
	h.set("2026-12-15 09:00")
	h.work(b.plan, "medicine-review", done(""))
	return b
}

// Insulin, whose dose the prescriber says, is not signed to go on as usual: what to
// sign instead is named. Another dose reaches the person in the words that were
// signed and in no others, stands in the Task and the plan, and has no last dose, so
// that no hold and nothing in the calendar comes of it.
func TestInsulinInAnotherDose(t *testing.T) {
	h := newHouse(t)
	b := h.onInsulin()
	prescriber := []edit{done(""), named("Dr Example Prescriber")}
	_, err := h.tryWork(h.step(b.plan, "medicine-sign-off").ID, append(prescriber, set("output", []res{decides("go-on")}), whyText("Basal dose reduced to 80 percent on the evening before"))...)
	var refusal *Refusal
	require.True(t, errors.As(err, &refusal))
	require.Equal(t, "Task.output", refusal.Issues[0].Expression)
	require.Contains(t, refusal.Issues[0].Text, "sign other-dose")

	const words = "Take 16 units on the evening before. None in the morning."
	h.work(b.plan, "medicine-sign-off", append(prescriber, set("output", []res{decides("other-dose"), inWords(words)}))...)
	const says = "Insulin glargine is taken in another dose, as Dr Example Prescriber signed, in these words for the person: “" + words + "”"
	for _, step := range []string{"medicine-stop", "last-dose-confirmed", "medicine-restart"} {
		i := h.step(b.plan, step)
		require.Equal(t, []string{"not-needed", "cancelled"}, []string{i.State, i.Status}, step)
		require.Equal(t, says, h.get("Task/"+i.ID).String("statusReason", "text"), step)
	}
	told := strings.Replace(says, "glargine is", "glargine: is", 1)
	require.Contains(t, h.advice(b.plan, "medicine-sign-off"), told+" The rules say:")
	require.Contains(t, h.advice(b.plan, "medicine-review"), told)
	require.Contains(t, h.sayings(b), "Take 16 units on the evening before.", "the plan carries it")
	out, err := h.office.Handout(context.Background(), b.plan)
	require.NoError(t, err)
	require.Equal(t, []translate.GoesOn{{Medicine: "Insulin glargine", SignedBy: "Dr Example Prescriber", Words: words}}, out.OtherDose)
	require.Empty(t, out.GoesOn)
	sentences, err := sheet.Load()
	require.NoError(t, err)
	calendar, err := sentences.Calendar(out, "en", time.UTC)
	require.NoError(t, err)
	require.NotContains(t, strings.ToLower(calendar), "16 units")
	require.NotContains(t, strings.ToLower(calendar), "glargine")
	h.tick("2027-01-10 12:00")
	require.NotContains(t, h.kinds(b.patient), "medicine-timing")

	h.move("1", b.patient, "2027-03-15")
	require.NotEqual(t, "done", h.step(b.plan, "medicine-sign-off").State, "it was signed for another date")
}

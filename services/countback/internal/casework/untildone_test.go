package casework

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"
)

// wronglySent is the report with another status, sent as it was first.
func wronglySent(t *testing.T, b booked) res {
	t.Helper()
	return filled(t, symptoms, b.patient, "2027-01-16 02:05", no, map[string]any{"chest-pain": yes}).with("status", "entered-in-error")
}

// That nobody was reached does not lay aside a report of chest pain, however it is
// said; that it was tried is noted, and it stays asked. One that was sent in error
// is withdrawn where it was made.
func TestAReportIsNotLaidAside(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	chestPain(t, h, b)
	now := h.step(b.plan, "symptom-report-now")
	for _, c := range []struct {
		what, text string
		edits      []edit
	}{
		{"nobody reached", "asked until somebody has done it", []edit{status("failed"), because("", "nobody reached")}},
		{"waived", "a QuestionnaireResponse with the status entered-in-error", []edit{status("cancelled"), because("waived", "nobody reached")}},
		{"not needed", "a QuestionnaireResponse with the status entered-in-error", []edit{status("cancelled"), because("not-needed", "")}},
		{"rejected", "a QuestionnaireResponse with the status entered-in-error", []edit{status("rejected"), because("", "nobody reached")}},
		{"a status that is no move", "open moves are: completed, received, accepted, ready, in-progress", []edit{status("draft")}},
	} {
		t.Run(c.what, func(t *testing.T) {
			_, err := h.tryWork(now.ID, c.edits...)
			require.ErrorIs(t, err, ErrInvalid)
			var r *Refusal
			require.ErrorAs(t, err, &r)
			require.Equal(t, "Task.status", r.Issues[0].Expression)
			require.Contains(t, r.Issues[0].Text, c.text)
		})
	}
	for _, does := range []string{ActFailed, ActWaive} {
		_, err := h.office.Act(context.Background(), Act{TaskID: now.ID, Does: does, By: "Idony Quillfeather", Reason: "nobody reached"})
		require.ErrorIs(t, err, ErrInvalid, does)
	}
	_, err := h.office.Act(context.Background(), Act{TaskID: now.ID, Does: ActTried, By: "Idony Quillfeather", Text: "nobody reached"})
	require.NoError(t, err)
	require.Equal(t, "-now late requested", h.reports(b.plan))
	m, err := h.office.Morning(context.Background(), MorningOptions{Rows: 9})
	require.NoError(t, err)
	require.Equal(t, ListNow, m.Lists[0].Name)
	require.Len(t, m.Lists[0].Items, 1, "whoever was not reached is still to be called")

	h.put("QuestionnaireResponse?identifier=https://forms.larkspindle.example/filled|"+symptoms, wronglySent(t, b))
	m, err = h.office.Morning(context.Background(), MorningOptions{Rows: 9})
	require.NoError(t, err)
	require.Empty(t, m.Lists[0].Items, "a report that was sent in error goes with it")
}

// Whoever goes by the old day stays to be told, unless that is left out with a
// reason; a hold stays to be decided.
func TestWhatIsAskedUntilDone(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.set("2026-10-02 09:00")
	h.move("1", b.patient, "2027-01-25")
	h.put(by(infection("1", b.patient, "active", "")), infection("1", b.patient, "active", ""))
	for _, step := range []string{tellStep, "clear-hold"} {
		i := h.step(b.plan, step)
		_, err := h.tryWork(i.ID, status("failed"), because("", "nobody reached"))
		require.ErrorIs(t, err, ErrInvalid, step)
		require.ErrorContains(t, err, "that it could not be done is no answer")
		require.Equal(t, i, h.step(b.plan, step))
	}
	_, err := h.tryWork(h.step(b.plan, "clear-hold").ID, status("cancelled"), because("waived", "it will do"))
	require.ErrorContains(t, err, "this step is a must and cannot be waived")
	require.True(t, h.handout(b.plan).Untold)
	require.Equal(t, "waived", h.work(b.plan, tellStep, status("cancelled"), because("waived", "nobody had told them anything yet")).State)
	require.False(t, h.handout(b.plan).Untold)
}

package casework

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// What must be found out and is past its due day is said of a case wherever its
// state is, in the same number, and keeps it from being counted as planned; the
// state itself stays, and the report calls the same case not ready.
func TestWhatMustBeFoundOutIsSaidBesideTheState(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", "2027-01-11")
	h.book("2", "2027-01-25")
	said := func(now string) (n int) {
		h.tick(now)
		cal := h.office.Facility().Calendar
		v, err := h.office.View(t.Context(), b.plan)
		require.NoError(t, err)
		n = v.FindsOut(cal)
		p, err := h.office.Cases(t.Context(), CaseQuery{Words: "P-1", Limit: 9})
		require.NoError(t, err)
		require.Equal(t, n, p.Cases[0].FindsOut)
		m, err := h.office.Morning(t.Context(), MorningOptions{Rows: 500})
		require.NoError(t, err)
		rows := 0
		for _, l := range m.Lists {
			for _, i := range l.Items {
				if i.CaseID != b.plan {
					continue
				}
				require.Equal(t, n, i.FindsOut, l.Name)
				if l.Name == ListFindOut {
					rows++
				}
			}
		}
		require.Equal(t, n, rows)
		return n
	}
	require.Zero(t, said("2026-12-02 08:00"))
	n := said("2026-12-29 08:00") // the payer's approval was due on the 28th
	require.NotZero(t, n)
	require.Greater(t, said("2027-01-07 08:00"), n)
	require.Zero(t, said("2027-01-12 08:00"), "the day has passed: other questions are asked then")
}

// The weeks ahead count such cases apart from those in danger, and from those that
// are as planned.
func TestWeeksCountWhatMustBeFoundOut(t *testing.T) {
	h := newHouse(t)
	h.book("1", "2027-01-11")
	h.tick("2027-01-04 08:00")
	weeks := func() (out []int64) {
		w, err := h.office.Weeks(t.Context(), WeeksOptions{Days: 14, Room: 3})
		require.NoError(t, err)
		day := w.Days[7]
		require.Equal(t, 1, day.Surgeries)
		return []int64{w.Danger, w.Others, w.FindsOut, int64(day.Danger), int64(day.FindsOut)}
	}
	require.Equal(t, []int64{1, 0, 0, 1, 0}, weeks(), "in danger it is counted once")
	plan := h.found("CarePlan")[0].ID
	for _, i := range h.items(plan) {
		s := h.office.Protocol().Step(i.Step)
		if s.Need == readiness.Must && (i.State == "late" || i.State == "missed" || i.State == "due" || i.State == "open") {
			h.work(plan, i.Step, done(""), owner("Idony Quillwright"))
		}
	}
	require.Equal(t, "on-track", h.get("CarePlan/"+plan).String("extension", "valueCodeableConcept", "coding", "code"))
	require.Equal(t, []int64{0, 1, 1, 0, 1}, weeks())
}

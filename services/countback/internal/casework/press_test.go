package casework

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/store"
)

// Within a list a must goes before what may be left out, a near operation before a
// far one that is late, and one person's items stand together.
func TestRanked(t *testing.T) {
	of := func(id string, n, group int, near, state string, due int) candidate {
		return candidate{item: store.Item{CaseID: id, N: n, State: state, DueFrom: time.Date(2026, 11, due, 0, 0, 0, 0, time.UTC)}, group: group, near: near}
	}
	got := (&morningReader{}).ranked([]candidate{
		of("far", 1, 0, "2026-12-16", "late", 20), of("far", 2, 0, "2026-12-16", "late", 18), of("near", 3, 0, "2026-11-30", "due", 27),
		of("far", 4, 1, "2026-12-16", "due", 27), of("could", 5, 1, "2026-11-28", "late", 10), of("near", 6, 1, "2026-11-30", "late", 26),
		of("undated", 7, 0, "~", "late", 1), of("near", 8, 0, "2026-11-30", "late", 26),
	})
	var order []int
	for _, c := range got {
		order = append(order, c.item.N)
	}
	require.Equal(t, []int{8, 3, 6, 2, 1, 4, 7, 5}, order)
}

// Every open hold waits for a decision, due or not, the nearest operation first.
func TestOpenHoldsWaitForADecision(t *testing.T) {
	h := newHouse(t)
	far, near := h.book("1", "2027-02-01"), h.book("2", "2027-01-11")
	for n, b := range map[string]booked{"1": far, "2": near} {
		h.put(by(infection(n, b.patient, "active", "")), infection(n, b.patient, "active", ""))
	}
	for _, rows := range []int{9, 1} {
		m, err := h.office.Morning(context.Background(), MorningOptions{Rows: rows})
		require.NoError(t, err)
		var holds, states []string
		for _, l := range m.Lists {
			for _, i := range l.Items {
				if l.Name == ListDecisions && i.Key.Step == "clear-hold" {
					holds, states = append(holds, i.CaseID), append(states, string(i.State))
				}
			}
			if l.Name == ListDecisions {
				require.EqualValues(t, 2, l.Late+l.Due+l.Open)
			}
		}
		require.Equal(t, []string{near.plan, far.plan}[:min(rows, 2)], holds)
		require.NotContains(t, states, "late")
	}
}

// A must past its due day of which nobody has said whether it applies stands on a
// list, nearest surgery first, until somebody says so or surgery has come.
func TestWhatNobodyFoundOut(t *testing.T) {
	h := newHouse(t)
	far, near := h.book("1", "2027-01-25"), h.book("2", "2027-01-11")
	const payer = "insurance-authorisation" // due 14 days before surgery
	found := func(rows int) (cases []string, total int64) {
		m, err := h.office.Morning(t.Context(), MorningOptions{Rows: rows})
		require.NoError(t, err)
		for _, l := range m.Lists {
			for _, i := range l.Items {
				require.Equal(t, l.Name == ListFindOut, i.InDoubt(), i.Step.Title)
				if i.Key.Step == payer {
					require.NotEmpty(t, i.Needs)
					cases = append(cases, i.CaseID)
				}
			}
			if l.Name == ListFindOut {
				total = l.Late
				require.Zero(t, l.Due+l.Open)
				require.LessOrEqual(t, len(l.Items), rows)
			}
		}
		return cases, total
	}
	h.tick("2026-12-27 08:00")
	cases, before := found(50)
	require.Empty(t, cases)
	h.tick("2026-12-29 08:00") // the 28th was the day
	cases, after := found(50)
	require.Equal(t, []string{near.plan}, cases)
	require.Equal(t, before+1, after)
	h.tick("2027-01-10 08:00")
	cases, _ = found(50)
	require.Contains(t, cases, near.plan, "in doubt it stays, though its last day is over")
	h.tick("2027-01-20 08:00")
	cases, all := found(50)
	require.Equal(t, []string{far.plan}, cases)
	require.Greater(t, all, int64(1))
	_, same := found(1)
	require.Equal(t, all, same, "counted beyond what is shown")

	i := h.step(far.plan, payer)
	_, err := h.office.Act(t.Context(), Act{TaskID: i.ID, Does: ActNotNeeded, By: "Idony Quillfeather", Reason: "They pay without"})
	require.NoError(t, err)
	cases, left := found(50)
	require.Empty(t, cases)
	require.Equal(t, all-1, left)
}

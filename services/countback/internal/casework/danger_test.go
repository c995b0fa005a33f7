package casework

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"
)

// What is in danger goes by the nearness of the day to come and, of one day, by
// how grave it is; one without a day comes last, and one whose day has passed is
// asked about apart.
func TestDangerByNearness(t *testing.T) {
	h := newHouse(t)
	past, noDay := h.book("1", "2026-11-16"), h.book("2", "2026-12-07")
	behind, held, later := h.book("3", "2026-12-02"), h.book("4", "2026-12-02"), h.book("5", "2026-12-09")
	for n, b := range map[string]booked{"1": past, "4": held} {
		h.put(by(infection(n, b.patient, "active", "")), infection(n, b.patient, "active", ""))
	}
	pending := appointment("2", noDay.patient, "2026-12-07").with("status", "pending")
	h.put(by(pending), pending)
	for _, when := range []string{"2026-10-20 08:00", "2026-11-17 08:00"} {
		h.tick(when)
	}
	ids := func(l CaseList) (out []string) {
		for _, c := range l.Cases {
			out = append(out, c.State+" "+c.ID)
		}
		return out
	}
	m, err := h.office.Morning(context.Background(), MorningOptions{Rows: 9})
	require.NoError(t, err)
	require.Equal(t, []string{"held " + held.plan, "behind " + behind.plan, "behind " + later.plan, "held " + noDay.plan}, ids(m.Danger))
	require.EqualValues(t, 4, m.Danger.Total)
	require.Equal(t, "clear-hold", m.Danger.Cases[0].Next.Key.Step, "what lets a held case go on comes first")
	require.NotEqual(t, "clear-hold", m.Danger.Cases[1].Next.Key.Step)
	require.Equal(t, []string{"held " + past.plan}, ids(m.Passed))
	require.EqualValues(t, 1, m.Passed.Total)
	shown := 0
	for _, l := range m.Lists {
		require.LessOrEqual(t, int64(len(l.Items)), l.Late+l.Due+l.Open, l.Name)
		if l.Name == ListDecisions {
			continue
		}
		for _, i := range l.Items {
			shown++
			require.NotEqual(t, past.plan, i.CaseID, "nobody is sent after %s of an operation that may not have been", i.Key.Step)
		}
	}
	require.NotZero(t, shown)
	all, err := h.office.Morning(context.Background(), MorningOptions{Rows: 500})
	require.NoError(t, err)
	for _, l := range all.Lists {
		require.Len(t, l.Items, int(l.Late+l.Due+l.Open), "%s: what is counted is what is shown", l.Name)
	}

	m, err = h.office.Morning(context.Background(), MorningOptions{Rows: 1})
	require.NoError(t, err)
	require.Equal(t, []string{"held " + held.plan}, ids(m.Danger), "the gravest of the nearest day")
	require.EqualValues(t, 4, m.Danger.Total)

	h.set("2026-12-02 08:00") // the day itself is not past
	m, err = h.office.Morning(context.Background(), MorningOptions{Rows: 9})
	require.NoError(t, err)
	require.Contains(t, ids(m.Danger), "held "+held.plan)
}

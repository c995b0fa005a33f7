package casework

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// pressList is one list of the morning.
func (h *house) pressList(name string, rows int) PressList {
	h.t.Helper()
	m, err := h.office.Morning(context.Background(), MorningOptions{Rows: rows})
	require.NoError(h.t, err)
	for _, l := range m.Lists {
		if l.Name == name {
			return l
		}
	}
	require.Fail(h.t, "there is no such list", name)
	return PressList{}
}

// Who still goes by a day that does not stand is called, ranked by that day, or the
// new one where that is nearer: on the day it is raised, also over a long weekend,
// and whatever became of the operation. It is the next step of the case.
func TestWhoGoesByAnotherDayIsCalledByThatDay(t *testing.T) {
	h := newHouse(t)
	near, later := h.book("1", "2026-11-30"), h.book("2", "2026-12-10")
	sooner, off := h.book("3", "2027-01-25"), h.book("4", "2026-12-03")
	h.tick("2026-11-25 09:00") // a Wednesday; Thursday is a holiday
	h.move("1", near.patient, "2027-01-11")
	h.move("3", sooner.patient, "2026-12-02")
	a := appointment("4", off.patient, "2026-12-03")
	h.put(by(a), a.with("status", "cancelled"))
	day := func(s string) calendar.Date {
		d, err := calendar.ParseDate(s)
		require.NoError(t, err)
		return d
	}
	for _, now := range []string{"2026-11-25 09:30", "2026-11-27 09:00", "2026-12-05 09:00"} {
		t.Run(now, func(t *testing.T) {
			h.tick(now)
			l := h.pressList(ListCalls, 500)
			var order, told []string
			goes := map[string]calendar.Date{}
			for _, i := range l.Items {
				if n := len(order); n == 0 || order[n-1] != i.CaseID {
					order = append(order, i.CaseID)
				}
				if i.Step.Trigger == readiness.TriggerTold {
					told = append(told, i.CaseID)
					goes[i.CaseID] = i.GoesBy()
				}
			}
			require.Equal(t, []string{near.plan, sooner.plan, off.plan}, told)
			require.Equal(t, map[string]calendar.Date{near.plan: day("2026-11-30"), sooner.plan: day("2027-01-25"), off.plan: day("2026-12-03")}, goes)
			require.Equal(t, []string{near.plan, sooner.plan, off.plan, later.plan}, order, "one person's calls stand together")
			require.Len(t, l.Items, int(l.Late+l.Due+l.Open), "what is counted is what is shown")
			require.Equal(t, tellStep, h.pressList(ListCalls, 1).Items[0].Key.Step)
			for _, i := range h.pressList(ListDecisions, 500).Items {
				require.NotEqual(t, tellStep, i.Key.Step)
			}
			p, err := h.office.Cases(t.Context(), CaseQuery{Words: "P-1", Limit: 9})
			require.NoError(t, err)
			require.Equal(t, tellStep, p.Cases[0].Next.Key.Step)
		})
	}
}

// What is due soonest is the next step, of one day a must, and the one that has an
// hour; what may be left out hides no must that is due today by being late.
func TestNextStep(t *testing.T) {
	h := newHouse(t)
	today := h.office.Facility().Today(h.clock())
	item := func(need readiness.Need, day int, hour int) *ItemView {
		v := &ItemView{Item: readiness.Item{Step: &readiness.Step{Need: need}, Due: readiness.Moment{Day: today.Add(day)}}}
		if hour > 0 {
			v.Due.At = chicago().Calendar.At(today.Add(day), hour, 0)
		}
		return v
	}
	none := &ItemView{Item: readiness.Item{Step: &readiness.Step{Need: readiness.Must}}}
	order := []*ItemView{
		item(readiness.Must, -3, 0), item(readiness.MustToLeave, -1, 0), item(readiness.Must, 0, 17), item(readiness.Must, 0, 0),
		item(readiness.Should, -20, 0), item(readiness.Could, -2, 0), item(readiness.Should, 0, 9), item(readiness.Should, 0, 0),
		item(readiness.Must, 1, 0), item(readiness.Should, 1, 8), item(readiness.Should, 4, 0), item(readiness.Must, 5, 0), none,
	}
	for a := range order {
		for b := range order {
			require.Equal(t, a < b, itemSooner(order[a], order[b], today), "%d before %d", a, b)
		}
	}
}

package casework

import (
	"context"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

func (h *house) ifMoved(plan, day string) *WhatIf {
	h.t.Helper()
	out, err := h.office.WhatIf(context.Background(), plan, day)
	require.NoError(h.t, err)
	return out
}

// last is what the newest change of a plan did.
func (h *house) last(plan string) Happened {
	h.t.Helper()
	list, err := h.office.Happenings(context.Background(), plan)
	require.NoError(h.t, err)
	require.NotEmpty(h.t, list)
	return list[0]
}

// What a move would change is what it does change when it happens, item by item,
// with the same words; asking stores nothing.
func TestWhatIfIsWhatHappens(t *testing.T) {
	for _, day := range []string{"2027-01-25", "2026-10-01", "2027-04-05", "2026-12-21"} {
		t.Run(day, func(t *testing.T) {
			h := newHouse(t)
			b := h.worked()
			h.set("2026-09-11 08:00")
			h.tick("2026-09-11 08:00")
			before := h.everything()
			asked := h.ifMoved(b.plan, day)
			require.Equal(t, before, h.everything())
			h.move("1", b.patient, day)
			did := h.last(b.plan)
			var want, got []string
			for _, l := range asked.Lines {
				want = append(want, l.Words())
			}
			for _, i := range did.Items {
				got = append(got, i.Text)
			}
			require.Equal(t, want, got)
			require.Equal(t, strings.Join(asked.Causes, "; "), did.Why)
			require.Equal(t, string(asked.State), h.caseRow(b.plan).State)
			require.Equal(t, asked.State == readiness.CaseInfeasible, len(asked.Cannot) > 0)
		})
	}
}

// Days by hand, for a move from Monday 11 to Monday 25 January 2027.
func TestEveryChangeIsToldWithItsReason(t *testing.T) {
	h := newHouse(t)
	b := h.worked()
	d := h.ifMoved(b.plan, "2027-01-25")
	require.Equal(t, []string{"surgery moved from Mon 11 Jan 2027 to Mon 25 Jan 2027"}, d.Causes)
	told := map[string][]string{}
	for _, l := range d.Lines {
		told[l.Key.Step] = append(told[l.Key.Step], l.Words())
	}
	require.Equal(t, []string{"moved: opens Mon 30 Nov 2026 → Mon 14 Dec 2026; due Mon 28 Dec 2026 → Mon 11 Jan 2027; last day Sun 10 Jan 2027 → Sun 24 Jan 2027 (14 days before surgery)"}, told["joint-class"])
	require.Equal(t, []string{
		"expired (it was done for the operation on Mon 11 Jan 2027)",
		"asked again: due Mon 18 Jan 2027 (it was done for the operation on Mon 11 Jan 2027)",
	}, told["ride-home"])
	require.Equal(t, []string{"kept: last day Sun 10 Jan 2027 → Sun 24 Jan 2027 (3 business days after booking)"}, told["first-call"])
	require.Empty(t, d.Cannot)

	near := h.ifMoved(b.plan, "2026-09-21")
	words := map[string]bool{}
	for _, l := range near.Lines {
		words[l.What] = true
	}
	require.True(t, words[readiness.ToldHurried], "due before it was booked: as soon as possible")
}

// Each way in which a booking can change is named as the cause.
func TestCausesOfAChange(t *testing.T) {
	for _, row := range []struct {
		name   string
		change func(a res) res
		why    string
		step   string // what was done, and is asked for again
	}{
		{"another hour", func(a res) res {
			return a.with("start", localTime(surgery+" 07:30")).with("end", localTime(surgery+" 09:30"))
		}, "the start moved from 10:00 to 07:30", ""},
		{"postponed without a date", func(a res) res { return a.with("status", "proposed").with("start", nil).with("end", nil) }, "surgery on Mon 11 Jan 2027 was postponed without a new date", ""},
		{"cancelled", func(a res) res { return a.with("status", "cancelled") }, "the booking ended: cancelled", ""},
		{"nobody came", func(a res) res { return a.with("status", "noshow") }, "the booking ended: no show", ""},
		{"never meant", func(a res) res { return a.with("status", "entered-in-error") }, "the booking ended: entered in error", ""},
		{"another operation", func(a res) res { return a.with("reasonCode", []res{coded(pcs, leftKnee)}) }, "the procedure changed from hip total to knee total", "surgical-consent"},
		{"another surgeon", func(a res) res {
			return a.with("participant", append(slices.Clone(a["participant"].([]res)), res{"actor": ref("Practitioner/two"), "status": "accepted"}))
		}, "the surgeon changed", "surgical-consent"},
		{"another facility", func(a res) res {
			return a.with("participant", append(slices.Clone(a["participant"].([]res)), res{"actor": ref("Location/two"), "status": "accepted"}))
		}, "the facility changed", "insurance-authorisation"},
		{"another joint is not planned for", func(a res) res { return a.with("reasonCode", []res{coded(pcs, cholecystCode)}) }, "the booking ended: no longer meets", ""},
	} {
		t.Run(row.name, func(t *testing.T) {
			h := newHouse(t)
			patient := h.newPatient("1")
			a := appointment("1", patient, surgery)
			if strings.HasPrefix(row.name, "another ") && row.name != "another hour" {
				a = a.with("participant", append([]res{}, a["participant"].([]res)...))
			}
			first := a
			switch row.name {
			case "another surgeon":
				first = a.with("participant", append(slices.Clone(a["participant"].([]res)), res{"actor": ref("Practitioner/one"), "status": "accepted"}))
			case "another facility":
				first = a.with("participant", append(slices.Clone(a["participant"].([]res)), res{"actor": ref("Location/one"), "status": "accepted"}))
			}
			h.put(by(a), first)
			c := h.onlyCase(patient)
			for _, step := range []string{"surgical-consent", "insurance-authorisation"} {
				h.work(c.ID, step, done("2026-09-08"))
			}
			h.put(by(a), row.change(a))
			did := h.last(c.ID)
			require.Contains(t, did.Why, row.why)
			if row.step != "" {
				rounds := h.rounds(c.ID, row.step)
				require.Len(t, rounds, 2, "what counted for the other one is asked for again")
				require.Equal(t, []string{"expired", rounds[0].ID}, []string{rounds[0].State, rounds[1].Replaces})
			}
			h.put(by(a), first)
			back := h.last(c.ID)
			require.NotEmpty(t, back.Why, "and back")
			if strings.Contains(row.why, "ended") {
				require.Equal(t, "the booking stands again", strings.Split(back.Why, "; ")[0])
			}
		})
	}
}

func TestHappeningsOfNobody(t *testing.T) {
	h := newHouse(t)
	_, err := h.office.Happenings(context.Background(), "nobody")
	require.ErrorIs(t, err, ErrNotFound)
}

// A day that comes soon says beside its state what must still be done for it; one
// that is far off does so only for what is late already.
func TestWhatIfSaysWhatPresses(t *testing.T) {
	h := newHouse(t)
	b := h.worked()
	h.set("2026-09-11 08:00")
	h.tick("2026-09-11 08:00")
	require.Regexp(t, `^\d+ musts that are late or soon due are still to be done, the first by `, h.ifMoved(b.plan, "2026-09-17").Presses)
	require.NotEqual(t, h.ifMoved(b.plan, "2027-04-05").Presses, h.ifMoved(b.plan, "2026-09-17").Presses)
}

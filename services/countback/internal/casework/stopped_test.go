package casework

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/event"
)

// stopped is the case of signed, with the last dose confirmed as taken in time,
// on the evening before the day looked at.
func (h *house) stopped() booked {
	h.t.Helper()
	b := h.signed()
	h.set("2027-01-06 08:00")
	h.work(b.plan, "medicine-stop", takenOn("2027-01-05 20:00"), because("", "told on the telephone"))
	require.Empty(h.t, h.asked(b.plan))
	return b
}

// asked are the questions to the prescriber, in words, with their state.
func (h *house) asked(plan string) []string {
	var out []string
	for _, i := range h.items(plan) {
		if i.Step == "restart-or-bridge" || i.Step == "stop-day-while-held" {
			t := h.get("Task/" + i.ID)
			require.Equal(h.t, "urgent", t.String("priority"))
			require.Equal(h.t, "prescriber", t.Get("performerType").Item(0).String("coding", "code"))
			out = append(out, i.Status+": "+extensionTexts(t, "why"))
		}
	}
	return out
}

// The last dose of stopped, as a question to the prescriber tells it.
const stoppedForThe11th = "Warfarin is stopped already for the operation of Mon 11 Jan 2027: the last dose is recorded for Tue 5 Jan 2027. "

// A medicine is stopped, and what it was stopped for falls away: the prescriber
// is asked, once and urgently, and no new last dose reaches the patient. (What is
// in the way of the operation differs; the danger is the same: check values 2,
// the patient who stays without a blood thinner for six weeks.)
func TestRestartOrBridge(t *testing.T) {
	for _, r := range []struct {
		name string
		then func(h *house, b booked)
		says string
	}{
		{"the date moves", func(h *house, b booked) { h.move("1", b.patient, "2027-02-15") },
			"The operation is now on Mon 15 Feb 2027: until then the person would be without it for 41 days from the last dose."},
		{"postponed without a date", func(h *house, b booked) {
			a := appointment("1", b.patient, surgery).with("status", "waitlist").with("start", nil).with("end", nil)
			h.put(by(a), a)
		}, "The operation has no date any more; until when the person is without it is not known."},
		{"cancelled", func(h *house, b booked) {
			a := appointment("1", b.patient, surgery).with("status", "cancelled")
			h.put(by(a), a)
		}, "The operation was called off (cancelled); until when the person is without it is not known."},
		{"no-show", func(h *house, b booked) {
			h.set("2027-01-11 11:00")
			a := appointment("1", b.patient, surgery).with("status", "noshow")
			h.put(by(a), a)
		}, "The operation was called off (no-show); until when the person is without it is not known."},
		{"held", func(h *house, b booked) {
			c := infection("1", b.patient, "active", "")
			h.put(by(c), c)
		}, "The operation is still on that day, and the case is held: until then the person would be without it for 6 days from the last dose."},
	} {
		t.Run(r.name, func(t *testing.T) {
			h := newHouse(t)
			b := h.stopped()
			mark := h.mark()
			r.then(h, b)
			want := []string{"requested: " + stoppedForThe11th + r.says}
			require.Equal(t, want, h.asked(b.plan))
			require.Contains(t, h.steps(h.after(mark), event.TasksOpened), "restart-or-bridge")
			for _, i := range h.rounds(b.plan, "medicine-stop") {
				require.NotContains(t, []string{"requested", "received", "accepted", "in-progress"}, i.Status, "no new last dose that nobody signed")
			}
			before := h.everything()
			r.then(h, b) // said again, nothing changes but the list of what was received
			after := h.everything()
			for _, table := range []string{"received", "feed"} {
				delete(before, table)
				delete(after, table)
			}
			require.Equal(t, before, after)

			stranded := func() bool {
				out, err := h.office.Handout(t.Context(), b.plan)
				require.NoError(t, err)
				return out.Stranded
			}
			require.True(t, stranded(), "the sheet asks who has stopped to call")
			h.work(b.plan, "restart-or-bridge", done(""), named("Dr Example Prescriber"), whyText("Restart tonight."))
			require.Equal(t, "completed", h.step(b.plan, "restart-or-bridge").Status)
			require.False(t, stranded())
		})
	}
}

// Nothing is asked while nothing is stopped, nor of a medicine that goes on.
func TestNothingStoppedNothingAsked(t *testing.T) {
	h := newHouse(t)
	b := h.signed()
	m := takes("2", b.patient, "6918", "metoprolol") // never stopped
	h.put(by(m), m)
	h.move("1", b.patient, "2027-02-15")
	require.Empty(t, h.asked(b.plan))
}

// Told to stop, past the last dose, and nobody confirmed it: they may be without
// it, and the question is asked all the same.
func TestUnconfirmedMayBeStopped(t *testing.T) {
	h := newHouse(t)
	b := h.signed()
	h.tick("2027-01-06 08:00")
	require.Empty(t, h.asked(b.plan), "the hold itself asks the prescriber")
	h.move("1", b.patient, "2027-02-15")
	require.Len(t, h.asked(b.plan), 1)
	require.Equal(t, []string{"medicine-timing"}, h.kinds(b.patient), "moving releases nothing")
}

// What the prescriber decided on one change does not answer the next.
func TestAskedAgainWhenItMovesAgain(t *testing.T) {
	h := newHouse(t)
	b := h.stopped()
	h.move("1", b.patient, "2027-02-15")
	h.move("1", b.patient, "2027-02-22")
	require.Len(t, h.asked(b.plan), 1, "the answer is still waited for")
	h.work(b.plan, "restart-or-bridge", done(""), named("Dr Example Prescriber"), whyText("Restart tonight."))
	h.move("1", b.patient, "2027-03-01")
	asked := h.asked(b.plan)
	require.Len(t, asked, 2)
	require.Equal(t, "completed: "+stoppedForThe11th+"The operation is now on Mon 22 Feb 2027: until then the person would be without it for 48 days from the last dose.", asked[0], "what was answered keeps its words")
	require.Equal(t, "requested: "+stoppedForThe11th+"The operation is now on Mon 1 Mar 2027: until then the person would be without it for 55 days from the last dose. The prescriber has answered an earlier question about it.", asked[1])
}

// The day of a last dose comes while the case is held: the prescriber decides
// that day. Last dose on Tue 5 January.
func TestStopDayWhileHeld(t *testing.T) {
	h := newHouse(t)
	b := h.signed()
	h.set("2026-12-30 09:00")
	c := infection("1", b.patient, "active", "")
	h.put(by(c), c)
	require.Equal(t, "paused", h.step(b.plan, "medicine-stop").State)
	h.tick("2027-01-04 23:59:59")
	require.Empty(t, h.asked(b.plan))
	h.tick("2027-01-05 00:00")
	require.Equal(t, []string{"requested: Warfarin: the planned last dose is Tue 5 Jan 2027, and the case is held."}, h.asked(b.plan))
	require.Equal(t, "2027-01-05", h.step(b.plan, "stop-day-while-held").Due)
	require.Equal(t, []string{"recent-infection"}, h.kinds(b.patient))
	h.tick("2027-01-06 00:00") // nobody has confirmed it either
	require.Equal(t, []string{"recent-infection", "medicine-timing"}, h.kinds(b.patient))
	require.Len(t, h.asked(b.plan), 1)
}

// Whoever may release a hold is asked by the business day before the first thing
// that it pauses, or would pause if it is still in doubt. For Mon 2027-01-11:
// supplements stop on 27 December, after Thu 24 (the 25th is a holiday); the nose
// is treated from 6 January, after Tue 5; the call about the arrival is on Fri 8,
// after Thu 7. What is to be begun at once is asked at once.
func TestHoldIsDueBeforeWhatItPauses(t *testing.T) {
	for _, r := range []struct{ raised, due string }{
		{"2026-12-12 09:00", "2026-12-24"},
		{"2026-12-28 09:00", "2027-01-05"},
		{"2027-01-07 09:00", "2027-01-07"},
		{"2027-01-09 09:00", "2027-01-09"},
	} {
		t.Run(r.raised, func(t *testing.T) {
			h := newHouse(t)
			h.set(r.raised)
			b := h.book("1", surgery)
			c := infection("1", b.patient, "active", "").with("onsetDateTime", "2026-12-10")
			h.put(by(c), c)
			require.Equal(t, []string{"recent-infection"}, h.kinds(b.patient))
			require.Equal(t, r.due, h.step(b.plan, "clear-hold").Due)
		})
	}
}

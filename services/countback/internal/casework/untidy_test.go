package casework

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/event"
)

// Put off without a date; then a booking arrives that is older by its source's
// order. The date stays away until the source names one later.
func TestPutOffThenAnOlderBooking(t *testing.T) {
	for _, status := range []string{"proposed", "pending", "waitlist"} {
		t.Run(status, func(t *testing.T) {
			h := newHouse(t)
			patient, send := theatreSends(h)
			send(surgery, "booked", "2026-09-08 10:00")
			off := appointment("1", patient, surgery).with("status", status)
			if status != "pending" { // invariant app-3 of R4: that one has a start, which is not confirmed
				off = off.with("start", nil).with("end", nil)
			}
			require.True(t, h.put("Appointment", dated(off, "2026-09-08 10:10")).Changed)
			c, mark := h.onlyCase(patient), h.mark()
			require.Equal(t, "held", c.State)
			require.Empty(t, c.Surgery)

			for _, late := range []struct{ day, when string }{{"2027-02-01", "2026-09-08 10:05"}, {surgery, "2026-09-08 10:00"}} {
				require.True(t, send(late.day, "booked", late.when).Superseded)
				require.Equal(t, c, h.onlyCase(patient))
			}
			require.Empty(t, h.after(mark))

			require.True(t, send("2027-02-08", "booked", "2026-09-08 10:15").Changed)
			require.Equal(t, "2027-02-08", h.onlyCase(patient).Surgery)
		})
	}
}

// Put off before it was ever heard of with a date: the older booking opens no case.
func TestPutOffBeforeItWasBooked(t *testing.T) {
	h := newHouse(t)
	patient, send := theatreSends(h)
	off := appointment("1", patient, surgery).with("status", "proposed").with("start", nil).with("end", nil)
	require.True(t, h.put("Appointment", dated(off, "2026-09-08 10:10")).Created)
	require.True(t, send(surgery, "booked", "2026-09-08 10:05").Superseded)
	require.Empty(t, h.cases(patient))
	require.Empty(t, h.rows())
}

// One number under two systems is two bookings, whoever sends them: each moves
// and ends alone.
func TestOneNumberOfTwoSystems(t *testing.T) {
	h := newHouse(t)
	patient, send := theatreSends(h)
	send(surgery, "booked", "2026-09-08 10:05")
	const other = "https://clinic.larkspindle.example"
	second := func(day, status, when string) Result {
		a := appointment("1", patient, day).with("status", status).with("identifier", numbered(other+"/booking", "B-1"))
		return h.put("Appointment", a.with("meta", res{"source": other, "lastUpdated": localTime(when)}))
	}
	require.True(t, second("2027-03-08", "booked", "2026-09-08 10:00").Created)
	days := func() (out []string) {
		for _, c := range h.cases(patient) {
			if c.Open {
				out = append(out, c.Surgery)
			}
		}
		return out
	}
	require.Equal(t, []string{surgery, "2027-03-08"}, days())
	require.True(t, second("2027-03-15", "booked", "2026-09-08 10:02").Changed, "older than what the other source sent, which does not matter")
	require.Equal(t, []string{surgery, "2027-03-15"}, days())
	require.True(t, second("2027-03-15", "cancelled", "2026-09-08 10:04").Changed)
	require.Equal(t, []string{surgery}, days())
}

// Who was told when to come is told again when that is another day, or another
// hour; told once of each.
func TestToldAgainWhenTheDateMoves(t *testing.T) {
	const call = "arrival-call"
	for _, row := range []struct{ name, start, end string }{
		{"another day", "2027-01-25 10:00", "2027-01-25 12:30"},
		{"another hour", surgery + " 13:00", surgery + " 15:30"},
	} {
		t.Run(row.name, func(t *testing.T) {
			h := newHouse(t)
			b := h.book("1", surgery)
			h.tick("2027-01-08 12:30")
			require.Equal(t, "done", h.work(b.plan, call, done("")).State)
			mark := h.mark()
			a := appointment("1", b.patient, surgery).with("start", localTime(row.start)).with("end", localTime(row.end))
			h.put(by(a), a)
			rounds := h.rounds(b.plan, call)
			require.Len(t, rounds, 2)
			require.Equal(t, "expired", rounds[0].State)
			require.Equal(t, rounds[0].ID, rounds[1].Replaces)
			require.NotEqual(t, "done", rounds[1].State)
			require.Contains(t, h.steps(h.after(mark), event.TasksReopened), call)

			mark = h.mark()
			require.False(t, h.put(by(a), a).Changed, "the same again asks for nothing more")
			require.Len(t, h.rounds(b.plan, call), 2)
			require.Empty(t, h.after(mark))
		})
	}
}

// A plan says when its booking comes without an order, and no longer when one is
// given, if only by the same message with its time.
func TestPlanSaysThatWhatArrivedLastCounts(t *testing.T) {
	const says = "What is sent of this booking has no order of its own: what arrived last counts."
	h := newHouse(t)
	patient, send := theatreSends(h)
	send(surgery, "booked", "")
	c := h.onlyCase(patient)
	text := func() string { return h.get("CarePlan/"+c.ID).String("text", "div") }
	require.Contains(t, text(), says)
	mark := h.mark()
	send(surgery, "booked", "2026-09-08 10:05")
	require.NotContains(t, text(), says)
	require.Empty(t, h.after(mark), "nothing else is different")
	send("2027-02-01", "booked", "2026-09-08 10:10")
	require.NotContains(t, text(), says)
}

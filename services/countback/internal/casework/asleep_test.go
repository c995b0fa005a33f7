package casework

import (
	"context"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/event"
)

// stand says how everything of a case stands, without when it came so: its items, of
// which those of one step that came in another order are the same, and its Flags.
func (h *house) stand(b booked) map[string][]string {
	h.t.Helper()
	out := map[string][]string{"case": {h.caseRow(b.plan).State}}
	for _, i := range h.items(b.plan) {
		if i.Step == "clear-hold" || i.Step == "restart-or-bridge" { // due from when it was asked
			i.State = ""
		}
		out[i.Step] = append(out[i.Step], i.State+" "+i.Status)
	}
	for _, f := range h.flags(b.patient) {
		out["flags"] = append(out["flags"], f.String("code", "coding", "code")+" "+f.String("status"))
	}
	for _, list := range out {
		slices.Sort(list)
	}
	return out
}

// daily lets time have its effect at every midnight and at the hour of surgery.
func (h *house) daily(from, to string) {
	h.t.Helper()
	for at1, end := at(from), at(to); !at1.After(end); at1 = at1.AddDate(0, 0, 1) {
		h.tickTo(at1)
		if noon := at1.Add(10 * time.Hour); !noon.After(end) {
			h.tickTo(noon)
		}
	}
	h.tick(to)
}

// A service that was down is, when it comes back, where one stands that ran all the
// time: also when the days on which something was missed, and the day of surgery
// itself, passed meanwhile.
func TestRestartCatchesUp(t *testing.T) {
	for _, r := range []struct{ name, down, up, told string }{
		{"over the last day of a must", "2027-01-09 23:00", "2027-01-11 09:59", event.CaseHeld},
		{"over the last day of a must and surgery", "2027-01-09 23:00", "2027-01-12 12:00", event.CaseHeld},
		{"since the booking", "2026-09-09 00:00", "2027-01-11 10:00", event.CaseHeld},
		{"since the booking, and a year after surgery", "2026-09-09 00:00", "2028-02-01 09:00", event.CaseHeld},
	} {
		t.Run(r.name, func(t *testing.T) {
			awake, asleep := newHouse(t), newHouse(t)
			one, other := awake.signed(), asleep.signed()
			if at(r.down).After(awake.clock()) {
				awake.daily("2026-12-16 00:00", r.down)
				asleep.daily("2026-12-16 00:00", r.down)
			}
			awake.daily("2026-12-16 00:00", r.up)
			mark := asleep.mark()
			asleep.restart(r.up)
			n, err := asleep.office.Tick(context.Background(), asleep.clock(), 100)
			require.NoError(t, err)
			require.Equal(t, 1, n)

			require.Equal(t, awake.stand(one), asleep.stand(other))
			// One change is told once, however long it took.
			require.Equal(t, []string{r.told}, asleep.happenings(other.plan, "", mark))
			asleep.restart(r.up)
			require.Zero(t, asleep.tick(r.up))
			awake.tick("2028-04-01 09:00")
			asleep.tick("2028-04-01 09:00")
			require.Equal(t, awake.stand(one), asleep.stand(other), "and they go on alike")
		})
	}
}

// A hold that should have come while the service was down is raised when it looks
// again, says since when it should have stood, and does not pretend that anybody
// could have seen it before.
func TestAHoldThatWasSleptThrough(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.tick("2027-01-09 09:00")
	require.Empty(t, h.kinds(b.patient))
	h.restart("2027-01-12 09:00")
	h.tick("2027-01-12 09:00")
	require.Equal(t, "held", h.caseRow(b.plan).State)
	require.Equal(t, []string{"evidence-missing"}, h.kinds(b.patient))
	flag := h.flags(b.patient)[0]
	require.Equal(t, localTime("2027-01-12 09:00"), flag.String("period", "start"))
	require.Contains(t, flag.String("code", "text"), "It should have been raised on Sun 10 Jan 2027, 00:00, when this case was not looked at; it was raised on Tue 12 Jan 2027, 09:00.")
	require.Equal(t, "open", h.step(b.plan, "clear-hold").State, "it is still to be decided on")
	require.Contains(t, h.get("CarePlan/"+b.plan).String("text", "div"), "The hour of the operation has passed")

	before := h.everything()
	h.tick("2027-01-12 09:00")
	require.Equal(t, before, h.everything())
	h.tick("2027-01-20 09:00")
	require.Equal(t, localTime("2027-01-12 09:00"), h.flags(b.patient)[0].String("period", "start"))
	h.work(b.plan, "clear-hold", release("Maud Fennimore", "She was operated on; the surgeon saw the papers."))
	require.Empty(t, h.kinds(b.patient), "a person may still release it")
}

// What comes first after a sleep is read by a case that has woken: the hold is raised
// by what was known, and the message then does what it does to any hold.
func TestAMessageWakesFirst(t *testing.T) {
	for _, r := range []struct {
		name string
		then func(h *house, b booked)
		want []string
	}{
		{"they came", func(h *house, b booked) {
			h.store(stay("1", b.patient, b.appointment, "arrived", surgery+" 07:00", ""))
		}, []string{"inactive"}},
		{"a comment", func(h *house, b booked) {
			a := appointment("1", b.patient, surgery)
			h.put(by(a), a.with("comment", "x"))
		}, []string{"active"}},
		{"somebody worked", func(h *house, b booked) {
			h.work(b.plan, "wound-care-taught", done(""))
		}, []string{"active"}},
		// An infection that is heard of after the hour holds a case that is held already,
		// as it would have all along.
		{"an infection", func(h *house, b booked) {
			c := infection("1", b.patient, "active", "")
			h.put(by(c), c)
		}, []string{"active", "active"}},
	} {
		t.Run(r.name, func(t *testing.T) {
			h := newHouse(t)
			b := h.book("1", surgery)
			h.tick("2027-01-09 09:00")
			h.restart("2027-01-12 09:00")
			r.then(h, b)
			var states []string
			for _, f := range h.flags(b.patient) {
				states = append(states, f.String("status"))
			}
			require.Equal(t, r.want, states)
		})
	}
}

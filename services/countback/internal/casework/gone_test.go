package casework

import (
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// A record of a medicine that was entered in error and one that was deleted leave
// the same items, in the same words, wherever they stood. A hold differs: who
// deletes says not that it never was, so that a person releases it (protocol:
// withdrawn only when the ground is entered in error or refuted).
func TestAMedicineEnteredInErrorOrDeleted(t *testing.T) {
	sign := func(h *house, b booked) {
		h.work(b.plan, "medicine-sign-off", done(""), named("Dr Example Prescriber"))
	}
	take := func(h *house, b booked) {
		sign(h, b)
		h.set("2027-01-06 08:00")
		h.work(b.plan, "medicine-stop", takenOn("2027-01-05 20:00"))
	}
	for _, r := range []struct {
		name string
		then func(h *house, b booked)
		asks string // the open question that stays, with the medicine's last known name
	}{
		{"listed", func(*house, booked) {}, ""},
		{"signed", sign, ""},
		{"signed later than the rules give", func(h *house, b booked) {
			h.work(b.plan, "medicine-sign-off", done(""), named("Dr Example Prescriber"), set("output", []res{lastDose("2027-01-06")}), whyText("Local policy."))
		}, ""},
		{"the last dose was taken", take, ""},
		{"it is stopped, and the date moved", func(h *house, b booked) { take(h, b); h.move("1", b.patient, "2027-02-15") },
			stoppedForThe11th + "The operation is now on Mon 15 Feb 2027: until then the person would be without it for 41 days from the last dose."},
		{"it holds the case", func(h *house, b booked) { h.tick("2027-01-07 08:00") }, ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			stand := func(inError bool) (items, holds []string) {
				h := newHouse(t)
				b := h.onWarfarin()
				r.then(h, b)
				m := takes("1", b.patient, "11289", "warfarin")
				if s := h.put(by(m), m).Stored; !inError {
					_, err := h.receive(Delivery{Source: "https://theatre.larkspindle.example", Method: "DELETE", Target: s.Type + "/" + s.ID,
						Requests: []Request{{Method: "DELETE", Type: s.Type, ID: s.ID}}})
					require.NoError(t, err)
				} else {
					m = m.with("status", "entered-in-error")
					h.put(by(m), m)
				}
				for _, i := range h.items(b.plan) {
					if !slices.Contains([]string{"medicine-sign-off", "medicine-stop", "last-dose-confirmed", "medicine-restart", "restart-or-bridge", "look-at-late-dose"}, i.Step) {
						continue
					}
					task := h.get("Task/" + i.ID)
					items = append(items, fmt.Sprintln(i.Step, i.State, i.Status, i.Due, task.String("statusReason", "text"), extensionTexts(task, "why")))
				}
				if r.asks != "" {
					require.Equal(t, []string{"requested: " + r.asks}, h.asked(b.plan))
				}
				if kinds := h.kinds(b.patient); len(kinds) > 0 {
					holds = kinds
					require.Contains(t, h.get("CarePlan/"+b.plan).String("text", "div"), "Warfarin, last dose of a medicine: the record of the medicine is not there any more, and a named person may release it")
				}
				return items, holds
			}
			wrong, held := stand(true)
			require.Empty(t, held, "what never was holds nothing")
			gone, held := stand(false)
			require.Equal(t, wrong, gone)
			require.Equal(t, r.name == "it holds the case", len(held) > 0)
		})
	}
}

package casework

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// An operation that was called off and is booked anew under another number has
// a plan of its own, in which what was done and still counts is done; whichever
// of the two messages came first.
func TestBookedAnewUnderAnotherNumber(t *testing.T) {
	for what, calledOffFirst := range map[string]bool{"called off, then booked anew": true, "booked anew, then called off": false} {
		t.Run(what, func(t *testing.T) {
			h := newHouse(t)
			b := h.worked()
			h.set("2026-09-11 08:00")
			old, anew := appointment("1", b.patient, surgery), appointment("2", b.patient, "2027-02-08")
			callOff := func() { h.put(by(old), old.with("status", "cancelled")) }
			if calledOffFirst {
				callOff()
			}
			h.put(by(anew), anew)
			if !calledOffFirst {
				callOff()
			}
			plan := ""
			for _, c := range h.cases(b.patient) {
				if c.Open {
					require.Empty(t, plan, "one open case")
					plan = c.ID
				}
			}
			require.NotEqual(t, b.plan, plan)
			for _, step := range []string{"first-call", "home-safety"} { // never expire
				require.Equal(t, "done", h.step(plan, step).State, step)
				require.Equal(t, "2026-09-10", h.get("Task/"+h.step(plan, step).ID).String("executionPeriod", "end"))
			}
			for _, step := range []string{"ride-home", "infection-check-1", "dental-check-1"} { // were for that date
				require.Len(t, h.rounds(plan, step), 1)
				require.Equal(t, "requested", h.step(plan, step).Status, step)
			}
			told := ""
			for _, s := range h.found("Provenance") {
				if r := parse(t, s.Body); about(r, plan) {
					told += r.String("reason", "text")
				}
			}
			require.Contains(t, told, "carried over")

			// What is taken back here stays taken back.
			h.work(plan, "first-call", status("requested"), because("", "another person of that name"))
			before := h.everything()
			h.put(by(anew), anew)
			after := h.everything()
			require.Equal(t, before["item"], after["item"])
			require.NotEqual(t, "done", h.step(plan, "first-call").State)
		})
	}
}

// Of another operation, or one that stands, nothing is carried over.
func TestNothingIsCarriedOver(t *testing.T) {
	for what, change := range map[string]func(old, anew res) (res, res){
		"both stand": func(old, anew res) (res, res) { return old, anew },
		"another joint": func(old, anew res) (res, res) {
			return old.with("status", "cancelled"), anew.with("reasonCode", []res{coded(pcs, leftKnee)})
		},
		"another side": func(old, anew res) (res, res) {
			return old.with("status", "cancelled").with("reasonCode", []res{coded(pcs, rightKnee)}), anew.with("reasonCode", []res{coded(pcs, leftKnee)})
		},
	} {
		t.Run(what, func(t *testing.T) {
			h := newHouse(t)
			b := h.worked()
			old, anew := change(appointment("1", b.patient, surgery), appointment("2", b.patient, "2027-02-08"))
			h.put(by(old), old)
			h.put(by(anew), anew)
			for _, c := range h.cases(b.patient) {
				if c.ID != b.plan {
					require.NotEqual(t, "done", h.step(c.ID, "first-call").State)
					return
				}
			}
			require.Fail(t, "no second case")
		})
	}
}

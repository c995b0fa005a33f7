package casework

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// heldThrough is a case with an infection that held it when its hour came, a day
// after it would have been home.
func (h *house) heldThrough() booked {
	h.t.Helper()
	b := h.book("1", surgery)
	h.store(infection("1", b.patient, "active", ""))
	h.tick(surgery + " 10:00")
	h.tick("2027-01-12 11:00")
	require.Equal(h.t, "held", h.caseRow(b.plan).State)
	require.Equal(h.t, []string{"recent-infection", "evidence-missing"}, h.kinds(b.patient))
	return b
}

// What somebody reported of a held case and what is taken back leaves it as it was:
// held, unreported and asked about, whoever reported it.
func TestAReportThatIsTakenBackLeavesTheHold(t *testing.T) {
	for _, r := range []struct {
		name, says       string
		report, takeBack func(h *house, b booked)
	}{
		{"a person's word", "Ended: the person left the hospital. Idony Larkmead reported on Tue 12 Jan 2027 that", func(h *house, b booked) {
			h.work(b.plan, confirmStep, saysOf("arrived", surgery, "went-home", "2027-01-12"))
		}, func(h *house, b booked) {
			h.work(b.plan, confirmStep, func(task res) {
				task["status"], task["statusReason"] = "requested", res{"text": "It was another person."}
			})
		}},
		{"a visit", "Ended: the person left the hospital. Encounter/", func(h *house, b booked) {
			h.store(stay("1", b.patient, b.appointment, "finished", surgery+" 07:00", "2027-01-12 10:00"))
		}, func(h *house, b booked) {
			h.store(stay("1", b.patient, b.appointment, "entered-in-error", surgery+" 07:00", "2027-01-12 10:00"))
		}},
	} {
		t.Run(r.name, func(t *testing.T) {
			h := newHouse(t)
			b := h.heldThrough()
			h.set("2027-01-12 12:00")
			r.report(h, b)
			require.Equal(t, "home", h.caseRow(b.plan).State)
			require.Empty(t, h.kinds(b.patient))
			require.Contains(t, string(h.flags(b.patient)[0].Raw), r.says)
			r.takeBack(h, b)
			require.Equal(t, "held", h.caseRow(b.plan).State)
			require.Equal(t, []string{"recent-infection", "evidence-missing"}, h.kinds(b.patient))
			require.NotContains(t, h.sayings(b), "By the clock alone")
			require.Equal(t, "requested", h.step(b.plan, confirmStep).Status)
		})
	}
}

// Who releases the holds after the hour says nothing of what happened at it.
func TestAReleaseAfterTheHourSendsNobodyHome(t *testing.T) {
	h := newHouse(t)
	b := h.heldThrough()
	h.letGo(b.plan)
	require.Empty(t, h.kinds(b.patient))
	require.NotContains(t, []string{"held", "arrived", "home", "closed"}, h.caseRow(b.plan).State)
	require.NotContains(t, h.sayings(b), "By the clock alone")
	require.Contains(t, h.sayings(b), "The hour of the operation has passed")
	require.Equal(t, "requested", h.step(b.plan, confirmStep).Status)
	h.tick("2027-01-20 09:00")
	require.NotContains(t, []string{"arrived", "home", "closed"}, h.caseRow(b.plan).State)
	h.set("2027-01-20 10:00")
	h.work(b.plan, confirmStep, saysOf("arrived", surgery, "went-home", "2027-01-12"))
	require.Equal(t, "home", h.caseRow(b.plan).State)
}

// A hold whose record was deleted needs a named release also when the booking was
// called off and booked again.
func TestBookedAgainItIsStillHeld(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	at := h.store(infection("1", b.patient, "active", ""))
	typ, id, _ := strings.Cut(at, "/")
	_, err := h.receive(Delivery{Source: "https://theatre.larkspindle.example", Method: "DELETE", Target: at, Requests: []Request{{Method: "DELETE", Type: typ, ID: id}}})
	require.NoError(t, err)
	require.Equal(t, []string{"recent-infection"}, h.kinds(b.patient))
	a := appointment("1", b.patient, surgery)
	h.put(by(a), a.with("status", "cancelled"))
	require.Empty(t, h.kinds(b.patient))
	require.Contains(t, string(h.flags(b.patient)[0].Raw), "Ended with the case. The operation was called off.")
	h.put(by(a), a)
	require.Equal(t, []string{"recent-infection"}, h.kinds(b.patient))
	require.Equal(t, "held", h.caseRow(b.plan).State)
}

// A signature later than the rules give, at which nobody else looked, holds the case
// also where the service was down over its day and the operation; the look stays asked,
// and what the hold says is true whatever becomes of it.
func TestNobodyLookedAndTheHourPassed(t *testing.T) {
	for _, r := range []struct {
		name, says string
		then       func(h *house, b booked)
		asked      bool
	}{
		{"nobody looks", "", func(*house, booked) {}, true},
		{"the second person says no", "a second person looked at what was signed and did not agree, and a named person may release it", func(h *house, b booked) {
			h.work(b.plan, "look-at-late-dose", done(""), named("Dr Wendeline Thatchmarsh"), set("output", []res{agreed(false)}), whyText("Too late."))
		}, false},
		{"and agrees", "a second person looked at what was signed and agreed, and a named person may release it", func(h *house, b booked) {
			h.work(b.plan, "look-at-late-dose", done(""), named("Dr Wendeline Thatchmarsh"), set("output", []res{agreed(true)}))
		}, false},
	} {
		t.Run(r.name, func(t *testing.T) {
			h := newHouse(t)
			b := h.lateSigned()
			h.restart("2027-01-12 12:00")
			require.Positive(t, h.tick("2027-01-12 12:00"))
			require.Equal(t, "held", h.caseRow(b.plan).State)
			require.Contains(t, h.kinds(b.patient), "medicine-timing")
			require.Equal(t, "requested", h.step(b.plan, "look-at-late-dose").Status)
			h.set("2027-01-12 13:00")
			r.then(h, b)
			require.Contains(t, h.kinds(b.patient), "medicine-timing")
			require.NotContains(t, h.sayings(b), "what was wrong is settled")
			require.Contains(t, h.sayings(b), r.says)
			require.Equal(t, r.asked, h.step(b.plan, "look-at-late-dose").Status == "requested")
		})
	}
}

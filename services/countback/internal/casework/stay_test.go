package casework

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/event"
)

// The visit drives the day: arrived, in progress, finished.
func TestTheVisit(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.tick(surgery + " 06:00")
	visit := func(status, start, end string) []event.Event {
		mark := h.mark()
		h.store(stay("1", b.patient, b.appointment, status, start, end))
		return h.after(mark)
	}
	state := func() string { return h.caseRow(b.plan).State }

	before := h.windows(b.plan)
	require.Empty(t, visit("planned", "", ""), "a planned visit says nothing new")
	require.Equal(t, "held", state(), "nobody has done a thing: evidence is missing")
	require.Equal(t, before, h.windows(b.plan))

	h.set(surgery + " 07:05")
	visit("arrived", surgery+" 07:00", "")
	require.Equal(t, "held", state(), "nobody has released the hold, and the hour is to come")
	require.Equal(t, "on-hold", h.get("CarePlan/"+b.plan).String("status"))
	require.Contains(t, h.sayings(b), "The person is in the hospital, and nobody has released the hold.")
	mark := h.mark()
	h.tick(surgery + " 10:00")
	require.Contains(t, names(h.after(mark)), event.CaseArrived)
	require.Equal(t, "arrived", state())
	require.Empty(t, visit("in-progress", surgery+" 07:00", ""))
	require.Equal(t, "arrived", state())
	require.Equal(t, window{Opens: "2027-01-12", Due: "2027-01-14"}, h.step(b.plan, "discharge-call").window(), "from the planned stay: one night")

	// Still there past the expected hour: nobody knows when they leave, so nothing
	// that counts from it has a day.
	mark = h.mark()
	require.Positive(t, h.tick("2027-01-12 11:00"))
	require.Equal(t, "arrived", state())
	require.Contains(t, h.steps(h.after(mark), event.TasksChanged), "discharge-call")
	require.Equal(t, window{}, h.step(b.plan, "discharge-call").window())
	require.Equal(t, "upcoming", h.step(b.plan, "discharge-call").State)

	// Home two days later than planned. By hand: the call within two business
	// days of Thursday 14 January is due on Tuesday 19, as Monday 18 is a
	// holiday (5 U.S.C. 6103); therapy within three days on Sunday 17 is moved
	// to Friday 15, a business day; thirty days after the 14th is 13 February.
	h.tick("2027-01-14 13:00")
	events := visit("finished", surgery+" 07:00", "2027-01-14 12:30")
	require.Equal(t, "home", h.caseData(events, event.CaseDischarged).State)
	moved := h.steps(events, event.TasksChanged)
	require.Contains(t, moved, "discharge-call")
	require.Equal(t, window{Opens: "2027-01-14", Due: "2027-01-19"}, h.step(b.plan, "discharge-call").window())
	require.Equal(t, window{Opens: "2027-01-14", Due: "2027-01-15"}, h.step(b.plan, "therapy-start").window())
	require.Equal(t, "2027-02-13", h.step(b.plan, "thirty-day-check").Opens)
	for _, fromSurgery := range []string{"wound-check", "clinic-visit", "ninety-day-check", "one-year-questionnaire"} {
		require.NotContains(t, moved, fromSurgery)
	}
}

// Discharge in time is an event of its own.
func TestDischarge(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.tick(surgery + " 09:00")
	h.letGo(b.plan)
	h.tick(surgery + " 18:00")
	require.Equal(t, "arrived", h.caseRow(b.plan).State, "by the clock, from the start of anaesthesia")
	mark := h.mark()
	h.store(stay("1", b.patient, b.appointment, "finished", surgery+" 07:00", surgery+" 17:30"))
	events := h.after(mark)
	require.Equal(t, "home", h.caseData(events, event.CaseDischarged).State)
	require.Equal(t, "2027-01-11", h.step(b.plan, "discharge-call").Opens)
}

// A visit that is over and does not say since when: the person left when that was
// first heard of, however often it is said again, until the end is told.
func TestDischargeWithoutAnEnd(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.set(surgery + " 07:00")
	visit := stay("1", b.patient, b.appointment, "arrived", surgery+" 07:00", "")
	h.store(visit)
	h.set("2027-01-12 12:00")
	over := visit.with("status", "finished")
	h.store(over)
	require.Equal(t, "home", h.caseRow(b.plan).State)
	first := h.windows(b.plan)
	require.Equal(t, "2027-01-12", h.step(b.plan, "discharge-call").Opens)

	for n, again := range []string{"2027-01-14 09:00", "2027-01-20 09:00"} {
		h.tick(again)
		mark := h.mark()
		h.store(over.with("reasonCode", []res{{"text": "said again"}}).with("priority", res{"text": again}))
		require.Equal(t, first, h.windows(b.plan), again)
		require.Empty(t, h.after(mark), n)
	}
	// A stay taken up again and ended again ends anew.
	h.tick("2027-01-20 10:00")
	h.store(over.with("status", "in-progress"))
	require.Equal(t, "arrived", h.caseRow(b.plan).State)
	h.tick("2027-01-21 10:00")
	h.store(over)
	require.Equal(t, "2027-01-21", h.step(b.plan, "discharge-call").Opens)
	// The end itself goes before what was first heard.
	h.tick("2027-01-22 10:00")
	h.store(stay("1", b.patient, b.appointment, "finished", surgery+" 07:00", "2027-01-13 11:00"))
	require.Equal(t, "2027-01-13", h.step(b.plan, "discharge-call").Opens)
}

// A visit recorded by mistake is taken back.
func TestVisitInError(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.tick(surgery + " 07:00")
	require.Equal(t, "held", h.caseRow(b.plan).State)
	visit := stay("1", b.patient, b.appointment, "arrived", surgery+" 07:00", "")
	h.store(visit)
	require.Equal(t, "held", h.caseRow(b.plan).State)
	h.tick(surgery + " 10:00")
	require.Equal(t, "arrived", h.caseRow(b.plan).State)
	require.Empty(t, h.kinds(b.patient))
	mark := h.mark()
	h.store(visit.with("status", "entered-in-error"))
	require.Contains(t, names(h.after(mark)), event.CaseHeld)
	require.Equal(t, []string{"evidence-missing"}, h.kinds(b.patient), "the report that ended it is taken back")
	require.Equal(t, "requested", h.step(b.plan, confirmStep).Status)
}

// A visit of another day (an examination beforehand) is no arrival.
func TestVisitOfAnotherDay(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.set("2026-12-14 15:00")
	h.tick("2026-12-14 15:00")
	mark, state := h.mark(), h.caseRow(b.plan).State
	h.store(stay("1", b.patient, b.appointment, "finished", "2026-12-14 09:00", "2026-12-14 14:00"))
	require.Equal(t, state, h.caseRow(b.plan).State)
	require.Empty(t, h.after(mark))
}

// The class of the visit says how long the stay is, until the booking does.
func TestPlannedStay(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	require.Equal(t, "2027-01-12", h.step(b.plan, "discharge-call").Opens, "the default is one night")
	v := stay("1", b.patient, b.appointment, "planned", "", "").
		with("class", res{"system": "http://terminology.hl7.org/CodeSystem/v3-ActCode", "code": "SS"})
	h.store(v)
	require.Equal(t, "2027-01-11", h.step(b.plan, "discharge-call").Opens)
	a := appointment("1", b.patient, surgery).with("extension", []res{{
		"url": "http://countback.example/fhir/StructureDefinition/planned-stay", "valueCode": "overnight"}})
	h.store(a)
	require.Equal(t, "2027-01-12", h.step(b.plan, "discharge-call").Opens)
}

// When all is done and the patient is home, the case closes: the plan is
// completed, and later messages open nothing anew.
func TestTheCaseCloses(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.set(surgery + " 06:30")
	h.store(stay("1", b.patient, b.appointment, "arrived", surgery+" 06:30", ""))
	h.set("2027-01-12 11:30")
	h.store(stay("1", b.patient, b.appointment, "finished", surgery+" 06:30", "2027-01-12 11:00"))
	h.tick("2028-01-03 12:00") // the last window, of the questionnaire, is open
	require.Equal(t, "home", h.caseRow(b.plan).State)
	mark := h.mark()
	for _, i := range h.items(b.plan) {
		if i = byID(h.items(b.plan))[i.ID]; i.Status == "draft" || i.Status == "requested" {
			require.NotEqual(t, "closed", h.caseRow(b.plan).State, i.Step)
			_, err := h.tryWork(i.ID, done(""))
			require.NoError(t, err, i.Step)
		}
	}
	require.Equal(t, "closed", h.caseRow(b.plan).State)
	require.Equal(t, "completed", h.get("CarePlan/"+b.plan).String("status"))
	require.Contains(t, names(h.after(mark)), event.CaseClosed)
	require.False(t, h.caseRow(b.plan).Open)

	before := h.items(b.plan)
	h.move("1", b.patient, surgery)
	require.Zero(t, h.tick("2028-06-01 09:00"))
	require.Equal(t, before, h.items(b.plan))
	h.onlyCase(b.patient)
}

package casework

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/event"
)

// newPatient stores a person alone.
func (h *house) newPatient(n string) string {
	h.t.Helper()
	return name(h.put("Patient", person(n)).Stored)
}

// store sends a resource under its identifier.
func (h *house) store(r res) string {
	h.t.Helper()
	return name(h.put(by(r), r).Stored)
}

func TestOperationBeforeItsAppointment(t *testing.T) {
	h := newHouse(t)
	patient := h.newPatient("1")
	p := h.store(procedure("1", patient, rightHip, surgery))
	first := h.onlyCase(patient)
	require.Equal(t, p, first.Key)
	require.Equal(t, p, h.step(first.ID, "first-call").Focus)
	require.Empty(t, h.step(first.ID, "stop-clear-fluids").Due, "the hour is not known yet")
	h.work(first.ID, "first-call", done(""))

	mark := h.mark()
	a := h.store(appointment("1", patient, surgery))
	c := h.onlyCase(patient)
	require.Equal(t, first.ID, c.ID, "the same CarePlan")
	require.Equal(t, a, c.Key)
	require.Equal(t, "2027-01-11T08:00:00-06:00", h.step(c.ID, "stop-clear-fluids").Due)
	require.Equal(t, "done", h.step(c.ID, "first-call").State)
	require.NotContains(t, names(h.after(mark)), event.CaseRedated)
	plan := h.get("CarePlan/" + c.ID)
	require.Equal(t, a, plan.Get("supportingInfo").Item(0).String("reference"))
	require.Equal(t, p, plan.Get("supportingInfo").Item(1).String("reference"))
	require.Contains(t, plan.String("text", "div"), "nobody said so", "the link was inferred")
}

func TestAppointmentWithoutACode(t *testing.T) {
	h := newHouse(t)
	patient := h.newPatient("1")
	a := h.store(codeless("1", patient, surgery))
	require.Empty(t, h.cases(patient), "some orthopaedic surgery opens no case")
	p := h.store(procedure("1", patient, leftKnee, surgery))
	c := h.onlyCase(patient)
	require.Equal(t, a, c.Key)
	require.Equal(t, p, h.step(c.ID, "first-call").Focus)
	require.Contains(t, h.get("CarePlan/"+c.ID).String("text", "div"), "left knee replacement")
}

func TestOrderOfAnAppointment(t *testing.T) {
	h := newHouse(t)
	patient := h.newPatient("1")
	o := h.store(order("1", patient))
	require.Empty(t, h.cases(patient), "an order without a day opens no case")
	a := codeless("1", patient, surgery).with("basedOn", []res{ref(o)})
	h.store(a)
	c := h.onlyCase(patient)
	require.Equal(t, o, h.step(c.ID, "first-call").Focus)
	p := h.store(procedure("1", patient, rightHip, surgery).with("basedOn", []res{ref(o)}))
	i := h.step(h.onlyCase(patient).ID, "first-call")
	require.Equal(t, []string{p, o}, []string{i.Focus, i.BasedOn})
	require.Equal(t, c.ID, h.onlyCase(patient).ID)

	// The order is withdrawn: so is the operation.
	h.store(order("1", patient).with("status", "revoked"))
	require.Equal(t, "cancelled", h.onlyCase(patient).State)
}

// A new focus is a new version of the Tasks, without an event: for whom it is,
// what is to be done and when have not changed.
func TestNewFocusIsNoEvent(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	mark := h.mark()
	p := h.store(procedure("1", b.patient, rightHip, surgery))
	i := h.step(b.plan, "first-call")
	require.Equal(t, p, i.Focus)
	require.EqualValues(t, 2, i.Version)
	require.Empty(t, h.after(mark))
}

// Two operations could be the one that was booked: nothing is linked and a
// person is asked, once. When one of them turns out to be a mistake, the other
// is linked and the question goes.
func TestTwoCandidates(t *testing.T) {
	h := newHouse(t)
	patient := h.newPatient("1")
	a := h.store(appointment("1", patient, surgery).with("reasonCode", []res{coded(snomed, kneeCode)}))
	plan := h.onlyCase(patient).ID
	one, two := procedure("1", patient, leftKnee, surgery), procedure("2", patient, rightKnee, surgery)
	ids := h.send(transaction(entry{target: by(one), resource: one}, entry{target: by(two), resource: two}))
	mark := h.mark()

	require.Equal(t, plan, h.onlyCase(patient).ID)
	require.Len(t, h.rounds(plan, "link-booking"), 1)
	ask := h.step(plan, "link-booking")
	require.Equal(t, "requested", ask.Status)
	require.Empty(t, ask.Focus)
	require.Contains(t, h.get("CarePlan/"+plan).String("text", "div"), "none was linked and a person is asked")
	h.store(one.with("note", []res{{"text": "told again"}}))
	h.store(appointment("1", patient, "2027-01-12").with("reasonCode", []res{coded(snomed, kneeCode)}))
	require.Len(t, h.rounds(plan, "link-booking"), 1)
	require.Equal(t, "requested", h.step(plan, "link-booking").Status)
	asked := slices.DeleteFunc(h.steps(h.after(0), event.TasksOpened), func(s string) bool { return s != "link-booking" })
	require.Len(t, asked, 1)

	h.store(two.with("status", "entered-in-error"))
	require.Equal(t, plan, h.onlyCase(patient).ID)
	gone := h.step(plan, "link-booking")
	require.Equal(t, []string{"not-needed", "cancelled"}, []string{gone.State, gone.Status})
	require.Contains(t, h.steps(h.after(mark), event.TasksCancelled), "link-booking")
	require.Equal(t, ids[0], h.step(plan, "first-call").Focus)
	require.Equal(t, a, h.onlyCase(patient).Key)
	require.Contains(t, h.get("CarePlan/"+plan).String("text", "div"), "left knee replacement")
	for _, x := range h.get("CarePlan/" + plan).Get("activity").Items() {
		require.NotEqual(t, "Task/"+gone.ID, x.String("reference", "reference"), "the plan lists what it asks for")
	}
}

// Sent with the person's number alone, before the person is known here.
func TestThePersonComesLater(t *testing.T) {
	h := newHouse(t)
	a := appointment("1", "", surgery).with("participant", []res{{"actor": logical(personSystem, "P-1"), "status": "accepted"}})
	got := h.put(by(a), a)
	require.Equal(t, "identifier:"+personSystem+"|P-1", got.Stored.Patient)
	require.Empty(t, h.after(0))
	h.store(stay("1", "", name(got.Stored), "planned", "", "").with("subject", logical(personSystem, "P-1")))

	h.set("2026-09-09 09:00")
	patient := h.newPatient("1")
	c := h.onlyCase(patient)
	require.Equal(t, name(got.Stored), c.Key)
	require.Equal(t, []string{event.CaseOpened, event.TasksOpened}, names(h.after(0)))
	require.Len(t, h.get("CarePlan/"+c.ID).Get("supportingInfo").Item(1).String("reference"), len("Encounter/")+36)

	// What comes afterwards under the number belongs to them at once.
	later := h.put(by(a), a.with("start", localTime("2027-01-12 10:00")).with("end", localTime("2027-01-12 12:00")))
	require.Equal(t, patient, later.Stored.Patient)
	require.Equal(t, "2027-01-12", h.caseData(h.after(0), event.CaseRedated).SurgeryDate)
}

// In one message it makes no difference which comes first.
func TestPersonByNumberInOneMessage(t *testing.T) {
	a := appointment("1", "", surgery).with("participant", []res{{"actor": logical(personSystem, "P-1"), "status": "accepted"}})
	who, what := entry{target: by(person("1")), resource: person("1")}, entry{target: by(a), resource: a}
	for n, sent := range []string{transaction(who, what), transaction(what, who)} {
		t.Run(fmt.Sprint(n), func(t *testing.T) {
			h := newHouse(t)
			h.send(sent)
			h.onlyCase(name(h.found("Patient")[0]))
		})
	}
}

// Two people with that number: it stays open whose booking it is.
func TestThePersonIsNotClear(t *testing.T) {
	h := newHouse(t)
	h.twins()
	a := appointment("1", "", surgery).with("participant", []res{{"actor": logical(personSystem, "P-twin"), "status": "accepted"}})
	got := h.put(by(a), a)
	require.True(t, strings.HasPrefix(got.Stored.Patient, "identifier:"))
	require.Empty(t, h.after(0))
}

// Never across people, however alike their operations are.
func TestNotLinkedAcrossPeople(t *testing.T) {
	h := newHouse(t)
	one, other := h.newPatient("1"), h.newPatient("2")
	h.store(codeless("1", one, surgery))
	h.store(procedure("1", other, rightHip, surgery))
	require.Empty(t, h.cases(one))
	require.Len(t, h.cases(other), 1)
}

// Two operations months apart are two cases.
func TestStaged(t *testing.T) {
	h := newHouse(t)
	patient := h.newPatient("1")
	h.store(procedure("1", patient, rightKnee, surgery))
	h.store(procedure("2", patient, leftKnee, "2027-05-10"))
	require.Len(t, h.cases(patient), 2)
	h.store(codeless("2", patient, "2027-05-10"))
	h.store(codeless("1", patient, surgery))
	cases := h.cases(patient)
	require.Len(t, cases, 2)
	require.Equal(t, []string{"2027-01-12", "2027-05-11"},
		[]string{h.step(cases[0].ID, "discharge-call").Opens, h.step(cases[1].ID, "discharge-call").Opens})
}

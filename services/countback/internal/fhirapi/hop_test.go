package fhirapi

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// found are the matches of a search, as Type/id, sorted as they came.
func (h *house) found(path string) []string {
	h.t.Helper()
	var out []string
	for _, e := range h.must(200, "GET", root+"/"+path, "", "Prefer", "handling=strict").entries() {
		out = append(out, e.String("search", "mode")+" "+strings.TrimPrefix(e.String("fullUrl"), testBase+"/"))
	}
	return out
}

// TestChains: one step along a reference and back, over resources and items.
func TestChains(t *testing.T) {
	h := open(t)
	who, other := h.book("1"), h.book("2")
	ref := func(at string) string { return "match " + at[len(root)+1:] }
	h.must(201, "PUT", root+"/Practitioner/canary-7", `{"resourceType":"Practitioner","id":"canary-7","name":[{"family":"Canaryhand"}]}`)
	task := h.task(who, "name-coach")
	h.must(200, "PATCH", root+"/Task/"+task.String("id"), `[{"op":"add","path":"/owner","value":{"reference":"Practitioner/canary-7"}}]`, asPatch...)
	id := "match Task/" + task.String("id")
	first := personSystem + "|canary-p1"
	for _, c := range []struct {
		query string
		want  []string
	}{
		{"Appointment?patient.identifier=" + first, []string{ref(who.booking)}},
		{"Appointment?patient:Patient.identifier=" + first, []string{ref(who.booking)}},
		{"Appointment?actor:Patient.given=canarina2", []string{ref(other.booking)}},
		{"Appointment?based-on.identifier=" + orderSystem + "|canary-o1", []string{ref(who.booking)}},
		{"Appointment?based-on.code=52734007&patient.identifier=" + first, []string{ref(who.booking)}},
		{"Appointment?patient.given:exact=Canarina1", []string{ref(who.booking)}},
		{"Appointment?patient.given:exact=canarina1", nil},
		{"Appointment?patient.birthdate=lt1900", nil},
		{"Appointment?patient.identifier=" + first + "," + personSystem + "|canary-p2&_sort=_id", []string{ref(who.booking), ref(other.booking)}},
		{"ServiceRequest?subject.given=canarina2", []string{ref(other.order)}},
		{"Task?owner.name=canaryhand", []string{id}},
		{"Task?owner:Practitioner.family=canaryhand&patient.identifier=" + first, []string{id}},
		{"Task?patient.given=canarina2&owner:missing=false", nil},
		{"CarePlan?patient.identifier=" + first, []string{ref(who.carePlan)}},
		{"CarePlan?activity-reference=Task/" + task.String("id"), []string{ref(who.carePlan)}},
		{"CarePlan?activity-reference=Task/canary.0001", nil},
		{"CarePlan?activity-reference.owner=Practitioner/canary-7", []string{ref(who.carePlan)}},
		{"CarePlan?activity-reference:missing=true", nil},
		{"Provenance?patient.given=canarina9", nil},

		{"Patient?_has:Appointment:patient:identifier=" + bookingSystem + "|canary-b1", []string{ref(who.patient)}},
		{"Patient?_has:Task:patient:owner=Practitioner/canary-7", []string{ref(who.patient)}},
		{"Practitioner?_has:Task:owner:status=" + task.String("status"), []string{"match Practitioner/canary-7"}},
		{"Practitioner?_has:Task:owner:status=completed", nil},
		{"ServiceRequest?_has:Appointment:based-on:status=booked&identifier=" + orderSystem + "|canary-o2", []string{ref(other.order)}},
		{"Task?_has:CarePlan:activity-reference:status=completed", nil},
		{"Patient?_has:Appointment:patient:date=lt2020", nil},
	} {
		require.Equal(t, c.want, h.found(c.query), c.query)
	}
	require.Len(t, (h.found("Task?_has:CarePlan:activity-reference:identifier=" +
		task.String("id")[:strings.IndexByte(task.String("id"), '.')] + "&_count=200")), len(h.found("Task?patient="+who.patient[len(root)+1:]+"&_count=200")))
	h.must(204, "DELETE", who.booking, "")
	require.Empty(t, h.found("Patient?_has:Appointment:patient:identifier="+bookingSystem+"|canary-b1"), "what was deleted refers to nothing")
}

// TestTaskColumns: what a Task is found by is what it says.
func TestTaskColumns(t *testing.T) {
	h := open(t)
	who := h.book("1")
	patient := who.patient[len(root)+1:]
	h.pass(26 * time.Hour)
	task := h.task(who, "name-coach")
	h.must(200, "PUT", root+"/Task/"+task.String("id"), status(t, task, "accepted"))
	all := h.found("Task?_count=200&patient=" + patient)
	one := []string{"match Task/" + task.String("id")}
	for query, want := range map[string][]string{
		"intent=order": all, "intent=http://hl7.org/fhir/task-intent|order": all, "intent=plan": nil, "intent:not=order": nil, "intent:missing=true": nil,
		"authored-on=2026-11-02": all, "authored-on=" + task.String("authoredOn"): all, "authored-on=gt2026-11-02": nil,
		"modified=2026-11-03": one, "modified=lt2026-11-01": nil, "focus=" + who.order[len(root)+1:]: all, "focus:missing=true": nil,
		"based-on:missing=true": all, "subject=" + patient: all, "subject=Patient/canary": nil,
	} {
		require.ElementsMatch(t, want, h.found("Task?_count=200&patient="+patient+"&"+strings.ReplaceAll(query, "|", "%7C")), query)
	}
	require.Equal(t, []string{"order", who.order[len(root)+1:]}, []string{task.String("intent"), task.String("focus", "reference")})
}

func TestIncludes(t *testing.T) {
	h := open(t)
	who := h.book("1")
	h.book("2")
	rel := func(at string) string { return at[len(root)+1:] }
	booking, patient, order, plan := rel(who.booking), rel(who.patient), rel(who.order), rel(who.carePlan)
	mine := "Appointment?identifier=" + bookingSystem + "|canary-b1"
	for _, c := range []struct {
		query string
		want  []string
	}{
		{mine + "&_include=Appointment:patient", []string{"match " + booking, "include " + patient}},
		{mine + "&_include=Appointment:actor:Patient&_include=Appointment:based-on", []string{"match " + booking, "include " + patient, "include " + order}},
		{mine + "&_include=Appointment:actor:Location", []string{"match " + booking}},
		{"ServiceRequest?identifier=" + orderSystem + "|canary-o1&_revinclude=Appointment:based-on", []string{"match " + order, "include " + booking}},
		{"Patient?identifier=" + personSystem + "|canary-p1&_revinclude=Appointment:patient&_revinclude=CarePlan:patient", []string{"match " + patient, "include " + booking, "include " + plan}},
		{"Appointment?identifier=canary-none&_include=Appointment:patient&_revinclude=Encounter:appointment", nil},
	} {
		require.Equal(t, c.want, h.found(c.query), c.query)
	}
	both := h.must(200, "GET", root+"/Appointment?_include=Appointment:patient&_count=1&_sort=_id", "")
	require.Equal(t, "2", both.String("total"), "what is included does not count")
	require.Len(t, both.entries(), 2)
	require.Contains(t, both.link("self"), "_include=Appointment%3Apatient")
	next := h.must(200, "GET", both.link("next"), "")
	require.Len(t, next.entries(), 2)
	require.Empty(t, next.link("next"))

	tasks := h.found("CarePlan?_id=" + strings.TrimPrefix(plan, "CarePlan/") + "&_include=CarePlan:activity-reference")
	require.Len(t, tasks, 1+len(h.found("Task?patient="+patient+"&_count=200")))
	require.Equal(t, []string{"include " + patient}, h.found("Task?patient=" + patient + "&_count=1&_include=Task:patient")[1:])
	require.Contains(t, h.found("Task?patient="+patient+"&_count=1&_include=Task:focus"), "include "+order)
}

// TestProvenanceOf: a Provenance is found by each of its targets, although the
// index holds the Tasks of a case as one. It is compared with the bodies.
func TestProvenanceOf(t *testing.T) {
	h := open(t)
	who := h.book("1")
	h.book("2")
	for _, step := range []string{"name-coach", "first-call"} {
		h.pass(time.Hour)
		task := h.task(who, step)
		h.must(200, "PUT", root+"/Task/"+task.String("id"), status(t, task, "accepted"))
	}
	h.pass(time.Hour)
	h.must(200, "PATCH", who.booking, `[{"op":"replace","path":"/start","value":"2027-01-18T10:00:00-06:00"},
		{"op":"replace","path":"/end","value":"2027-01-18T12:30:00-06:00"}]`, asPatch...)
	written := map[string][]string{} // target → Provenances, by the bodies
	for _, e := range h.must(200, "GET", root+"/Provenance?_count=200&_sort=_lastUpdated,_id", "").entries() {
		for _, target := range e.Get("resource", "target").Items() {
			ref, _, _ := strings.Cut(target.String("reference"), "/_history")
			written[ref] = append(written[ref], "Provenance/"+e.String("resource", "id"))
		}
	}
	require.Greater(t, len(written), 60)
	searched := 0
	for ref, want := range written {
		require.ElementsMatch(t, want, trimmed(h.found("Provenance?_sort=_lastUpdated,_id&target="+ref), "match "), ref)
		if searched++; searched%20 == 0 {
			typ, id, _ := strings.Cut(ref, "/")
			require.ElementsMatch(t, want, trimmed(h.found(typ + "?_id=" + id + "&_revinclude=Provenance:target")[1:], "include "), ref)
		}
	}
	require.Empty(t, h.found("Provenance?target=Task/canary.0001"))
	task := h.task(who, "name-coach")
	require.NotEmpty(t, trimmed(h.found("Task?_id=" + task.String("id") + "&_revinclude=Provenance:target")[1:], "include "))
}

func trimmed(list []string, prefix string) []string {
	var out []string
	for _, s := range list {
		out = append(out, strings.TrimPrefix(s, prefix))
	}
	return out
}

package fhirapi

import (
	"strings"
	"testing"
)

// ended are bookings about which nothing more can be asked.
type ended struct{ patient, cancelled, plan, other, unknown string }

// seedEnded books an operation that is called off, and keeps Appointments that
// open no case.
func (h *house) seedEnded() ended {
	h.t.Helper()
	who := h.book("8")
	subject, order := who.patient[len(root)+1:], who.order[len(root)+1:]
	h.must(200, "PUT", root+"/Appointment?identifier="+bookingSystem+"|canary-b8",
		with(h.t, booking("8", subject, order), `"booked"`, `"cancelled"`))
	keep := func(body string) string {
		made := h.must(201, "POST", root+"/Appointment", body)
		return root + "/Appointment/" + made.String("id")
	}
	dentist := with(h.t, booking("81", subject, order), `"basedOn":[{"reference":"`+order+`"}],`, "")
	nobody := strings.Replace(with(h.t, dentist, `{"reference":"`+subject+`"}`, `{"display":"canary"}`), "canary-b81", "canary-b82", 1)
	return ended{patient: subject, cancelled: who.booking, plan: who.carePlan, other: keep(dentist), unknown: keep(nobody)}
}

// operationRows are calls of operations that are refused.
func operationRows(t *testing.T, s seed, e ended) []badRow {
	const safe, apply = "/$earliest-safe-date", planDefinition + "/$apply"
	const measure = root + "/Measure/class-attendance/$evaluate-measure"
	byType := root + "/PlanDefinition/$apply"
	subject := s.patient[len(root)+1:]
	me, day := valueOf("subject", "String", subject), valueOf("surgery", "Date", "2027-05-14")
	in := func(n string) string { return "Parameters.parameter[" + n + "]" }
	empty := `{"resourceType":"Parameters"}`
	inline := func(body string) string { return parameters(me, day, `"name":"resource","resource":`+body) }
	mine := booking("9", subject, s.order[len(root)+1:])
	rows := []badRow{
		{"safe day: unknown", "GET", root + "/Appointment/canary" + safe, "", nil, 404, "not-found", "", "no such resource"},
		{"safe day: of an unknown plan", "GET", root + "/CarePlan/canary" + safe, "", nil, 404, "not-found", "", "no such resource"},
		{"safe day: no id", "GET", root + "/CarePlan/can_ary" + safe, "", nil, 404, "not-found", "", "no such CarePlan"},
		{"safe day: of all", "GET", root + "/CarePlan" + safe, "", nil, 404, "not-supported", "", "not served here"},
		{"safe day: of a patient", "GET", s.patient + safe, "", nil, 404, "not-supported", "", "not served here"},
		{"safe day: called off", "GET", e.cancelled + safe, "", nil, 422, "business-rule", "Appointment", "called off"},
		{"safe day: of a plan called off", "POST", e.plan + safe, empty, nil, 422, "business-rule", "CarePlan", "called off"},
		{"safe day: opens no case", "GET", e.other + safe, "", nil, 422, "business-rule", "Appointment", "no code says that it is a hip or knee replacement"},
		{"safe day: of nobody", "GET", e.unknown + safe, "", nil, 422, "business-rule", "Appointment", "no patient who is known here"},
		{"safe day: a parameter", "GET", s.booking + safe + "?canary=1", "", nil, 400, "not-supported", "http.canary", "no parameter of this name"},
		{"safe day: a parameter sent", "POST", s.booking + safe, parameters(day), nil, 400, "not-supported", in("0"), "no parameter of this name"},
		{"safe day: PUT", "PUT", s.booking + safe, empty, nil, 405, "not-supported", "", "GET or POST"},

		{"measure: unknown", "GET", root + "/Measure/canary/$evaluate-measure?periodStart=2027-01-01&periodEnd=2027-12-31", "", nil, 404, "not-found", "Measure", "no such Measure"},
		{"measure: of all", "GET", root + "/Measure/$evaluate-measure?periodStart=2027-01-01&periodEnd=2027-12-31", "", nil, 404, "not-supported", "", "not served here"},
		{"measure: no period", "GET", measure, "", nil, 400, "required", "", "periodStart: is missing"},
		{"measure: no end", "GET", measure + "?periodStart=2027-01-01", "", nil, 400, "required", "", "periodEnd: is missing"},
		{"measure: a malformed day", "POST", measure, parameters(valueOf("periodStart", "Date", "2027-13-canary")), nil, 400, "value", in("0") + ".valueDate", "date"},
		{"measure: a short month", "GET", measure + "?periodStart=2027-1&periodEnd=2027-12-31", "", nil, 400, "value", "", "periodStart: is no date"},
		{"measure: the end before the start", "GET", measure + "?periodStart=2027-12-31&periodEnd=2027-01-01", "", nil, 422, "value", "", "periodEnd: lies before"},
		{"measure: a century", "GET", measure + "?periodStart=1927-12-31&periodEnd=2027-01-01", "", nil, 422, "too-long", "", "more than ten years"},
		{"measure: of persons", "GET", measure + "?periodStart=2027-01-01&periodEnd=2027-12-31&reportType=subject-list", "", nil, 422, "not-supported", "http.reportType", "reportType: only summary"},
		{"measure: of one person", "GET", measure + "?periodStart=2027-01-01&periodEnd=2027-12-31&subject=Patient/canary", "", nil, 400, "not-supported", "http.subject", "no parameter of this name"},
		{"measure: PUT", "PUT", measure, empty, nil, 405, "not-supported", "", "GET or POST"},

		{"apply: an unknown protocol", "GET", root + "/PlanDefinition/canary/$apply?subject=" + subject, "", nil, 404, "not-found", "", "no PlanDefinition with this id"},
		{"apply: another canonical", "POST", byType, parameters(me, valueOf("planDefinition", "Canonical", "http://canary.example")), nil, 404, "not-found", in("1"), "planDefinition: no PlanDefinition"},
		{"apply: another version", "POST", byType, parameters(me, valueOf("planDefinition", "Canonical", "http://countback.example/fhir/PlanDefinition/hip-or-knee-replacement|canary")), nil, 404, "not-found", in("1"), "planDefinition: no PlanDefinition"},
		{"apply: no protocol", "POST", byType, parameters(me), nil, 400, "required", "", "planDefinition: is missing"},
		{"apply: two protocols", "POST", apply, parameters(me, valueOf("planDefinition", "Canonical", "http://canary.example")), nil, 400, "not-supported", in("1"), "planDefinition: is not allowed"},
		{"apply: no subject", "POST", apply, parameters(day), nil, 400, "required", "", "subject: is missing"},
		{"apply: nothing at all", "POST", apply, "", nil, 400, "required", "", "subject: is missing"},
		{"apply: two subjects", "POST", apply, parameters(me, me), nil, 400, "not-supported", in("1"), "subject: is taken once"},
		{"apply: an unknown subject", "POST", apply, parameters(valueOf("subject", "String", "Patient/canary")), nil, 422, "not-found", in("0"), "subject: no such Patient"},
		{"apply: an unknown subject by GET", "GET", apply + "?subject=Patient/canary", "", nil, 422, "not-found", "", "subject: no such Patient"},
		{"apply: a subject of another kind", "POST", apply, parameters(valueOf("subject", "String", "Group/canary")), nil, 400, "value", in("0"), "subject: is not a reference"},
		{"apply: a subject elsewhere", "POST", apply, parameters(valueOf("subject", "String", "https://canary.example/fhir/Patient/1")), nil, 400, "value", in("0"), "subject: is not a reference"},
		{"apply: a subject by number", "POST", apply, parameters(`"name":"subject","valueReference":{"display":"canary"}`), nil, 400, "required", in("0"), "subject: has no value"},
		{"apply: an empty subject", "GET", apply + "?subject=", "", nil, 400, "required", "http.subject", "subject: has no value"},
		{"apply: an unknown parameter", "POST", apply, parameters(me, valueOf("canary", "String", "1")), nil, 400, "not-supported", in("1"), "no parameter of this name"},
		{"apply: an unknown parameter by GET", "GET", apply + "?canary=1&subject=" + subject, "", nil, 400, "not-supported", "http.canary", "no parameter of this name"},
		{"apply: a malformed date", "POST", apply, parameters(me, valueOf("surgery", "Date", "14 May canary")), nil, 400, "value", in("1") + ".valueDate", "date"},
		{"apply: a malformed date by GET", "GET", apply + "?surgery=14-May&subject=" + subject, "", nil, 400, "value", "", "surgery: is not a date"},
		{"apply: a month", "GET", apply + "?surgery=2027-05&subject=" + subject, "", nil, 400, "value", "", "surgery: is not a date"},
		{"apply: a date as text", "POST", apply, parameters(me, valueOf("surgery", "String", "2027-05-14")), nil, 400, "structure", in("1"), "surgery: comes as valueDate or valueDateTime"},
		{"apply: surgery in the past", "POST", apply, parameters(me, valueOf("surgery", "Date", "2026-11-01")), nil, 422, "business-rule", in("1"), "surgery: lies in the past"},
		{"apply: surgery an hour ago", "POST", apply, parameters(me, valueOf("surgery", "DateTime", "2026-11-02T08:00:00-06:00")), nil, 422, "business-rule", in("1"), "surgery: lies in the past"},
		{"apply: surgery far ahead", "GET", apply + "?surgery=9999-12-31&subject=" + subject, "", nil, 422, "business-rule", "", "surgery: lies too far ahead"},
		{"apply: booked after surgery", "POST", apply, parameters(me, day, valueOf("booked", "Date", "2027-05-15")), nil, 422, "business-rule", in("2"), "booked: lies after the day of surgery"},
		{"apply: booked, malformed", "GET", apply + "?booked=yesterday&subject=" + subject, "", nil, 400, "value", "", "booked: is not a date"},
		{"apply: an unknown stay", "POST", apply, parameters(me, day, valueOf("stay", "Code", "canary")), nil, 422, "code-invalid", in("2"), "stay: is none of the stays of this protocol: same-day, overnight"},
		{"apply: a stay without value", "POST", apply, parameters(me, `"name":"stay","part":[{"name":"canary","valueCode":"overnight"}]`), nil, 400, "structure", in("1"), "stay: has parts"},
		{"apply: another person's booking", "POST", apply, parameters(me, day, valueOf("booking", "String", e.cancelled[len(root)+1:])), nil, 422, "business-rule", in("2"), "booking: is not about the subject"},
		{"apply: an unknown booking", "POST", apply, parameters(me, day, valueOf("booking", "String", "Appointment/canary")), nil, 422, "not-found", in("2"), "booking: no such Appointment"},
		{"apply: no booking by kind", "POST", apply, parameters(me, day, valueOf("booking", "String", subject)), nil, 400, "value", in("2"), "booking: is not a reference"},
		{"apply: an unknown encounter", "POST", apply, parameters(me, day, valueOf("encounter", "String", "Encounter/canary")), nil, 422, "not-found", in("2"), "encounter: no such Encounter"},
		{"apply: an unknown practitioner", "POST", apply, parameters(me, day, valueOf("practitioner", "String", "Practitioner/canary")), nil, 422, "not-found", in("2"), "practitioner: no such Practitioner"},
		{"apply: another language", "POST", apply, parameters(me, `"name":"userLanguage","valueCodeableConcept":{"coding":[{"system":"urn:ietf:bcp:47","code":"fr"}]}`), nil, 422, "not-supported", in("1"), "userLanguage: plans are written in English"},
		{"apply: a language by GET", "GET", apply + "?userLanguage=en&subject=" + subject, "", nil, 400, "structure", "http.userLanguage", "userLanguage: is no simple value"},
		{"apply: a resource by GET", "GET", apply + "?resource=canary&subject=" + subject, "", nil, 400, "structure", "http.resource", "resource: is a resource"},
		{"apply: a resource as text", "POST", apply, parameters(me, valueOf("resource", "String", "canary")), nil, 400, "structure", in("1"), "resource: is a resource"},
		{"apply: a resource of no use", "POST", apply, inline(`{"resourceType":"Location","name":"canary"}`), nil, 422, "not-supported", in("2") + ".resource", "resource: a Location changes no plan"},
		{"apply: a broken resource", "POST", apply, inline(`{"resourceType":"Appointment","status":"canary"}`), nil, 400, "code-invalid", in("2") + ".resource.status", "allowed are"},
		{"apply: a resource of somebody else", "POST", apply, inline(strings.ReplaceAll(mine, subject, "Patient/canary")), nil, 422, "business-rule", in("2") + ".resource", "resource: it is about another patient"},
		{"apply: one resource twice", "POST", apply, parameters(me, day, `"name":"resource","resource":`+mine, `"name":"resource","resource":`+mine), nil, 422, "duplicate", in("3") + ".resource", "resource: it means the same"},
		{"apply: a resource called off", "POST", apply, inline(with(t, mine, `"booked"`, `"cancelled"`)), nil, 422, "business-rule", in("2"), "resource: The operation was called off"},
		{"apply: by PUT", "PUT", apply, empty, nil, 405, "not-supported", "", "GET or POST"},
		{"apply: another content type", "POST", apply, parameters(me), []string{"Content-Type", "", "Content-Type", "text/plain"}, 415, "not-supported", "", "Content-Type"},
		{"apply: XML wanted", "GET", apply + "?subject=" + subject, "", []string{"Accept", "application/fhir+xml"}, 406, "not-supported", "", "Accept"},
		{"apply: another resource", "POST", apply, mine, nil, 400, "structure", "Appointment", "takes a Parameters resource"},
		{"apply: a list", "POST", apply, "[]", nil, 400, "structure", "", "object"},
		{"apply: twice over", "POST", apply + "?subject=" + subject, parameters(me), nil, 400, "structure", "", "in its body"},
		{"apply: in a transaction", "POST", root, bundleOf("transaction", entry("", "POST", "PlanDefinition/hip-or-knee-replacement/$apply", parameters(me))), nil, 422, "not-supported", "Bundle.entry[0].request.url", "no operations are carried out in a Bundle"},
	}
	of := strings.TrimPrefix(e.cancelled, root+"/")
	return append(rows, badRow{"apply: a booking called off", "POST", apply, parameters(
		valueOf("subject", "String", e.patient), day, valueOf("booking", "String", of)), nil, 422, "business-rule", in("2"), "booking: The operation was called off"})
}

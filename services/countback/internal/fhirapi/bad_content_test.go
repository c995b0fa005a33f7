package fhirapi

import (
	"strings"
	"testing"
)

// contentRows are faults in what is sent: JSON, the elements of R4, their
// codes and values, the invariants, and references.
func contentRows(t *testing.T, s seed) []badRow {
	const at = root + "/Appointment"
	appointment := booking("9", s.ref(s.patient), s.ref(s.order))
	change := func(old, new string) string { return with(t, appointment, old, new) }
	encounter := `{"resourceType":"Encounter","status":"planned","class":{"code":"AMB"},"subject":{"reference":"` + s.ref(s.patient) + `"}}`
	return []badRow{
		{"no JSON", "POST", at, "canary: booked", nil, 400, "structure", "", "not valid JSON"},
		{"empty body", "POST", at, " ", nil, 400, "structure", "", "ends too early"},
		{"ends too early", "POST", at, appointment[:len(appointment)-2], nil, 400, "structure", "Appointment.participant", "ends too early"},
		{"something after the end", "POST", at, appointment + " {}", nil, 400, "structure", "", "after the end of the resource"},
		{"an element twice", "POST", at, change(`"status":"booked"`, `"status":"booked","status":"cancelled"`), nil, 400, "structure", "Appointment.status", "sent twice"},
		{"not UTF-8", "POST", at, change("canary right hip", "canary \xe9"), nil, 400, "structure", "", "not valid UTF-8"},
		{"byte order mark", "POST", at, "\ufeff" + appointment, nil, 400, "structure", "", "byte order mark"},
		{"a list", "POST", at, "[" + appointment + "]", nil, 400, "structure", "", "JSON object { … }"},
		{"too deep", "POST", at, strings.Repeat(`{"extension":[`, 40), nil, 413, "too-costly", "", "deeper than the 32 levels"},
		{"a control character", "POST", at, change("canary right hip", `canary \u0007`), nil, 400, "value", "Appointment.description", "no control characters"},
		{"too large", "POST", at, change("canary right hip", strings.Repeat("canary", 200_000)), nil, 413, "too-long", "", "larger than the 1048576 bytes"},

		{"no type", "POST", at, `{"status":"booked"}`, nil, 400, "required", "", "resourceType is missing"},
		{"a type that R4 has not", "POST", at, change("Appointment", "Canary"), nil, 400, "not-supported", "", "not one of the resource types of FHIR R4"},
		{"a type of another address", "POST", root + "/Patient", appointment, nil, 400, "invariant", "Appointment", "the address names Patient, but the resource is of type Appointment"},
		{"an unknown element", "POST", at, change(`"status":`, `"canary":1,"status":`), nil, 400, "structure", "Appointment", "no element of the name that was sent"},
		{"an element in capitals", "POST", at, change(`"status":"booked"`, `"status":"booked","STATUS":"cancelled"`), nil, 400, "structure", "Appointment", `did you mean "status"?`},
		{"a number in quotes", "POST", at, change(`"status":`, `"minutesDuration":"150","status":`), nil, 400, "structure", "Appointment.minutesDuration", "must be a number without quotes"},
		{"a list for one value", "POST", at, change(`"status":"booked"`, `"status":["booked"]`), nil, 400, "structure", "Appointment.status", "takes one value, not a list"},
		{"one value for a list", "POST", at, change(`"identifier":[{"system":"`+bookingSystem+`","value":"canary-b9"}]`, `"identifier":{"value":"canary"}`), nil, 400, "structure", "Appointment.identifier", "takes a list"},
		{"an empty list", "POST", at, change(`"basedOn":[{"reference":"`+s.ref(s.order)+`"}]`, `"basedOn":[]`), nil, 400, "structure", "Appointment.basedOn", "empty list"},
		{"null", "POST", at, change(`"canary right hip"`, "null"), nil, 400, "structure", "Appointment.description", "is null"},
		{"an empty text", "POST", at, change(`"canary right hip"`, `""`), nil, 400, "value", "Appointment.description", "is an empty text"},

		{"no status", "POST", at, change(`"status":"booked",`, ""), nil, 400, "required", "Appointment.status", "Appointment.status is missing"},
		{"nobody takes part", "POST", at, `{"resourceType":"Appointment","status":"proposed"}`, nil, 400, "required", "Appointment.participant", "is missing"},
		{"no answer of a participant", "POST", at, change(`,"status":"accepted"`, ""), nil, 400, "required", "Appointment.participant[0].status", "is missing"},
		{"an order without intent", "POST", root + "/ServiceRequest", with(t, order("9", s.ref(s.patient)), `"intent":"order",`, ""), nil, 400, "required", "ServiceRequest.intent", "is missing"},
		{"a procedure of nobody", "POST", root + "/Procedure", `{"resourceType":"Procedure","status":"preparation"}`, nil, 400, "required", "Procedure.subject", "is missing"},
		{"a relative of nobody", "POST", root + "/RelatedPerson", `{"resourceType":"RelatedPerson","name":[{"family":"Canary"}]}`, nil, 400, "required", "RelatedPerson.patient", "is missing"},
		{"an encounter without class", "POST", root + "/Encounter", with(t, encounter, `"class":{"code":"AMB"},`, ""), nil, 400, "required", "Encounter.class", "is missing"},

		{"a status that R4 has not", "POST", at, change("booked", "canary-booked"), nil, 400, "code-invalid", "Appointment.status", "allowed are proposed, pending, booked"},
		{"a gender that R4 has not", "POST", root + "/Patient", with(t, patient("9"), `"female"`, `"canary"`), nil, 400, "code-invalid", "Patient.gender", "allowed are"},
		{"a start without a zone", "POST", at, change("10:00:00-06:00", "10:00:00"), nil, 400, "value", "Appointment.start", "zone"},
		{"a day that does not exist", "POST", root + "/Patient", with(t, patient("9"), "1958-03-17", "1958-02-30"), nil, 400, "value", "Patient.birthDate", "date"},
		{"an id with a blank", "POST", root + "/Patient", with(t, patient("9"), `"Patient",`, `"Patient","id":"canary 1",`), nil, 400, "value", "Patient.id", "letters"},

		{"a start without an end", "POST", at, change(`"end":"2027-01-11T12:30:00-06:00",`, ""), nil, 422, "invariant", "Appointment.end", "app-2"},
		{"booked without a time", "POST", at, change(`"start":"2027-01-11T10:00:00-06:00","end":"2027-01-11T12:30:00-06:00",`, ""), nil, 422, "invariant", "Appointment.start", "app-3"},
		{"a reason for no cancellation", "POST", at, change(`"status":"booked"`, `"status":"booked","cancelationReason":{"text":"canary"}`), nil, 422, "invariant", "Appointment.cancelationReason", "app-4"},
		{"ends before it starts", "POST", at, change("12:30:00", "09:30:00"), nil, 422, "business-rule", "Appointment.end", "cannot end before it starts"},
		{"a participant without a name or role", "POST", at, change(`"actor":{"reference":"`+s.ref(s.patient)+`"},`, ""), nil, 422, "invariant", "Appointment.participant[0]", "app-1"},
		{"a stay that ends before it starts", "POST", root + "/Encounter", with(t, encounter, `"status":`, `"period":{"start":"2027-01-12","end":"2027-01-11"},"status":`), nil, 422, "invariant", "Encounter.period.end", "per-1"},
		{"an extension without a value", "POST", at, change(`"status":`, `"extension":[{"url":"https://canary.example"}],"status":`), nil, 422, "invariant", "Appointment.extension[0]", "ext-1"},

		{"a contained resource that is not there", "POST", at, change(`"reference":"`+s.ref(s.patient)+`"`, `"reference":"#canary"`), nil, 422, "invariant", "Appointment.participant[0].actor.reference", "contained resource that is not there"},
		{"a reference to nothing", "POST", at, change(`"reference":"`+s.ref(s.patient)+`"`, `"type":"Patient"`), nil, 422, "invariant", "Appointment.participant[0].actor", "names nothing"},
		{"a name of another bundle", "POST", at, change(s.ref(s.patient), patientURN), nil, 422, "not-found", "Appointment", "urn:uuid"},
		{"a person that is not held", "POST", at, change(s.ref(s.patient), "Patient?identifier="+personSystem+"|canary-none"), nil, 412, "not-found", "Appointment", "not exactly one is held"},
		{"a person that two are", "POST", at, change(s.ref(s.patient), "Patient?identifier="+personSystem+"|canary-ptwins"), nil, 412, "not-found", "Appointment", "not exactly one is held"},
		{"a person by name", "POST", at, change(s.ref(s.patient), "Patient?name=Canary"), nil, 400, "value", "Appointment", "exactly identifier=system|value"},

		{"a booking that nobody could find again", "POST", at, change(`"identifier":[{"system":"`+bookingSystem+`","value":"canary-b9"}],`, ""), nil, 422, "required", "Appointment.identifier", "so that a later change can be told apart from a new booking"},
		{"a booking with a number of nobody's", "POST", at, change(`"system":"`+bookingSystem+`",`, ""), nil, 422, "required", "Appointment.identifier", "needs an identifier with a system"},
	}
}

func (s seed) ref(address string) string { return strings.TrimPrefix(address, root+"/") }

package fhir

import (
	"encoding/json"
	"strings"
	"testing"

	r4 "github.com/samply/golang-fhir-models/fhir-models/fhir"
	"github.com/stretchr/testify/require"
)

// swap replaces one part of the booked appointment.
func swap(old, new string) string {
	if !strings.Contains(booked, old) {
		panic("the sample has no " + old)
	}
	return strings.Replace(booked, old, new, 1)
}

func with(members string) string { return strings.Replace(small, `{`, `{`+members+`,`, 1) }

func nested(depth int) string {
	return `{"resourceType":"Basic","code":{"text":"x"},"extension":` +
		strings.Repeat(`[{"url":"u","extension":`, (depth-1)/2) + `[]` + strings.Repeat(`}]`, (depth-1)/2) + `}`
}

type badInput struct {
	name, in, code, expression, text string
}

var badSyntax = []badInput{
	{"empty body", ``, CodeStructure, "", "ends too early"},
	{"cut off", `{"resourceType":"Task","status":`, CodeStructure, "Task.status", "ends too early"},
	{"not JSON", `<Patient/>`, CodeStructure, "", "not valid JSON"},
	{"array at the top", `[` + small + `]`, CodeStructure, "", "a FHIR resource is a JSON object"},
	{"number at the top", `7`, CodeStructure, "", "a FHIR resource is a JSON object"},
	{"comma at the end", `{"resourceType":"Patient",}`, CodeStructure, "Patient", "not valid JSON"},
	{"comment", `{/*x*/"resourceType":"Patient"}`, CodeStructure, "", "not valid JSON"},
	{"duplicate name", `{"resourceType":"Task","status":"cancelled","status":"requested","intent":"order"}`, CodeStructure, "Task.status", "Task.status was sent twice"},
	{"duplicate by escape", `{"resourceType":"Task","status":"cancelled","st\u0061tus":"requested","intent":"order"}`, CodeStructure, "Task.status", "was sent twice"},
	{"duplicate deep inside", swap(`"required": "required"`, `"required": "required", "required": "optional"`), CodeStructure, "Appointment.participant[0].required", "was sent twice"},
	{"duplicate in a contained resource", swap(`"id": "surgeon",`, `"id": "surgeon", "active": true, "active": false,`), CodeStructure, "Appointment.contained[0].active", "was sent twice"},
	{"duplicate in an entry", bundle("transaction", `{"resource":{"resourceType":"Task","status":"draft","status":"ready"}}`), CodeStructure, "Bundle.entry[0].resource.status", "was sent twice"},
	{"duplicate resourceType", `{"resourceType":"Task","resourceType":"Patient"}`, CodeStructure, "Task.resourceType", "was sent twice"},
	{"duplicate unknown name", `{"resourceType":"Task","Marisol":1,"Marisol":2}`, CodeStructure, "Task", "a name occurs twice"},
	{"bad UTF-8", swap("Right total", "Right \xff total"), CodeStructure, "", "not valid UTF-8"},
	{"lone surrogate", swap("Right total", `Right \ud800 total`), CodeStructure, "Appointment.description", "not valid JSON"},
	{"byte order mark", "\xef\xbb\xbf" + small, CodeStructure, "", "byte order mark"},
	{"raw NUL", swap("Right total", "Right \x00 total"), CodeStructure, "Appointment.description", "raw control character"},
	{"raw line end in text", swap("Right total", "Right \n total"), CodeStructure, "Appointment.description", "not valid JSON"},
	{"escaped NUL", swap("Right total", `Right \u0000 total`), CodeValue, "Appointment.description", "no control characters"},
	{"escaped bell", swap("Right total", `Right \u0007 total`), CodeValue, "Appointment.description", "no control characters"},
	{"second value behind", small + small, CodeStructure, "", "something after the end"},
	{"text behind", small + "x", CodeStructure, "", "something after the end"},
	{"depth 33", nested(33), CodeTooCostly, "Basic" + strings.Repeat(".extension[0]", 16), "deeper than the 32 levels"},
	{"depth 5000", strings.Repeat("[", 5000), CodeTooCostly, "", "deeper than the 32 levels"},
}

var badElements = []badInput{
	{"no resourceType", `{"status":"booked"}`, CodeRequired, "", "resourceType is missing"},
	{"resourceType a number", `{"resourceType":7}`, CodeRequired, "", "resourceType is missing"},
	{"unknown resourceType", `{"resourceType":"Booking"}`, CodeNotSupported, "", "not one of the resource types"},
	{"abstract resourceType", `{"resourceType":"DomainResource"}`, CodeNotSupported, "", "not one of the resource types"},
	{"case of resourceType", `{"resourceType":"appointment"}`, CodeNotSupported, "", "upper and lower case"},
	{"status in two cases", `{"resourceType":"Appointment","status":"cancelled","STATUS":"booked","participant":[{"actor":{"display":"x"},"status":"accepted"}]}`, CodeStructure, "Appointment", `did you mean "status"?`},
	{"unknown element", with(`"colour":"red"`), CodeStructure, "Appointment", "no element of the name that was sent"},
	{"R5 element", with(`"cancellationReason":{"text":"x"}`), CodeStructure, "Appointment", "no element of the name"},
	{"unknown element inside", swap(`"required": "required"`, `"Required": "required"`), CodeStructure, "Appointment.participant[0]", `did you mean "required"?`},
	{"extension beside an object", with(`"_cancelationReason":{"id":"x"}`), CodeStructure, "Appointment", "no element of the name"},
	{"array for an object", with(`"cancelationReason":[{"text":"x"}]`), CodeStructure, "Appointment.cancelationReason", "takes one value, not a list"},
	{"object for an array", swap(`"basedOn": [{"reference": "ServiceRequest/order-88172"}]`, `"basedOn": {"reference": "ServiceRequest/order-88172"}`), CodeStructure, "Appointment.basedOn", "takes a list [ … ], not an object"},
	{"text for an object", swap(`{"reference": "ServiceRequest/order-88172"}`, `"ServiceRequest/order-88172"`), CodeStructure, "Appointment.basedOn[0]", "must be an object { … }, not text"},
	{"number for text", with(`"description":7`), CodeStructure, "Appointment.description", "must be text in quotes"},
	{"text for number", with(`"minutesDuration":"120"`), CodeStructure, "Appointment.minutesDuration", "must be a number without quotes, not text"},
	{"text for decimal", swap(`1.10`, `"1.10"`), CodeStructure, "Appointment.extension[0].valueDecimal", "must be a number"},
	{"text for boolean", strings.Replace(patient, `false`, `"false"`, 1), CodeStructure, "Patient.deceasedBoolean", "must be true or false"},
	{"fraction for a whole number", with(`"minutesDuration":120.0`), CodeValue, "Appointment.minutesDuration", "a whole number, 1 or more"},
	{"zero for a positive number", with(`"minutesDuration":0`), CodeValue, "Appointment.minutesDuration", "1 or more"},
	{"negative", with(`"priority":-1`), CodeValue, "Appointment.priority", "0 or more"},
	{"too large a number", strings.Replace(patient, `"multipleBirthInteger":2`, `"multipleBirthInteger":2147483648`, 1), CodeValue, "Patient.multipleBirthInteger", "a whole number between"},
	{"null", with(`"description":null`), CodeStructure, "Appointment.description", "is null"},
	{"null in a list of objects", with(`"slot":[null]`), CodeStructure, "Appointment.slot[0]", "is null"},
	{"null in a list without extension", strings.Replace(patient, `"_given"`, `"prefix":[null],"_given"`, 1), CodeStructure, "Patient.name[0].prefix[0]", "null may only stand where an extension"},
	{"null on both sides", strings.Replace(patient, `"_given":[null`, `"_given":[null,null`, 1), CodeStructure, "Patient.name[0].given[1]", ""},
	{"empty text", with(`"description":""`), CodeValue, "Appointment.description", "is an empty text"},
	{"empty list", with(`"slot":[]`), CodeStructure, "Appointment.slot", "is an empty list"},
	{"empty object", with(`"cancelationReason":{}`), CodeStructure, "Appointment.cancelationReason", "is empty"},
	{"empty sibling", strings.Replace(patient, `"_birthDate":{"id":"b1",`, `"_gender":{},"_birthDate":{"id":"b1",`, 1), CodeStructure, "Patient.gender", "an object with an id or extensions"},
	{"sibling without value or extension", strings.Replace(patient, `"birthDate":"1961-03-09",`, `"_gender":{"id":"x"},`, 1), CodeStructure, "Patient.gender", "neither a value nor an extension"},
	{"value in a sibling", strings.Replace(patient, `{"id":"b1",`, `{"value":"x",`, 1), CodeStructure, "Patient.birthDate", "only an id and extensions"},
	{"sibling list as object", strings.Replace(patient, `"_given":[null,`, `"_prefix":{"id":"x"},"_given":[null,`, 1), CodeStructure, "Patient.name[0].prefix", "must be a list"},
	{"missing status", strings.Replace(small, `"status":"proposed",`, ``, 1), CodeRequired, "Appointment.status", "Appointment.status is missing: it is required, one of proposed, pending, booked"},
	{"status by extension only", strings.Replace(task, `"status":"requested"`, `"_status":{"extension":[{"url":"http://hl7.org/fhir/StructureDefinition/data-absent-reason","valueCode":"unknown"}]}`, 1), CodeRequired, "Task.status", "is missing"},
	{"missing list", `{"resourceType":"Appointment","status":"proposed"}`, CodeRequired, "Appointment.participant", "is missing"},
	{"missing subject", strings.Replace(procedure, `"subject":{"reference":"Patient/pat-204"},`, ``, 1), CodeRequired, "Procedure.subject", "is missing"},
	{"missing deep inside", swap(`"status": "tentative"`, `"id": "p3"`), CodeRequired, "Appointment.participant[2].status", "accepted, declined, tentative, needs-action"},
	{"missing intent, a plain string in Go", strings.Replace(task, `"intent":"order",`, ``, 1), CodeRequired, "Task.intent", "one of unknown, proposal, plan, order"},
	{"missing medication choice", `{"resourceType":"MedicationStatement","status":"active","subject":{"reference":"Patient/1"}}`, CodeRequired, "MedicationStatement.medication", "one of medicationCodeableConcept, medicationReference is required"},
	{"missing input value", strings.Replace(task, `,"valueDecimal":1.10`, ``, 1), CodeRequired, "Task.input[0].value", "is missing"},
	{"two values", strings.Replace(task, `"valueDecimal":1.10`, `"valueDecimal":1.10,"valueString":"x"`, 1), CodeStructure, "Task.input[0].value", "sent more than once"},
	{"two values of an optional choice", strings.Replace(patient, `"deceasedBoolean":false`, `"deceasedBoolean":false,"deceasedDateTime":"2026"`, 1), CodeStructure, "Patient.deceased", "choose one of deceasedBoolean, deceasedDateTime"},
	{"two values, one by extension", strings.Replace(patient, `"deceasedBoolean":false`, `"deceasedBoolean":false,"_deceasedDateTime":{"extension":[{"url":"u","valueString":"x"}]}`, 1), CodeStructure, "Patient.deceased", "sent more than once"},
}

var badValues = []badInput{
	{"unknown code", strings.Replace(small, "proposed", "planned", 1), CodeInvalidCode, "Appointment.status", "allowed are proposed, pending, booked, arrived, fulfilled, cancelled, noshow, entered-in-error, checked-in, waitlist"},
	{"case of a code", strings.Replace(small, "proposed", "Proposed", 1), CodeInvalidCode, "Appointment.status", "allowed are"},
	{"unknown intent", strings.Replace(task, `"intent":"order"`, `"intent":"wish"`, 1), CodeInvalidCode, "Task.intent", "allowed are unknown, proposal"},
	{"intent that a care plan may not have", `{"resourceType":"CarePlan","status":"active","intent":"filler-order","subject":{"reference":"Patient/1"}}`, CodeInvalidCode, "CarePlan.intent", "allowed are proposal, plan, order, option"},
	{"medication request status", `{"resourceType":"MedicationRequest","status":"paused","intent":"order","medicationCodeableConcept":{"text":"x"},"subject":{"reference":"Patient/1"}}`, CodeInvalidCode, "MedicationRequest.status", "active, on-hold"},
	{"medication request intent", `{"resourceType":"MedicationRequest","status":"active","intent":"x","medicationCodeableConcept":{"text":"x"},"subject":{"reference":"Patient/1"}}`, CodeInvalidCode, "MedicationRequest.intent", "proposal, plan, order"},
	{"medication statement status", `{"resourceType":"MedicationStatement","status":"taking","medicationCodeableConcept":{"text":"x"},"subject":{"reference":"Patient/1"}}`, CodeInvalidCode, "MedicationStatement.status", "not-taken"},
	{"impossible date", strings.Replace(patient, "1961-03-09", "2026-02-30", 1), CodeValue, "Patient.birthDate", "a real calendar date"},
	{"no leap year", strings.Replace(patient, "1961-03-09", "1900-02-29", 1), CodeValue, "Patient.birthDate", "a real calendar date"},
	{"date with a time", strings.Replace(patient, `"birthDate":"1961-03-09"`, `"birthDate":"1961-03-09T00:00:00Z"`, 1), CodeValue, "Patient.birthDate", "a real calendar date"},
	{"instant without zone", swap("2026-11-30T07:30:00-06:00", "2026-11-30T07:30:00"), CodeValue, "Appointment.start", "time, seconds and zone"},
	{"instant without seconds", swap("2026-11-30T07:30:00-06:00", "2026-11-30T07:30-06:00"), CodeValue, "Appointment.start", "time, seconds and zone"},
	{"instant that is a date", swap("2026-11-30T07:30:00-06:00", "2026-11-30"), CodeValue, "Appointment.start", "time, seconds and zone"},
	{"dateTime without zone", with(`"created":"2026-11-30T07:30:00"`), CodeValue, "Appointment.created", "zone"},
	{"hour 24", with(`"created":"2026-11-30T24:00:00Z"`), CodeValue, "Appointment.created", "a real date"},
	{"bad choice date", strings.Replace(patient, `"valueDateTime":"1961-03-09T04:20:00-06:00"`, `"valueDateTime":"09.03.1961"`, 1), CodeValue, "Patient.birthDate.extension[0].valueDateTime", "a real date"},
	{"id with a space", swap("theatre-771", "theatre 771"), CodeValue, "Appointment.id", "1 to 64 letters"},
	{"id of 65", swap("theatre-771", strings.Repeat("a", 65)), CodeValue, "Appointment.id", "1 to 64 letters"},
	{"id with an underscore", swap("theatre-771", "theatre_771"), CodeValue, "Appointment.id", "1 to 64 letters"},
	{"system with a space", swap("https://lakeside.example/order", "lakeside order"), CodeValue, "Appointment.identifier[1].system", "without spaces"},
	{"code with a space at its end", swap(`"609588000"`, `"609588000 "`), CodeValue, "Appointment.serviceType[0].coding[0].code", "without spaces at its ends"},
	{"bad base64", `{"resourceType":"Binary","contentType":"text/plain","data":"a"}`, CodeValue, "Binary.data", "base64"},
	{"bad time", `{"resourceType":"QuestionnaireResponse","status":"completed","item":[{"linkId":"1","answer":[{"valueTime":"7:30"}]}]}`, CodeValue, "QuestionnaireResponse.item[0].answer[0].valueTime", "a time of day"},
}

var badRules = []badInput{
	{"booked without start and end", strings.Replace(small, "proposed", "booked", 1), CodeInvariant, "Appointment.start", "Appointment.start is missing: a booked appointment needs a start and an end"},
	{"arrived without start and end", strings.Replace(small, "proposed", "arrived", 1), CodeInvariant, "Appointment.start", "an arrived appointment"},
	{"start without end", with(`"start":"2026-11-30T07:30:00Z"`), CodeInvariant, "Appointment.end", "both a start and an end, or neither"},
	{"end without start", with(`"end":"2026-11-30T07:30:00Z"`), CodeInvariant, "Appointment.start", "both a start and an end, or neither"},
	{"end before start", swap("2026-11-30T09:30:00-06:00", "2026-11-30T07:00:00-06:00"), CodeBusinessRule, "Appointment.end", "cannot end before it starts"},
	{"reason of a booked one", swap(`"status": "booked"`, `"status": "booked", "cancelationReason": {"text": "x"}`), CodeInvariant, "Appointment.cancelationReason", "cancelled or noshow"},
	{"participant without type and actor", strings.Replace(small, `"actor":{"display":"x"},`, ``, 1), CodeInvariant, "Appointment.participant[0]", "needs a type or an actor"},
	{"period backwards", strings.Replace(task, `"end":"2026-11-16"`, `"end":"2026-10-04"`, 1), CodeInvariant, "Task.restriction.period.end", "cannot end before it starts"},
	{"period backwards by zone", `{"resourceType":"Encounter","status":"planned","class":{"code":"AMB"},"period":{"start":"2026-11-30T07:00:00-06:00","end":"2026-11-30T12:59:59Z"}}`, CodeInvariant, "Encounter.period.end", "cannot end before it starts"},
	{"empty reference", strings.Replace(procedure, `{"reference":"Patient/pat-204"}`, `{"type":"Patient"}`, 1), CodeInvariant, "Procedure.subject", "needs a reference, an identifier or a display"},
	{"dangling contained reference", swap("#surgeon", "#nurse"), CodeInvariant, "Appointment.participant[1].actor.reference", "contained resource that is not there"},
	{"# outside a contained resource", swap("#surgeon", "#"), CodeInvariant, "Appointment.participant[1].actor.reference", "contained resource that is not there"},
	{"contained in contained", swap(`"id": "surgeon",`, `"id": "surgeon", "contained": [{"resourceType":"Patient","id":"x"}],`), CodeStructure, "Appointment.contained[0].contained[0]", "do not nest"},
	{"contained without type", swap(`{"resourceType": "Practitioner", "id": "surgeon"`, `{"id": "surgeon"`), CodeRequired, "Appointment.contained[0]", "resourceType is missing"},
	{"contained of unknown type", swap(`"Practitioner", "id"`, `"Surgeon", "id"`), CodeNotSupported, "Appointment.contained[0]", "not one of the resource types"},
	{"bad element in contained", swap(`["Thandi"]`, `"Thandi"`), CodeStructure, "Appointment.contained[0].name[0].given", "takes a list"},
	{"same contained id twice", swap(`"contained": [`, `"contained": [{"resourceType":"Patient","id":"surgeon"},`), CodeDuplicate, "Appointment.contained[1].id", "same id"},
	{"extension without value", swap(`, "valueDecimal": 1.10`, ``), CodeInvariant, "Appointment.extension[0]", "needs a value or extensions"},
	{"extension with both", swap(`"valueDecimal": 1.10`, `"valueDecimal": 1.10, "extension":[{"url":"u","valueString":"x"}]`), CodeInvariant, "Appointment.extension[0]", "not both"},
	{"modified before authored", strings.Replace(task, "2026-10-02T08:00:00Z", "2026-09-30T08:00:00Z", 1), CodeInvariant, "Task.lastModified", "before authoredOn"},
	{"entry without its own rules", bundle("transaction", entry(urn1, strings.Replace(small, "proposed", "booked", 1), "POST", "Appointment")), CodeInvariant, "Bundle.entry[0].resource.start", "Bundle.entry[0].resource.start is missing"},
	{"entry with a bad code", bundle("transaction", entry(urn2, procedure, "POST", "Procedure"), entry(urn1, strings.Replace(small, "proposed", "x", 1), "POST", "Appointment")), CodeInvalidCode, "Bundle.entry[1].resource.status", "Bundle.entry[1].resource.status has a code"},
	{"entry method", bundle("transaction", entry(urn1, small, "MERGE", "Appointment")), CodeInvalidCode, "Bundle.entry[0].request.method", "GET, HEAD, POST, PUT, DELETE, PATCH"},
}

func TestParseRefuses(t *testing.T) {
	for _, table := range [][]badInput{badSyntax, badElements, badValues, badRules} {
		for _, tc := range table {
			t.Run(tc.name, func(t *testing.T) {
				r, issues := Parse([]byte(tc.in), 0)
				require.NotEmpty(t, issues, "accepted")
				require.Nil(t, r)
				for _, i := range issues {
					if i.Code == tc.code && i.Expression == tc.expression && strings.Contains(i.Text, tc.text) {
						return
					}
				}
				require.Failf(t, "not among the issues", "want %s at %q: %s\ngot %+v", tc.code, tc.expression, tc.text, issues)
			})
		}
	}
}

func TestParseRefusesOnlyOnce(t *testing.T) {
	for _, table := range [][]badInput{badValues, badRules} {
		for _, tc := range table {
			_, issues := Parse([]byte(tc.in), 0)
			require.Len(t, issues, 1, tc.name)
		}
	}
}

func TestParseSizeLimit(t *testing.T) {
	_, issues := Parse([]byte(small), len(small)-1)
	require.Len(t, issues, 1)
	require.Equal(t, CodeTooLong, issues[0].Code)
	r, issues := Parse([]byte(small), len(small))
	require.Nil(t, issues)
	require.Equal(t, "Appointment", r.Type)
	_, issues = Parse([]byte(strings.Repeat(" ", MaxResourceBytes)+small), 0)
	require.True(t, issues.Has(CodeTooLong), "the default limit is 1 MiB")
}

func TestParseDepthLimitIsExact(t *testing.T) {
	deep := func(levels int) string { // each extension adds two levels
		return `{"resourceType":"Basic","code":{"text":"x"},"extension":` + strings.Repeat(`[{"url":"u","extension":`, levels) +
			`[{"url":"u","valueCoding":{"code":"x"}}]` + strings.Repeat(`}]`, levels) + `}`
	}
	_, issues := Parse([]byte(deep(14)), 0) // 1 + 28 + 3
	require.Nil(t, issues)
	_, issues = Parse([]byte(deep(15)), 0)
	require.True(t, issues.Has(CodeTooCostly))
}

func TestParseAccepts(t *testing.T) {
	good := map[string]string{
		"booked": booked, "small": small, "patient": patient, "procedure": procedure, "task": task, "transaction": transaction,
		"waitlisted without times":      strings.Replace(small, "proposed", "waitlist", 1),
		"no-show with a reason":         swap(`"status": "booked"`, `"status": "noshow", "cancelationReason": {"text": "x"}`),
		"white space around":            "\n\t " + small + " \r\n",
		"# inside a contained resource": swap(`"id": "surgeon",`, `"id": "surgeon", "extension": [{"url":"u","valueReference":{"reference":"#"}}],`),
		"leap second":                   with(`"created":"2016-12-31T23:59:60Z"`),
		"parameters without any":        `{"resourceType":"Parameters"}`,
		"period of a day and an instant of it": `{"resourceType":"Encounter","status":"planned","class":{"code":"AMB"},
			"period":{"start":"2026-11-30T23:00:00-06:00","end":"2026-11-30"}}`,
		"subject by extension": strings.Replace(procedure, `{"reference":"Patient/pat-204"}`,
			`{"extension":[{"url":"http://hl7.org/fhir/StructureDefinition/data-absent-reason","valueCode":"unknown"}]}`, 1),
		"required text by extension": `{"resourceType":"Communication","status":"completed","payload":[{"_contentString":
			{"extension":[{"url":"http://hl7.org/fhir/StructureDefinition/data-absent-reason","valueCode":"masked"}]}}]}`,
	}
	for name, in := range good {
		t.Run(name, func(t *testing.T) {
			r, issues := Parse([]byte(in), 0)
			require.Nil(t, issues)
			require.Equal(t, in, string(r.Raw))
		})
	}
}

// Texts and expressions may be logged: nothing that was sent may be in them.
func TestIssueTextsKeepWhatWasSentOut(t *testing.T) {
	const canary = "Zebrafish"
	for _, body := range []string{
		`{"resourceType":"Zebrafish"}`, `{"resourceType":"Patient","Zebrafish":1}`, `{"resourceType":"Patient","_Zebrafish":1}`,
		`{"resourceType":"Patient","Zebrafish":1,"Zebrafish":2}`, `{"resourceType":"Patient","Zebrafish":{"Zebrafish":{"a":1,"a":2}}}`,
		`{"resourceType":"Patient","birthDate":"Zebrafish"}`, `{"resourceType":"Patient","gender":"Zebrafish"}`,
		`{"resourceType":"Patient","id":"Zebrafish!"}`, `{"resourceType":"Patient","name":[{"family":Zebrafish}]}`,
		`{"resourceType":"Patient","_birthDate":{"Zebrafish":1}}`, `{"resourceType":"Patient","name":"Zebrafish"}`,
		`{"resourceType":"Patient","link":[{"other":{"reference":"#Zebrafish"},"type":"seealso"}]}`,
		strings.Replace(small, "proposed", canary, 1), strings.Replace(task, "requested", canary, 1),
		bundle("transaction", entry("Zebrafish", small, "POST", "Zebrafish")), bundle("transaction", entry(urn1, small, "PUT", "http://Zebrafish/Appointment/1")),
	} {
		r, issues := Parse([]byte(body), 0)
		if issues == nil {
			_, issues = r.Bundle(0)
		}
		require.NotEmpty(t, issues, body)
		require.NotContains(t, issues.Error(), canary)
		require.NotContains(t, issues.Error(), "zebrafish")
	}
}

func TestTooManyIssuesAreCut(t *testing.T) {
	body := `{"resourceType":"Patient","name":[` + strings.Repeat(`{"given":7},`, 500) + `{"given":7}]}`
	_, issues := Parse([]byte(body), 0)
	require.Len(t, issues, maxIssues)
	require.Contains(t, issues[maxIssues-1].Text, "further issues are left out")
}

func TestDecode(t *testing.T) {
	r, issues := Parse([]byte(booked), 0)
	require.Nil(t, issues)
	var a r4.Appointment
	require.NoError(t, r.Decode(&a))
	require.Equal(t, r4.AppointmentStatusBooked, a.Status)
	require.Equal(t, json.Number("1.10"), *a.Extension[0].ValueDecimal)
	var wrong r4.Task
	require.ErrorIs(t, r.Decode(&wrong), ErrWrongType)
	require.ErrorIs(t, r.Decode(a), ErrWrongType)
	require.ErrorIs(t, r.Decode(nil), ErrWrongType)

	r, issues = Parse([]byte(task), 0)
	require.Nil(t, issues)
	var own Task
	require.NoError(t, r.Decode(&own))
	require.Equal(t, json.Number("1.10"), *own.Input[0].ValueDecimal)
}

func TestTreeReadsWhatTheStructsDrop(t *testing.T) {
	r, issues := Parse([]byte(booked), 0)
	require.Nil(t, issues)
	require.Equal(t, "desk 4", r.String("_description", "extension", "valueString"))
	require.Equal(t, "Okonjo-Vale", r.Contained("surgeon").String("name", "family"))
	require.Nil(t, r.Contained("nurse"))
	require.Equal(t, "1.10", r.Get("extension", "valueDecimal").Text())
	require.Equal(t, "TB-2026-00771", r.String("identifier", "value"))
	require.Equal(t, 3, r.Get("participant").Len())
	require.Equal(t, "Location/theatre-3", r.Get("participant").Item(2).String("actor", "reference"))
	require.Nil(t, r.Get("participant").Item(3))
	require.False(t, r.Get("participant", "actor", "reference", "nothing").Exists())
	minutes, ok := r.Get("minutesDuration").Int()
	require.True(t, ok)
	require.Equal(t, 120, minutes)
	require.Equal(t, `{"reference": "#surgeon"}`, string(r.Bytes(r.Get("participant").Item(1).Get("actor"))))
	require.Equal(t, `"surgeon"`, string(r.Contained("surgeon").Bytes(r.Contained("surgeon").Get("id"))))
	var names []string
	for name := range r.Root().Members() {
		names = append(names, name)
	}
	require.Equal(t, []string{"resourceType", "id", "meta"}, names[:3])
	seen := 0
	for range r.Get("status").Items() {
		seen++
	}
	require.Equal(t, 1, seen, "a single value counts as one item")
}

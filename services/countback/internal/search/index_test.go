package search

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
)

const testBase = "https://countback.example/fhir"

func chicago(t testing.TB) *time.Location {
	t.Helper()
	zone, err := time.LoadLocation("America/Chicago")
	require.NoError(t, err)
	return zone
}

func parsed(t testing.TB, body string) *fhir.Resource {
	t.Helper()
	r, issues := fhir.Parse([]byte(body), 1<<20)
	require.NoError(t, issues.Err())
	return r
}

// us is an instant in microseconds.
func us(s string) int64 {
	at, err := time.Parse(time.RFC3339Nano, s)
	if err != nil {
		panic(err)
	}
	return at.UnixMicro()
}

func token(param, system, value string) Value {
	return Value{Param: param, Kind: Token, System: system, Value: value}
}

func ref(param, typ, id string) Value {
	return Value{Param: param, Kind: Reference, System: typ, Value: id}
}

func date(param, low, high string) Value {
	v := Value{Param: param, Kind: Date, Low: Earliest, High: Latest}
	if low != "" {
		v.Low = us(low)
	}
	if high != "" {
		v.High = us(high)
	}
	return v
}

func text(param, written, folded string) Value {
	return Value{Param: param, Kind: String, System: written, Value: folded}
}

var resources = map[string]struct {
	body string
	want []Value
}{
	"appointment: actors of all types, an instant is a point": {
		`{"resourceType":"Appointment","status":"booked","start":"2026-11-03T07:30:00-06:00","end":"2026-11-03T09:30:00-06:00",
		"identifier":[{"system":"urn:oid:2.999.1","value":"A1"},{"value":"no-system"}],
		"basedOn":[{"reference":"ServiceRequest/sr"}],
		"participant":[{"actor":{"reference":"Patient/p"},"status":"accepted"},
		{"actor":{"reference":"https://countback.example/fhir/Practitioner/dr"},"status":"accepted"},
		{"actor":{"identifier":{"system":"s","value":"v"}},"status":"accepted"},
		{"actor":{"reference":"Patient/p"},"status":"accepted"}]}`,
		[]Value{token("identifier", "urn:oid:2.999.1", "A1"), token("identifier", "", "no-system"),
			ref("actor", "Patient", "p"), ref("actor", "Practitioner", "dr"), token("actor:identifier", "s", "v"),
			token("status", "http://hl7.org/fhir/appointmentstatus", "booked"),
			date("date", "2026-11-03T13:30:00Z", "2026-11-03T13:30:00.000001Z"),
			ref("based-on", "ServiceRequest", "sr")},
	},
	"procedure: a day in the zone, all codings": {
		`{"resourceType":"Procedure","status":"preparation","subject":{"reference":"Patient/p"},"performedDateTime":"2026-11-01",
		"code":{"coding":[{"system":"http://snomed.info/sct","code":"52734007"},{"code":"local"}]}}`,
		[]Value{ref("subject", "Patient", "p"), token("status", "http://hl7.org/fhir/event-status", "preparation"),
			token("code", "http://snomed.info/sct", "52734007"), token("code", "", "local"),
			// 25 hours: the clocks go back on that day in Chicago.
			date("date", "2026-11-01T05:00:00Z", "2026-11-02T06:00:00Z")},
	},
	"procedure: a period without end": {
		`{"resourceType":"Procedure","status":"in-progress","subject":{"reference":"https://other.example/fhir/Patient/p"},
		"performedPeriod":{"start":"2026-11-03T08:00:00Z"}}`,
		[]Value{ref("subject", "", "https://other.example/fhir/Patient/p"), token("status", "http://hl7.org/fhir/event-status", "in-progress"),
			date("date", "2026-11-03T08:00:00Z", "")},
	},
	"service request: timing": {
		`{"resourceType":"ServiceRequest","status":"active","intent":"order","subject":{"reference":"Patient/p"},"authoredOn":"2026",
		"occurrenceTiming":{"event":["2026-11-03T08:00:00Z","2026-11-04T08:00:00Z"]}}`,
		[]Value{ref("subject", "Patient", "p"), token("status", "http://hl7.org/fhir/request-status", "active"),
			date("occurrence", "2026-11-03T08:00:00Z", "2026-11-03T08:00:01Z"), date("occurrence", "2026-11-04T08:00:00Z", "2026-11-04T08:00:01Z"),
			date("authored", "2026-01-01T06:00:00Z", "2027-01-01T06:00:00Z")},
	},
	"service request: timing with bounds": {
		`{"resourceType":"ServiceRequest","status":"active","intent":"order","subject":{"reference":"Patient/p"},
		"occurrenceTiming":{"repeat":{"boundsPeriod":{"end":"2026-11-04"}}}}`,
		[]Value{ref("subject", "Patient", "p"), token("status", "http://hl7.org/fhir/request-status", "active"),
			date("occurrence", "", "2026-11-05T06:00:00Z")},
	},
	"patient: parts of all names": {
		`{"resourceType":"Patient","gender":"female","birthDate":"1950-02-03","name":[{"family":"Müller-Zöll","given":["Zoë","B."],"text":"Zoë Müller-Zöll"}]}`,
		[]Value{text("name", "Müller-Zöll", "muller-zoll"), text("name", "Zoë", "zoe"), text("name", "B.", "b."),
			text("name", "Zoë Müller-Zöll", "zoe muller-zoll"), text("family", "Müller-Zöll", "muller-zoll"),
			text("given", "Zoë", "zoe"), text("given", "B.", "b."),
			token("gender", "http://hl7.org/fhir/administrative-gender", "female"), date("birthdate", "1950-02-03T06:00:00Z", "1950-02-04T06:00:00Z")},
	},
	"care plan: canonical with and without version": {
		`{"resourceType":"CarePlan","status":"active","intent":"plan","subject":{"reference":"Patient/p"},"instantiatesCanonical":["http://a.example/P|1","http://a.example/Q"]}`,
		[]Value{ref("subject", "Patient", "p"), token("status", "http://hl7.org/fhir/request-status", "active"),
			{Param: "instantiates-canonical", Kind: URI, System: "1", Value: "http://a.example/P"},
			{Param: "instantiates-canonical", Kind: URI, Value: "http://a.example/Q"}},
	},
	"provenance": {
		`{"resourceType":"Provenance","recorded":"2026-11-03T08:00:00.123456789Z","target":[{"reference":"Task/t/_history/2"},{"reference":"urn:uuid:c757873d-ec9a-4326-a141-556f43239520"}],"agent":[{"who":{"display":"x"}}]}`,
		[]Value{date("recorded", "2026-11-03T08:00:00.123456Z", "2026-11-03T08:00:00.123457Z")},
	},
	"a type that is not in the table": {`{"resourceType":"Basic","code":{"text":"x"}}`, nil},
}

func TestIndex(t *testing.T) {
	for name, tt := range resources {
		t.Run(name, func(t *testing.T) {
			require.Equal(t, tt.want, Index(parsed(t, tt.body), testBase, chicago(t)))
		})
	}
}

func TestFold(t *testing.T) {
	for in, want := range map[string]string{
		"Smith": "smith", "ÅNGSTRÖM": "angstrom", "Łódź": "lodz", "straße": "strasse", "Æon œuvre": "aeon oeuvre",
		"e\u0301te\u0301": "ete", "  two \t words ": "two words", "": "", "Ελένη": "ελένη", "12-3": "12-3",
	} {
		require.Equal(t, want, fold(in), in)
	}
}

// Definitions and types as in the SearchParameter resources of FHIR R4 (4.0.1),
// Bundle-searchParams.json of the package hl7.fhir.r4.examples. The two of our
// own stand last.
var published = map[string]string{
	"Appointment": `actor reference Appointment-actor; based-on reference Appointment-based-on; date date Appointment-date;
		identifier token Appointment-identifier; location reference Appointment-location; patient reference Appointment-patient;
		practitioner reference Appointment-practitioner; status token Appointment-status`,
	"CarePlan": `date date clinical-date; identifier token clinical-identifier; instantiates-canonical reference CarePlan-instantiates-canonical;
		patient reference clinical-patient; status token CarePlan-status; subject reference CarePlan-subject`,
	"CareTeam": `identifier token clinical-identifier; participant reference CareTeam-participant; patient reference clinical-patient;
		status token CareTeam-status; subject reference CareTeam-subject`,
	"Encounter": `appointment reference Encounter-appointment; date date clinical-date; identifier token clinical-identifier;
		patient reference clinical-patient; status token Encounter-status; subject reference Encounter-subject`,
	"Flag":     `date date clinical-date; identifier token Flag-identifier; patient reference clinical-patient; subject reference Flag-subject`,
	"Location": `identifier token Location-identifier; name string Location-name; status token Location-status`,
	"Patient": `birthdate date individual-birthdate; family string individual-family; gender token individual-gender; given string individual-given;
		identifier token Patient-identifier; name string Patient-name`,
	"Practitioner": `family string individual-family; given string individual-given; identifier token Practitioner-identifier; name string Practitioner-name`,
	"Procedure": `based-on reference Procedure-based-on; code token clinical-code; date date clinical-date; encounter reference clinical-encounter;
		identifier token clinical-identifier; patient reference clinical-patient; status token Procedure-status; subject reference Procedure-subject`,
	"Provenance":    `patient reference Provenance-patient; recorded date Provenance-recorded`,
	"RelatedPerson": `identifier token RelatedPerson-identifier; name string RelatedPerson-name; patient reference RelatedPerson-patient; relationship token RelatedPerson-relationship`,
	"ServiceRequest": `authored date ServiceRequest-authored; based-on reference ServiceRequest-based-on; code token clinical-code; identifier token clinical-identifier;
		occurrence date ServiceRequest-occurrence; patient reference clinical-patient; status token ServiceRequest-status; subject reference ServiceRequest-subject`,
	"Condition": `clinical-status token Condition-clinical-status; code token clinical-code; identifier token clinical-identifier;
		patient reference clinical-patient; subject reference Condition-subject`,
	"Observation": `code token clinical-code; date date clinical-date; identifier token clinical-identifier;
		patient reference clinical-patient; status token Observation-status; subject reference Observation-subject`,
	"DiagnosticReport": `code token clinical-code; date date clinical-date; identifier token clinical-identifier;
		patient reference clinical-patient; status token DiagnosticReport-status; subject reference DiagnosticReport-subject`,
	"QuestionnaireResponse": `authored date QuestionnaireResponse-authored; identifier token QuestionnaireResponse-identifier; patient reference QuestionnaireResponse-patient;
		questionnaire reference QuestionnaireResponse-questionnaire; status token QuestionnaireResponse-status; subject reference QuestionnaireResponse-subject`,
	"MedicationStatement": `code token clinical-code; effective date MedicationStatement-effective; identifier token clinical-identifier;
		patient reference clinical-patient; status token medications-status; subject reference MedicationStatement-subject`,
	"MedicationRequest": `authoredon date MedicationRequest-authoredon; code token clinical-code; identifier token clinical-identifier;
		patient reference clinical-patient; status token medications-status; subject reference MedicationRequest-subject`,
	"AllergyIntolerance": `clinical-status token AllergyIntolerance-clinical-status; code token clinical-code; identifier token clinical-identifier;
		patient reference clinical-patient`,
	"PlanDefinition": `identifier token PlanDefinition-identifier; status token PlanDefinition-status; url uri PlanDefinition-url; version token PlanDefinition-version`,
	"ValueSet":       `identifier token conformance-identifier; status token conformance-status; url uri conformance-url; version token conformance-version`,
	"Questionnaire":  `status token Questionnaire-status; title string Questionnaire-title; url uri Questionnaire-url`,
	"Task": `business-status token Task-business-status; code token Task-code; group-identifier token Task-group-identifier; identifier token Task-identifier;
		owner reference Task-owner; patient reference Task-patient; status token Task-status`,
}

func TestTable(t *testing.T) {
	const base = "http://hl7.org/fhir/SearchParameter/"
	require.Len(t, Types(), len(published))
	for typ, list := range published {
		want := map[string][2]string{"_id": {"token", base + "Resource-id"}, "_lastUpdated": {"date", base + "Resource-lastUpdated"}}
		for _, line := range splitUnescaped(list, ';') {
			var code, kind, definition string
			fields(line, &code, &kind, &definition)
			want[code] = [2]string{kind, base + definition}
		}
		if typ == "Task" {
			want["due"] = [2]string{"date", "http://countback.example/fhir/SearchParameter/task-due"}
			want["opens"] = [2]string{"date", "http://countback.example/fhir/SearchParameter/task-opens"}
		}
		if typ == "Flag" {
			want["status"] = [2]string{"token", "http://countback.example/fhir/SearchParameter/flag-status"}
		}
		got := map[string][2]string{}
		for _, p := range For(typ) {
			got[p.Code] = [2]string{p.Kind.String(), p.Definition}
			for _, target := range p.Targets {
				require.True(t, fhir.IsResourceType(target), target)
			}
			if p.only != "" { // shared rows exist
				_, ok := Lookup(typ, p.rows)
				require.True(t, ok, typ+" "+p.Code)
			}
		}
		require.Equal(t, want, got, typ)
	}
	require.Nil(t, For("Basic"))
	_, ok := Lookup("Task", "focus")
	require.False(t, ok)
}

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
			token("part-status", "http://hl7.org/fhir/participationstatus", "accepted"),
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
			token("intent", "http://hl7.org/fhir/request-intent", "order"), date("authored", "2026-01-01T06:00:00Z", "2027-01-01T06:00:00Z")},
	},
	"service request: timing with bounds": {
		`{"resourceType":"ServiceRequest","status":"active","intent":"order","subject":{"reference":"Patient/p"},
		"occurrenceTiming":{"repeat":{"boundsPeriod":{"end":"2026-11-04"}}}}`,
		[]Value{ref("subject", "Patient", "p"), token("status", "http://hl7.org/fhir/request-status", "active"),
			token("intent", "http://hl7.org/fhir/request-intent", "order"), date("occurrence", "", "2026-11-05T06:00:00Z")},
	},
	"patient: parts of all names": {
		`{"resourceType":"Patient","gender":"female","birthDate":"1950-02-03","name":[{"family":"Müller-Zöll","given":["Zoë","B."],"text":"Zoë Müller-Zöll"}]}`,
		[]Value{text("name", "Müller-Zöll", "muller-zoll"), text("name", "Zoë", "zoe"), text("name", "B.", "b."),
			text("name", "Zoë Müller-Zöll", "zoe muller-zoll"), text("family", "Müller-Zöll", "muller-zoll"),
			text("given", "Zoë", "zoe"), text("given", "B.", "b."),
			token("deceased", "", "false"),
			token("gender", "http://hl7.org/fhir/administrative-gender", "female"), date("birthdate", "1950-02-03T06:00:00Z", "1950-02-04T06:00:00Z")},
	},
	"care plan: canonical with and without version": {
		`{"resourceType":"CarePlan","status":"active","intent":"plan","subject":{"reference":"Patient/p"},"instantiatesCanonical":["http://a.example/P|1","http://a.example/Q"]}`,
		[]Value{ref("subject", "Patient", "p"), token("status", "http://hl7.org/fhir/request-status", "active"),
			token("intent", "http://hl7.org/fhir/request-intent", "plan"),
			{Param: "instantiates-canonical", Kind: URI, System: "1", Value: "http://a.example/P"},
			{Param: "instantiates-canonical", Kind: URI, Value: "http://a.example/Q"}},
	},
	"provenance": {
		`{"resourceType":"Provenance","recorded":"2026-11-03T08:00:00.123456789Z","target":[{"reference":"Task/t.0001/_history/2"},{"reference":"Task/t.0002/_history/1"},{"reference":"urn:uuid:c757873d-ec9a-4326-a141-556f43239520"}],"agent":[{"who":{"display":"x"}}]}`,
		[]Value{ref("target", "Task", "t"), ref("target", "", "urn:uuid:c757873d-ec9a-4326-a141-556f43239520"), date("recorded", "2026-11-03T08:00:00.123456Z", "2026-11-03T08:00:00.123457Z")},
	},
	"what meta and addresses say, ways to be reached, and a death": {
		`{"resourceType":"Patient","meta":{"source":"https://a.example/feed","profile":["http://a.example/P"],"tag":[{"system":"s","code":"t"}],
		"security":[{"system":"s","code":"R"}]},"active":true,"deceasedDateTime":"2026-11-03","telecom":[{"system":"phone","value":"555-0100"},{"system":"email","value":"a@b.example"}],
		"address":[{"use":"home","line":["1 Elm"],"city":"Larkspindle","postalCode":"00001"}]}`,
		[]Value{token("_tag", "s", "t"), token("_security", "s", "R"), {Param: "_profile", Kind: URI, Value: "http://a.example/P"},
			{Param: "_source", Kind: URI, Value: "https://a.example/feed"}, token("active", "", "true"), token("deceased", "", "true"),
			date("death-date", "2026-11-03T06:00:00Z", "2026-11-04T06:00:00Z"), token("phone", "phone", "555-0100"), token("email", "email", "a@b.example"),
			token("telecom", "phone", "555-0100"), token("telecom", "email", "a@b.example"), text("address", "1 Elm", "1 elm"),
			text("address", "Larkspindle", "larkspindle"), text("address", "00001", "00001"), text("address-city", "Larkspindle", "larkspindle"),
			text("address-postalcode", "00001", "00001"), token("address-use", "http://hl7.org/fhir/address-use", "home")},
	},
	"an identifier by its type": {
		`{"resourceType":"Location","identifier":[{"type":{"coding":[{"system":"http://terminology.hl7.org/CodeSystem/v2-0203","code":"MR"}]},"system":"s","value":"1"}]}`,
		[]Value{token("identifier", "s", "1"), token("identifier:of-type", "http://terminology.hl7.org/CodeSystem/v2-0203|MR", "1")},
	},
	"an observation by its parts": {
		`{"resourceType":"Observation","status":"final","code":{"coding":[{"system":"l","code":"1"}]},"valueCodeableConcept":{"coding":[{"system":"s","code":"v"}],"text":"Ähnlich"},
		"component":[{"code":{"coding":[{"system":"l","code":"2"}]}}]}`,
		[]Value{token("status", "http://hl7.org/fhir/observation-status", "final"), token("code", "l", "1"), token("combo-code", "l", "1"),
			token("combo-code", "l", "2"), token("component-code", "l", "2"), token("value-concept", "s", "v"), token("combo-value-concept", "s", "v"),
			text("value-string", "Ähnlich", "ahnlich"), text("value-concept:text", "Ähnlich", "ahnlich"), text("combo-value-concept:text", "Ähnlich", "ahnlich")},
	},
	"an encounter, its class and rooms": {
		`{"resourceType":"Encounter","status":"planned","class":{"system":"c","code":"IMP"},"location":[{"location":{"reference":"Location/l"},"period":{"start":"2026-11-03T08:00:00Z"}}]}`,
		[]Value{token("status", "http://hl7.org/fhir/encounter-status", "planned"), token("class", "c", "IMP"), ref("location", "Location", "l"),
			date("location-period", "2026-11-03T08:00:00Z", "")},
	},
	"a type that is not in the table": {`{"resourceType":"Basic","code":{"text":"x"}}`, nil},
}

func TestIndex(t *testing.T) {
	for name, tt := range resources {
		t.Run(name, func(t *testing.T) {
			require.ElementsMatch(t, tt.want, Index(parsed(t, tt.body), testBase, chicago(t)))
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

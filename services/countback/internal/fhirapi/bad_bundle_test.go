package fhirapi

import (
	"fmt"
	"strings"
	"testing"
)

// bundleRows are faults of a transaction, each beside a sound entry that must
// not be stored either.
func bundleRows(t *testing.T, s seed) []badRow {
	type row struct {
		name, body             string
		header                 []string
		status                 int
		code, expression, text string
	}
	sound := entry(patientURN, "POST", "Patient", patient("8"))
	beside := func(entries ...string) string { return bundleOf("transaction", append([]string{sound}, entries...)...) }
	put := func(id string) string {
		return entry("", "PUT", "Patient/"+id, with(t, patient("9"), `",`, `","id":"`+id+`",`))
	}
	fault := with(t, booking("9", patientURN, s.ref(s.order)), `"status":"booked",`, "")
	unnamed := with(t, booking("9", s.ref(s.patient), s.ref(s.order)), `"identifier":[{"system":"`+bookingSystem+`","value":"canary-b9"}],`, "")
	many := make([]string, 21)
	for n := range many {
		many[n] = entry("", "POST", "Patient", patient(fmt.Sprint("many", n)))
	}
	in := func(element string) string { return "Bundle.entry[1]." + element }
	var out []badRow
	for _, r := range []row{
		{"no bundle", patient("9"), nil, 400, "structure", "Patient", "this address takes a Bundle"},
		{"a bundle that asks for nothing", `{"resourceType":"Bundle","type":"collection"}`, nil, 422, "not-supported", "Bundle.type", "must be transaction or batch"},
		{"a bundle without a type", `{"resourceType":"Bundle"}`, nil, 400, "required", "Bundle.type", "is missing"},
		{"a bundle of a type that R4 has not", `{"resourceType":"Bundle","type":"canary"}`, nil, 400, "code-invalid", "Bundle.type", "allowed are"},
		{"an entry without a request", beside(`{"resource":` + patient("9") + `}`), nil, 400, "required", in("request"), "bdl-3"},
		{"an update without a resource", beside(entry("", "PUT", "Patient/canary", "")), nil, 400, "required", in("resource"), "bdl-5"},
		{"an entry for another type", beside(entry("", "POST", "Appointment", patient("9"))), nil, 422, "invariant", in("request.url"), "names Appointment, but the resource is of type Patient"},
		{"an entry under another id", beside(entry("", "PUT", "Patient/canary", patient("9"))), nil, 422, "invariant", in("resource.id"), "must be the id that request.url names"},
		{"two entries of one name", beside(sound), nil, 422, "duplicate", in("fullUrl"), "bdl-7"},
		{"two changes of one resource", bundleOf("transaction", put("canary"), put("canary")), nil, 422, "duplicate", in("request.url"), "a transaction may do so once"},
		{"two entries that mean one resource", bundleOf("transaction",
			entry("", "PUT", "Patient?identifier="+personSystem+"|canary-p1", patient("1")),
			entry("", "PUT", s.ref(s.patient), with(t, patient("1"), `",`, `","id":"`+strings.TrimPrefix(s.ref(s.patient), "Patient/")+`",`))),
			nil, 422, "duplicate", in("resource"), "the same Patient as another entry"},
		{"a condition of a create at an update", beside(entry("", "PUT", "Patient/canary", with(t, patient("9"), `",`, `","id":"canary",`), `"ifNoneExist":"identifier=a|b"`)), nil, 422, "invariant", in("request.ifNoneExist"), "is for POST only"},
		{"a condition of a read at an update", beside(entry("", "PUT", "Patient/canary", with(t, patient("9"), `",`, `","id":"canary",`), `"ifNoneMatch":"*"`)), nil, 400, "invariant", in("request.ifNoneMatch"), "belongs to a read"},
		{"a version that is none", beside(entry("", "PUT", "Patient/canary", with(t, patient("9"), `",`, `","id":"canary",`), `"ifMatch":"canary"`)), nil, 400, "value", in("request.ifMatch"), `such as W/"3"`},
		{"an old version", beside(entry("", "PUT", s.ref(s.order), with(t, order("1", patientURN), `",`, `","id":"`+strings.TrimPrefix(s.ref(s.order), "ServiceRequest/")+`",`), `"ifMatch":"W/\"9\""`)), nil, 412, "conflict", in("resource"), "has changed since"},
		{"an address of another server", beside(entry("", "POST", "https://canary.example/fhir/Patient", patient("9"))), nil, 400, "value", in("request.url"), "relative to the base"},
		{"a deletion", beside(entry("", "DELETE", s.ref(s.patient), "")), nil, 409, "conflict", in("resource"), "while something about the person is held"},
		{"a patch", beside(entry("", "PATCH", s.ref(s.patient), `{"resourceType":"Binary","contentType":"text/plain","data":"YQ=="}`)), nil, 415, "not-supported", in("resource"), "a PATCH is a Parameters resource"},
		{"an operation", beside(entry("", "POST", "Patient/$canary", "")), nil, 422, "not-supported", in("request.url"), "no operations"},
		{"a history of too much", beside(entry("", "GET", "Patient/1/_history/1/1", "")), nil, 422, "not-supported", in("request.url"), "no operations"},
		{"a type that is not served", beside(entry("", "POST", "Medication", `{"resourceType":"Medication"}`)), nil, 422, "not-supported", in("request.url"), "Medication is not served here"},
		{"a plan from outside", beside(entry("", "PUT", "CarePlan/canary", `{"resourceType":"CarePlan","id":"canary","status":"active","intent":"plan","subject":{"display":"canary"}}`)), nil, 422, "not-supported", in("request.method"), "this service makes it"},
		{"a Task among others", beside(entry("", "PUT", "Task/canary", `{"resourceType":"Task","id":"canary","status":"completed","intent":"order"}`)), nil, 422, "business-rule", in("request.url"), "one by one"},
		{"a read with a resource", beside(entry("", "GET", "Patient/canary", patient("9"))), nil, 422, "invariant", in("resource"), "does not belong to a GET"},
		{"a search that is none", beside(entry("", "GET", "Patient?birthdate=canary", "")), nil, 400, "value", in("request.url"), "not a valid date"},
		{"a fault inside an entry", beside(entry("", "POST", "Appointment", fault)), nil, 400, "required", in("resource.status"), "is missing"},
		{"a name that no entry has", beside(entry("", "POST", "ServiceRequest", order("9", orderURN))), nil, 422, "not-found", in("resource"), "not in this bundle"},
		{"a person by a number that nobody has", beside(entry("", "POST", "ServiceRequest", order("9", "Patient?identifier="+personSystem+"|canary-none"))), nil, 412, "not-found", in("resource"), "not exactly one is held"},
		{"a create if none, and two are", beside(entry("", "POST", "RelatedPerson", `{"resourceType":"RelatedPerson","patient":{"reference":"`+patientURN+`"}}`, `"ifNoneExist":"_sort=name"`)), nil, 400, "value", in("resource"), "says by search parameters of RelatedPerson"},
		{"a booking that nobody could find again", beside(entry("", "POST", "Appointment", unnamed)), nil, 422, "required", in("resource.identifier"), "a booking for a joint replacement needs an identifier"},
		{"one entry too large", beside(entry("", "POST", "Patient", with(t, patient("9"), "Canaryfeather", strings.Repeat("Canary", 200_000)))), nil, 413, "too-long", in("resource"), "allowed for one"},
		{"too many entries", bundleOf("transaction", many...), nil, 413, "too-costly", "Bundle.entry", "more than the 20 entries"},
		{"a batch with too many entries", bundleOf("batch", many...), nil, 413, "too-costly", "Bundle.entry", "more than the 20 entries"},
		{"a version for a whole bundle", beside(), []string{"If-Match", `W/"1"`}, 400, "invariant", "", "its entries have their own"},
		{"XML", "<Bundle/>", []string{"Content-Type", "", "Content-Type", "application/fhir+xml"}, 415, "not-supported", "", "no XML"},
	} {
		out = append(out, badRow{"bundle: " + r.name, "POST", root, r.body, r.header, r.status, r.code, r.expression, r.text})
	}
	return out
}

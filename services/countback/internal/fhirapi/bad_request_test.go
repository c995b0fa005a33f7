package fhirapi

import (
	"strings"
	"testing"
)

// requestRows are faults in how something is asked for: conditions, ids,
// methods, addresses, media types and searches.
func requestRows(t *testing.T, s seed) []badRow {
	const at, people = root + "/Appointment", root + "/Patient"
	appointment := booking("9", s.ref(s.patient), s.ref(s.order))
	own := func(body, id string) string { return with(t, body, `",`, `","id":"`+id+`",`) }
	id := strings.TrimPrefix(s.patient, people+"/")
	asPatch := []string{"Content-Type", "", "Content-Type", patchType}
	twins := "identifier=" + personSystem + "|canary-ptwins"
	return []badRow{
		{"create if none has a number without a system", "POST", people, patient("9"), []string{"If-None-Exist", "identifier=canary"}, 400, "value", "Patient", "exactly identifier=system|value"},
		{"create if none has a name", "POST", people, patient("9"), []string{"If-None-Exist", "family=Canary"}, 400, "value", "Patient", "exactly identifier=system|value"},
		{"create if none has one of two numbers", "POST", people, patient("9"), []string{"If-None-Exist", "identifier=" + personSystem + "|canary1,canary2"}, 400, "value", "Patient", "exactly identifier=system|value"},
		{"create if none, and two are", "POST", people, patient("9"), []string{"If-None-Exist", twins}, 412, "multiple-matches", "Patient", "more than one Patient"},
		{"update what is two", "PUT", people + "?" + twins, patient("9"), nil, 412, "multiple-matches", "Patient", "more than one Patient"},
		{"update by name", "PUT", people + "?family=Canary", patient("9"), nil, 400, "value", "Patient", "exactly identifier=system|value"},
		{"update by number under another id", "PUT", people + "?identifier=" + personSystem + "|canary-p1", own(patient("1"), "canary"), nil, 400, "invariant", "Patient.id", "is not the id of the Patient that the condition finds"},
		{"update by number under a taken id", "PUT", people + "?identifier=" + personSystem + "|canary-pnone", own(patient("none"), id), nil, 409, "conflict", "Patient.id", "is taken"},
		{"update of nothing named", "PUT", people, patient("9"), nil, 400, "required", "", "Patient/id, or Patient?identifier=system|value"},
		{"update without an id in the resource", "PUT", people + "/canary", patient("9"), nil, 400, "invariant", "Patient.id", "must be the id"},
		{"update under another id", "PUT", people + "/canary", own(patient("9"), "other"), nil, 400, "invariant", "Patient.id", "must be the id"},
		{"update of what cannot be an id", "PUT", people + "/canary_1", own(patient("9"), "canary-1"), nil, 400, "value", "Patient.id", "not a FHIR id"},
		{"update of an old version", "PUT", s.patient, own(patient("1"), id), []string{"If-Match", `W/"7"`}, 412, "conflict", "Patient", "has changed since the version named in If-Match"},
		{"update of a version of nothing", "PUT", people + "/canary", own(patient("9"), "canary"), []string{"If-Match", `W/"1"`}, 412, "conflict", "Patient", "If-Match"},
		{"a version that is none", "PUT", s.patient, own(patient("1"), id), []string{"If-Match", "canary"}, 400, "value", "", `such as W/"3"`},
		{"a version before the first", "PUT", people + "/canary", own(patient("9"), "canary"), []string{"If-Match", `W/"0"`}, 400, "value", "", `such as W/"3"`},
		{"any version", "PUT", s.patient, own(patient("1"), id), []string{"If-Match", "*"}, 400, "value", "", `such as W/"3"`},
		{"a create of a version", "POST", people, patient("9"), []string{"If-Match", `W/"1"`}, 400, "invariant", "", "the version that an update changes"},
		{"an update if none exists", "PUT", s.patient, own(patient("1"), id), []string{"If-None-Exist", "identifier=a|b"}, 400, "invariant", "", "belongs to a create"},
		{"an update if nothing is there", "PUT", s.patient, own(patient("1"), id), []string{"If-None-Match", "*"}, 400, "invariant", "", "belongs to a read"},

		{"an address that begins with no type", "GET", root + "/Canary/1", "", nil, 404, "not-supported", "", "no resource type of FHIR R4"},
		{"a type in small letters", "POST", root + "/appointment", appointment, nil, 404, "not-supported", "", "did you mean Appointment?"},
		{"a type that is not served", "POST", root + "/Medication", `{"resourceType":"Medication"}`, nil, 404, "not-supported", "", "Medication is not served here"},
		{"an operation", "POST", people + "/$canary", patient("9"), nil, 404, "not-supported", "", "this operation is not served here"},
		{"an operation read", "GET", people + "/$canary", "", nil, 404, "not-supported", "", "this operation is not served here"},
		{"an operation of the whole", "GET", root + "/$canary", "", nil, 404, "not-supported", "", "this operation is not served here"},
		{"a history of nothing", "GET", people + "/canary/_history", "", nil, 404, "not-found", "Patient", "there is no such Patient"},
		{"a history of what cannot be", "GET", people + "/can_ary/_history", "", nil, 404, "not-found", "", "there is no such Patient"},
		{"a history since no date", "GET", people + "/_history?_since=canary", "", nil, 400, "value", "", "_since: cannot be read"},
		{"a history of fewer than none", "GET", root + "/_history?_count=-1", "", nil, 400, "value", "", "_count: cannot be read"},
		{"a page of no history", "GET", root + "/_history?_page=canary", "", nil, 400, "value", "", "_page: cannot be read"},
		{"a history by what is not known, strictly", "GET", root + "/_history?canary=1", "", []string{"Prefer", "handling=strict"}, 400, "not-supported", "", "takes _since, _count and _page"},
		{"a history written", "POST", people + "/_history", patient("9"), nil, 405, "not-supported", "", "read with GET"},
		{"a version written", "PUT", s.patient + "/_history/1", patient("9"), nil, 405, "not-supported", "", "read with GET"},
		{"a slash too many", "GET", people + "/", "", nil, 404, "not-supported", "", "without a slash at its end"},
		{"another address", "GET", "/canary", "", nil, 404, "not-supported", "", "the FHIR service lies at /fhir"},
		{"a resource that is not held", "GET", people + "/canary", "", nil, 404, "not-found", "Patient", "there is no such Patient"},
		{"a version that is not held", "GET", s.patient + "/_history/9", "", nil, 404, "not-found", "Patient", "there is no such Patient"},
		{"a version that is no number", "GET", s.patient + "/_history/canary", "", nil, 404, "not-found", "", "there is no such Patient"},
		{"a deletion of a person who is needed", "DELETE", s.patient, "", nil, 409, "conflict", "Patient", "while something about the person is held"},
		{"a deletion of nothing named", "DELETE", people, "", nil, 400, "required", "", "a DELETE names what it changes"},
		{"a deletion of two", "DELETE", people + "?" + twins, "", nil, 412, "multiple-matches", "Patient", "more than one Patient"},
		{"a deletion by name", "DELETE", people + "?family=Canary", "", nil, 400, "value", "Patient", "exactly identifier=system|value"},
		{"a deletion of an old version", "DELETE", s.order, "", []string{"If-Match", `W/"9"`}, 412, "conflict", "ServiceRequest", "If-Match"},
		{"a deletion of what cannot be an id", "DELETE", people + "/canary_1", "", nil, 400, "value", "Patient.id", "not a FHIR id"},
		{"a deletion of all of ours", "DELETE", root + "/CarePlan?identifier=a|canary", "", nil, 405, "not-supported", "", "keeps it as the record"},
		{"a deletion of a flag", "DELETE", root + "/Flag/canary", "", nil, 405, "not-supported", "", "keeps it as the record"},
		{"a deletion of a record", "DELETE", root + "/Provenance/canary", "", nil, 405, "not-supported", "", "keeps it as the record"},
		{"a deletion of ours", "DELETE", s.carePlan, "", nil, 405, "not-supported", "", "keeps it as the record"},
		{"a patch of another kind", "PATCH", s.patient, `{"resourceType":"Parameters"}`, nil, 415, "not-supported", "", "only application/json-patch+json"},
		{"a patch that is none", "PATCH", s.patient, "{}", asPatch, 400, "structure", "", "array of operations"},
		{"a patch that adds to nothing", "PATCH", s.patient, `[{"op":"add","path":"/canary/1","value":1}]`, asPatch, 422, "business-rule", "Patient", "nothing to add to"},
		{"a patch whose test fails", "PATCH", s.patient, `[{"op":"test","path":"/gender","value":"canary"}]`, asPatch, 422, "business-rule", "Patient", "the test failed"},
		{"a patch that makes no FHIR", "PATCH", s.patient, `[{"op":"add","path":"/canary","value":1}]`, asPatch, 422, "structure", "Patient", "no element of the name"},
		{"a patch of the id", "PATCH", s.patient, `[{"op":"replace","path":"/id","value":"canary"}]`, asPatch, 422, "invariant", "Patient", "cannot change Patient.id"},
		{"a patch of the type", "PATCH", s.patient, `[{"op":"replace","path":"","value":{"resourceType":"Location","id":"canary"}}]`, asPatch, 422, "invariant", "Patient", "another type"},
		{"a patch of an old version", "PATCH", s.patient, `[{"op":"test","path":"/gender","value":"canary"}]`, append([]string{"If-Match", `W/"9"`}, asPatch...), 412, "conflict", "Patient", "If-Match"},
		{"a patch of nothing", "PATCH", people + "/canary", "[]", asPatch, 404, "not-found", "Patient", "no such Patient"},
		{"a patch of what a condition does not find", "PATCH", people + "?identifier=" + personSystem + "|canary-pnone", "[]", asPatch, 404, "not-found", "Patient", "no such Patient"},
		{"a patch of two", "PATCH", people + "?" + twins, "[]", asPatch, 412, "multiple-matches", "Patient", "more than one Patient"},
		{"a patch of nothing named", "PATCH", people, "[]", asPatch, 400, "required", "", "a PATCH names what it changes"},
		{"a patch of a plan", "PATCH", s.carePlan, "[]", asPatch, 405, "not-supported", "", "this service makes it"},
		{"a patch of a protocol", "PATCH", planDefinition, "[]", asPatch, 405, "not-supported", "", "send the whole resource with PUT"},
		{"a plan from outside", "POST", root + "/CarePlan", `{"resourceType":"CarePlan"}`, nil, 405, "not-supported", "", "this service makes it"},
		{"a plan changed from outside", "PUT", s.carePlan, `{"resourceType":"CarePlan"}`, nil, 405, "not-supported", "", "this service makes it"},
		{"a create with an id", "POST", s.patient, patient("9"), nil, 405, "not-supported", "", "a POST goes to the address of the type"},
		{"metadata written", "POST", root + "/metadata", patient("9"), nil, 405, "not-supported", "", "metadata is read with GET"},

		{"XML", "POST", people, "<Patient/>", []string{"Content-Type", "", "Content-Type", "application/fhir+xml"}, 415, "not-supported", "", "no XML"},
		{"a form", "POST", people, "canary=1", []string{"Content-Type", "", "Content-Type", "application/x-www-form-urlencoded"}, 415, "not-supported", "", "only application/fhir+json"},
		{"no media type", "POST", people, patient("9"), []string{"Content-Type", ""}, 415, "not-supported", "", "Content-Type is missing"},
		{"another charset", "POST", people, patient("9"), []string{"Content-Type", "", "Content-Type", mediaType + "; charset=iso-8859-1"}, 415, "not-supported", "", "only UTF-8"},
		{"another FHIR", "POST", people, patient("9"), []string{"Content-Type", "", "Content-Type", mediaType + "; fhirVersion=3.0"}, 415, "not-supported", "", "only FHIR R4"},
		{"compressed", "POST", people, patient("9"), []string{"Content-Encoding", "gzip"}, 415, "not-supported", "", "compressed"},
		{"XML wanted", "POST", people, patient("9"), []string{"Accept", "application/fhir+xml"}, 406, "not-supported", "", "no XML"},
		{"another FHIR wanted", "GET", s.patient, "", []string{"Accept", mediaType + "; fhirVersion=5.0"}, 406, "not-supported", "", "fhirVersion 4.0"},
		{"XML wanted by parameter", "POST", people + "?_format=xml", patient("9"), nil, 406, "not-supported", "", "_format"},

		{"a search for no date", "GET", people + "?birthdate=canary", "", nil, 400, "value", "", "birthdate: not a valid date"},
		{"a search by what is not known, strictly", "GET", people + "?canary=1", "", []string{"Prefer", "handling=strict"}, 400, "not-supported", "", "unknown search parameter"},
		{"a search with a modifier", "GET", people + "?gender:above=canary", "", nil, 400, "not-supported", "", "gender: this modifier is not supported"},
		{"a search through another resource", "GET", at + "?patient.name=canary", "", nil, 400, "not-supported", "", "chains are not supported"},
		{"fewer than no results", "GET", people + "?_count=-1", "", nil, 400, "value", "", "whole number from 0"},
		{"two counts", "GET", people + "?_count=1&_count=2", "", nil, 400, "value", "", "may be given once"},
		{"an order that is not known", "GET", people + "?_sort=canary", "", nil, 400, "not-supported", "", "can sort by"},
		{"a page of another search", "GET", people + "?_page=canary", "", nil, 400, "value", "", "is not a page of this search"},
		{"parameters that are none", "GET", people + "?name=%zz", "", nil, 400, "structure", "", "not well formed"},
		{"a search sent as JSON", "POST", people + "/_search", "{}", nil, 415, "not-supported", "", "application/x-www-form-urlencoded"},
		{"a search form that is too large", "POST", people + "/_search", "name=" + strings.Repeat("canary", 20_000), []string{"Content-Type", "", "Content-Type", "application/x-www-form-urlencoded"}, 413, "too-long", "", "larger than the 65536 bytes"},
	}
}

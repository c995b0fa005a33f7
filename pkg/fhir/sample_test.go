package fhir

import "strings"

// booked is an Appointment of about 2 KB as a theatre scheduling system might
// send it. People and places are invented.
const booked = `{
  "resourceType": "Appointment",
  "id": "theatre-771",
  "meta": {"versionId": "7", "lastUpdated": "2026-10-02T09:15:00.000-06:00", "source": "https://ehr.lakeside.example/fhir",
    "profile": ["https://lakeside.example/fhir/StructureDefinition/theatre-booking"],
    "tag": [{"system": "https://lakeside.example/tags", "code": "elective"}]},
  "text": {"status": "generated", "div": "<div xmlns=\"http://www.w3.org/1999/xhtml\">Total knee replacement, right</div>"},
  "contained": [{"resourceType": "Practitioner", "id": "surgeon", "name": [{"family": "Okonjo-Vale", "given": ["Thandi"]}]}],
  "extension": [{"url": "https://lakeside.example/fhir/StructureDefinition/theatre-minutes", "valueDecimal": 1.10}],
  "identifier": [{"use": "official", "system": "https://lakeside.example/theatre-booking", "value": "TB-2026-00771"},
    {"system": "https://lakeside.example/order", "value": "ORD-88172"}],
  "status": "booked",
  "serviceCategory": [{"coding": [{"system": "http://terminology.hl7.org/CodeSystem/service-category", "code": "27", "display": "Specialist Surgical"}]}],
  "serviceType": [{"coding": [{"system": "http://snomed.info/sct", "code": "609588000"}], "text": "Total knee replacement"}],
  "specialty": [{"coding": [{"system": "http://snomed.info/sct", "code": "394801008"}]}],
  "priority": 0,
  "description": "Right total knee replacement",
  "_description": {"extension": [{"url": "https://lakeside.example/fhir/StructureDefinition/checked-by", "valueString": "desk 4"}]},
  "start": "2026-11-30T07:30:00-06:00",
  "end": "2026-11-30T09:30:00-06:00",
  "minutesDuration": 120,
  "created": "2026-10-01",
  "basedOn": [{"reference": "ServiceRequest/order-88172"}],
  "participant": [
    {"actor": {"reference": "Patient/pat-204", "display": "Marisol Quandt"}, "required": "required", "status": "accepted"},
    {"type": [{"coding": [{"system": "http://terminology.hl7.org/CodeSystem/v3-ParticipationType", "code": "PPRF"}]}],
     "actor": {"reference": "#surgeon"}, "status": "accepted"},
    {"actor": {"reference": "Location/theatre-3", "display": "Theatre 3"}, "status": "tentative"}
  ]
}`

// small is the least Appointment that has everything required.
const small = `{"resourceType":"Appointment","status":"proposed","participant":[{"actor":{"display":"x"},"status":"accepted"}]}`

// patient has extensions beside primitives, alone and in lists.
const patient = `{"resourceType":"Patient","id":"pat-204",
  "name":[{"family":"Quandt","_family":{"extension":[{"url":"https://lakeside.example/own-name","valueString":"Quandt"}]},
    "given":["Marisol",null],"_given":[null,{"extension":[{"url":"http://hl7.org/fhir/StructureDefinition/data-absent-reason","valueCode":"masked"}]}]}],
  "birthDate":"1961-03-09","_birthDate":{"id":"b1","extension":[{"url":"http://hl7.org/fhir/StructureDefinition/patient-birthTime","valueDateTime":"1961-03-09T04:20:00-06:00"}]},
  "deceasedBoolean":false,"multipleBirthInteger":2}`

const procedure = `{"resourceType":"Procedure","identifier":[{"system":"https://lakeside.example/order","value":"ORD-88172"}],
  "status":"preparation","code":{"coding":[{"system":"http://snomed.info/sct","code":"609588000"}]},
  "subject":{"reference":"Patient/pat-204"},"performedPeriod":{"start":"2026-11-30T07:30:00-06:00"},
  "note":[{"time":"2026-10-01","text":"side agreed"}]}`

const task = `{"resourceType":"Task","id":"t1","status":"requested","intent":"order","code":{"text":"dental check"},
  "for":{"reference":"Patient/pat-204"},"authoredOn":"2026-10-01T08:00:00Z","lastModified":"2026-10-02T08:00:00Z",
  "restriction":{"period":{"start":"2026-10-05","end":"2026-11-16"}},
  "input":[{"type":{"text":"limit"},"valueDecimal":1.10}]}`

func entry(fullURL, resource, method, url string) string {
	s := `{"fullUrl":"` + fullURL + `",`
	if resource != "" {
		s += `"resource":` + resource + `,`
	}
	return s + `"request":{"method":"` + method + `","url":"` + url + `"}}`
}

func bundle(kind string, entries ...string) string {
	return `{"resourceType":"Bundle","type":"` + kind + `","entry":[` + strings.Join(entries, ",") + `]}`
}

const (
	urn1 = "urn:uuid:0b5b3c52-6c0a-4b7e-9a53-1c6ce4a5a001"
	urn2 = "urn:uuid:0b5b3c52-6c0a-4b7e-9a53-1c6ce4a5a002"
	urn3 = "urn:uuid:0b5b3c52-6c0a-4b7e-9a53-1c6ce4a5a003"
)

var transaction = bundle("transaction",
	entry(urn1, booked, "POST", "Appointment"),
	entry(urn2, strings.Replace(procedure, "Patient/pat-204", urn3, 1), "POST", "Procedure"),
	entry(urn3, patient, "PUT", "Patient/pat-204"),
	entry("https://own.example/fhir/Task/t1", task, "PUT", "Task/t1"))

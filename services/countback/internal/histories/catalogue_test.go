package histories

import (
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/translate"
)

const (
	source = "https://theatre.quillmere.example"
	snomed = "http://snomed.info/sct"
)

type object map[string]any

// message is one of the catalogue; its resource is known by typ and id.
type message struct {
	name, typ, id string
	minute        int // of the source's own time: its order
	body          func(person string) object
}

func appointment(id, status, day, surgeon string) func(string) object {
	return func(person string) object {
		a := object{
			"resourceType": "Appointment", "id": id + person, "status": status, "created": "2026-09-08T09:00:00-05:00",
			"identifier": []object{{"system": source + "/booking", "value": id + person}},
			"reasonCode": []object{{"coding": []object{{"system": snomed, "code": "52734007"}}}}, // SNOMED CT: total replacement of the hip
			"participant": []object{
				{"actor": object{"reference": "Patient/p" + person}, "status": "accepted"},
				{"actor": object{"reference": "Practitioner/" + surgeon}, "status": "accepted"},
			},
		}
		if day != "" {
			a["start"], a["end"] = day+"T10:00:00-06:00", day+"T12:00:00-06:00"
		}
		return a
	}
}

// condition is a urinary infection, ICD-10-CM N39.0.
func condition(verification string) func(string) object {
	return func(person string) object {
		c := object{
			"resourceType": "Condition", "id": "c" + person,
			"identifier": []object{{"system": source + "/condition", "value": "c" + person}}, "subject": object{"reference": "Patient/p" + person},
			"code":               object{"coding": []object{{"system": "http://hl7.org/fhir/sid/icd-10-cm", "code": "N39.0"}}},
			"verificationStatus": object{"coding": []object{{"system": "http://terminology.hl7.org/CodeSystem/condition-ver-status", "code": verification}}},
		}
		if verification == "confirmed" { // con-5 of R4: none of an entry in error
			c["clinicalStatus"] = object{"coding": []object{{"system": "http://terminology.hl7.org/CodeSystem/condition-clinical", "code": "active"}}}
		}
		return c
	}
}

// catalogue is what can be sent of one operation.
var catalogue = []message{
	{"stale repeat", "Appointment", "a", 0, appointment("a", "booked", "2027-03-01", "one")},
	{"book", "Appointment", "a", 1, appointment("a", "booked", "2027-01-11", "one")},
	{"move earlier", "Appointment", "a", 2, appointment("a", "booked", "2026-12-21", "one")},
	{"move later", "Appointment", "a", 3, appointment("a", "booked", "2027-02-08", "one")},
	{"same instant, another day", "Appointment", "a", 3, appointment("a", "booked", "2027-02-15", "one")},
	{"another surgeon", "Appointment", "a", 4, appointment("a", "booked", "2027-02-08", "two")},
	{"postponed without a date", "Appointment", "a", 5, appointment("a", "proposed", "", "two")},
	{"cancelled", "Appointment", "a", 6, appointment("a", "cancelled", "2027-02-08", "two")},
	{"rebooked under another number", "Appointment", "b", 7, appointment("b", "booked", "2027-02-22", "two")},
	{"entered in error", "Appointment", "a", 8, appointment("a", "entered-in-error", "2027-02-08", "two")},
	{"infection", "Condition", "c", 1, condition("confirmed")},
	{"infection withdrawn", "Condition", "c", 2, condition("entered-in-error")},
}

func (m message) json(t testing.TB, person string) []byte {
	t.Helper()
	body := m.body(person)
	body["meta"] = object{"source": source, "lastUpdated": fmt.Sprintf("2026-09-08T10:%02d:00-05:00", m.minute)}
	b, err := json.Marshal(body)
	require.NoError(t, err)
	return b
}

func patient(person string) []byte {
	return []byte(`{"resourceType":"Patient","id":"p` + person + `","identifier":[{"system":"` + source + `/person","value":"p` + person + `"}],"gender":"female","birthDate":"1951-04-17"}`)
}

// sent is a message as the fold reads it.
type sent struct {
	key      string
	order    translate.Order
	resource *fhir.Resource
}

func read(t testing.TB, body []byte) *fhir.Resource {
	t.Helper()
	r, issues := fhir.Parse(body, len(body)+1)
	require.Empty(t, issues)
	return r
}

// messages reads the catalogue as it is sent of a person.
func messages(t testing.TB, person string) []sent {
	t.Helper()
	out := make([]sent, len(catalogue))
	for n, m := range catalogue {
		r := read(t, m.json(t, person))
		o, ok := translate.OrderOf(r)
		require.True(t, ok)
		var err error
		o.Hash, err = translate.ContentHash(r)
		require.NoError(t, err)
		out[n] = sent{m.typ + "/" + m.id, o, r}
	}
	return out
}

// now is when everything is received.
var now = time.Date(2026, 9, 8, 15, 22, 0, 0, time.UTC)

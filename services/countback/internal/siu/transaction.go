package siu

import (
	"encoding/json"
	"fmt"
	"net/url"

	"example.org/countback/pkg/hl7"
)

type object = map[string]any

// Transaction is what a message asks for, in FHIR.
type Transaction struct {
	Source  string // who sent it, as in meta.source
	entries []entry
}

// entry is a resource, and by which identifier it is known.
type entry struct {
	at       hl7.Location // of the identifier, to which a refusal is traced back
	fullURL  string
	resource object
	key      identifier
	also     []identifier // others by which it may be held
	replaces bool         // what is held is replaced; else left as it is
}

// fullURL is the name of the nth entry within the transaction; it is no name outside.
func fullURL(n int) string { return fmt.Sprintf("urn:uuid:00000000-0000-4000-8000-%012d", n) }

// add adds a resource and gives what others call it.
func (r *reader) add(e entry, key identifier) string {
	e.fullURL, e.key = fullURL(len(r.entries)+1), key
	e.resource["meta"] = r.meta
	r.entries = append(r.entries, e)
	return e.fullURL
}

// Bundle writes the transaction as it would be sent to a FHIR server.
func (t *Transaction) Bundle() ([]byte, error) {
	list := make([]object, 0, len(t.entries))
	for _, e := range t.entries {
		typ := fmt.Sprint(e.resource["resourceType"])
		query := "identifier=" + url.QueryEscape(e.key.system+"|"+e.key.value)
		request := object{"method": "POST", "url": typ, "ifNoneExist": query}
		if e.replaces {
			request = object{"method": "PUT", "url": typ + "?" + query}
		}
		list = append(list, object{"fullUrl": e.fullURL, "resource": e.resource, "request": request})
	}
	return json.Marshal(object{"resourceType": "Bundle", "type": "transaction", "entry": list})
}

// places are where the elements of a resource came from; what is not listed came
// from the field by which it is known. A segment without a name is that of the
// resource.
var places = map[string]map[string]hl7.Location{
	"Patient": {"name": {Field: 5}, "birthDate": {Field: 7}, "gender": {Field: 8}, "telecom": {Field: 13}, "communication": {Field: 15}},
	"Appointment": {
		"cancelationReason": {Field: 6}, "reasonCode": {Field: 7}, "appointmentType": {Field: 8}, "minutesDuration": {Field: 9},
		"start": {Field: 11}, "end": {Field: 11}, "status": {Field: 25}, "basedOn": {Field: 26},
		"serviceType": {Segment: "AIS", Field: 3}, "comment": {Segment: "NTE", Field: 3}, "participant": {Segment: "AIP"},
	},
}

// At says where in the message an element of an entry came from.
func (t *Transaction) At(index int, element string) hl7.Location {
	if index < 0 || index >= len(t.entries) {
		return hl7.Location{}
	}
	e := t.entries[index]
	at, listed := places[fmt.Sprint(e.resource["resourceType"])][element]
	switch {
	case !listed:
		return e.at
	case at.Segment == "":
		at.Segment, at.Number = e.at.Segment, e.at.Number
	}
	return at
}

package translate

import (
	"encoding/json"
	"maps"
	"strings"
	"time"

	"github.com/stretchr/testify/require"
)

// record reads a resource as it would be held, received on 1 October 2026.
func record(t require.TestingT, body object) *Record {
	b, err := json.Marshal(body)
	require.NoError(t, err)
	r := parse(t, b)
	at := time.Date(2026, 10, 1, 15, 0, 0, 0, time.UTC)
	return &Record{Resource: r, Type: r.Type, ID: r.ID(), First: at, Updated: at.Add(time.Hour)}
}

func coded(system, code string) object {
	return object{"coding": []any{object{"system": system, "code": code}}}
}

func ref(s string) object { return object{"reference": s} }
func refs(s ...string) (o []any) { // several references
	for _, r := range s {
		o = append(o, ref(r))
	}
	return o
}

func identified(value string) []any {
	return []any{object{"system": "http://hospital.example/number", "value": value}}
}

func byIdentifier(value string) object {
	return object{"identifier": object{"system": "http://hospital.example/number", "value": value}}
}

func merged(base object, more []object) object {
	for _, m := range more {
		maps.Copy(base, m)
	}
	for k, v := range base {
		if v == nil {
			delete(base, k)
		}
	}
	return base
}

// appointment is a booked operation of half past seven, Chicago time.
func appointment(t require.TestingT, id, day string, more ...object) *Record {
	return record(t, merged(object{
		"resourceType": "Appointment", "id": id, "status": "booked", "identifier": identified("appointment-" + id),
		"start": day + "T07:30:00-06:00", "end": day + "T10:00:00-06:00", "created": "2026-09-28",
		"participant": []any{object{"actor": ref("Patient/p"), "status": "accepted"}},
	}, more))
}

var (
	hip  = object{"code": coded(snomed, "52734007")}
	knee = object{"code": coded(snomed, "609588000")}

	hipService  = object{"serviceType": []any{coded(snomed, "52734007")}}
	kneeService = object{"serviceType": []any{coded(snomed, "609588000")}}
	orthopaedic = object{"serviceType": []any{coded(service, "218")}}

	leftSite  = object{"bodySite": []any{coded(snomed, "7771000")}}
	rightSite = object{"bodySite": []any{coded(snomed, "24028007")}}
)

// procedure is an operation in preparation.
func procedure(t require.TestingT, id string, more ...object) *Record {
	return record(t, merged(object{
		"resourceType": "Procedure", "id": id, "status": "preparation", "subject": ref("Patient/p"),
		"identifier": identified("procedure-" + id),
	}, more))
}

func order(t require.TestingT, id string, more ...object) *Record {
	return record(t, merged(object{
		"resourceType": "ServiceRequest", "id": id, "status": "active", "intent": "order", "subject": ref("Patient/p"),
		"identifier": identified("order-" + id),
	}, more))
}

func encounter(t require.TestingT, id string, more ...object) *Record {
	return record(t, merged(object{
		"resourceType": "Encounter", "id": id, "status": "planned", "subject": ref("Patient/p"),
		"class": object{"system": actCode, "code": "IMP"},
	}, more))
}

func based(on ...string) object { return object{"basedOn": refs(on...)} }

// members of the booking that stands for a resource, and its links in words.
func memberships(bookings []Booking) map[string]string {
	out := map[string]string{}
	for _, b := range bookings {
		text := strings.Join(b.Members, " ")
		if len(b.Candidates) > 0 {
			text += " ? " + strings.Join(b.Candidates, " ")
		}
		out[b.Primary] = text
	}
	return out
}

func linksOf(b Booking) string {
	var out []string
	for _, l := range b.Links {
		out = append(out, l.From+" to "+l.To+": "+l.Rule)
	}
	return strings.Join(out, "; ")
}

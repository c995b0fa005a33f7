package casework

import (
	"encoding/json"
	"maps"
	"strings"
)

// Systems of an invented hospital.
const (
	personSystem  = "https://registry.larkspindle.example/person"
	bookingSystem = "https://theatre.larkspindle.example/booking"
	operation     = "https://theatre.larkspindle.example/operation"
	orderSystem   = "https://orders.larkspindle.example/surgery"
	staySystem    = "https://wards.larkspindle.example/stay"
)

// Codes. Which of them mean what is data of the protocol, see its value sets.
const (
	snomed        = "http://snomed.info/sct"
	pcs           = "http://hl7.org/fhir/sid/icd-10-pcs"
	hipCode       = "52734007"  // SNOMED CT: total replacement of the hip
	kneeCode      = "609588000" // SNOMED CT: total replacement of the knee
	rightHip      = "0SR902A"   // ICD-10-PCS: total replacement, right hip
	rightKnee     = "0SRC0J9"   // ICD-10-PCS: total replacement, right knee
	leftKnee      = "0SRD0J9"   // ICD-10-PCS: total replacement, left knee
	revisionCode  = "0SW90JZ"   // ICD-10-PCS: revision, right hip
	fractureCode  = "S72.001A"  // ICD-10-CM: fracture of the neck of the right femur
	cholecystCode = "0FT44ZZ"   // ICD-10-PCS: no joint at all
)

// res is a resource on its way to be JSON.
type res map[string]any

// with is the resource with one member more, another, or without it (nil).
func (r res) with(name string, value any) res {
	out := maps.Clone(r)
	if out[name] = value; value == nil {
		delete(out, name)
	}
	return out
}

func (r res) json() string {
	b, err := json.Marshal(r)
	if err != nil {
		panic(err)
	}
	return string(b)
}

func ref(to string) res { return res{"reference": to} }

// logical names somebody by a business identifier alone.
func logical(system, value string) res {
	return res{"type": "Patient", "identifier": res{"system": system, "value": value}}
}

func numbered(system string, values ...string) []res {
	var out []res
	for _, v := range values {
		out = append(out, res{"system": system, "value": v})
	}
	return out
}

func coded(system, code string) res {
	return res{"coding": []res{{"system": system, "code": code}}}
}

// person is somebody who does not exist; n tells people apart. Each value that
// must not leave in an event begins with Quillfeather.
func person(n string) res {
	return res{
		"resourceType": "Patient", "identifier": numbered(personSystem, "P-"+n), "active": true,
		"name":      []res{{"family": "Quillfeather" + n, "given": []string{"QuillfeatherOrsolya"}}},
		"telecom":   []res{{"system": "phone", "value": "555-0134"}},
		"gender":    "female",
		"birthDate": "1951-04-17", "address": []res{{"line": []string{"QuillfeatherLane 7"}, "city": "Larkspindle"}},
	}
}

// appointment is the booking of a total hip replacement at ten in the morning.
func appointment(n, patient, day string) res {
	return res{
		"resourceType": "Appointment", "identifier": numbered(bookingSystem, "B-"+n), "status": "booked",
		"serviceType": []res{coded("http://terminology.hl7.org/CodeSystem/service-type", "218")},
		"reasonCode":  []res{coded(snomed, hipCode)},
		"description": "QuillfeatherDiagnosis worn hip",
		"start":       localTime(day + " 10:00"), "end": localTime(day + " 12:30"),
		"created":     localTime("2026-09-08 10:05"),
		"participant": []res{{"actor": ref(patient), "status": "accepted"}},
	}
}

// codeless is a booking that says only that it is orthopaedic surgery.
func codeless(n, patient, day string) res {
	return appointment(n, patient, day).with("reasonCode", nil)
}

// procedure is an operation in preparation.
func procedure(n, patient, code, day string) res {
	return res{
		"resourceType": "Procedure", "identifier": numbered(operation, "O-"+n), "status": "preparation",
		"code": coded(pcs, code), "subject": ref(patient), "performedDateTime": day,
		"note": []res{{"text": "QuillfeatherDiagnosis"}},
	}
}

// order asks for a total hip replacement.
func order(n, patient string) res {
	return res{
		"resourceType": "ServiceRequest", "identifier": numbered(orderSystem, "R-"+n),
		"status": "active", "intent": "order", "code": coded(snomed, hipCode), "subject": ref(patient),
	}
}

// stay is the visit of a booking.
func stay(n, patient, appointment, status, start, end string) res {
	period := res{}
	if start != "" {
		period["start"] = localTime(start)
	}
	if end != "" {
		period["end"] = localTime(end)
	}
	out := res{
		"resourceType": "Encounter", "identifier": numbered(staySystem, "V-"+n), "status": status,
		"class":   res{"system": "http://terminology.hl7.org/CodeSystem/v3-ActCode", "code": "IMP"},
		"subject": ref(patient), "appointment": []res{ref(appointment)},
	}
	if len(period) > 0 {
		out["period"] = period
	}
	return out
}

// by is the conditional target of a resource that carries an identifier.
func by(r res) string {
	id := r["identifier"].([]res)[0]
	return r["resourceType"].(string) + "?identifier=" + id["system"].(string) + "|" + id["value"].(string)
}

// entry is one entry of a transaction. A target that is a type alone is
// posted; url and ifNoneExist are parts of the request.
type entry struct {
	name        string // fullUrl
	target      string
	ifNoneExist string
	ifMatch     string
	resource    res
}

func transaction(entries ...entry) string {
	list := []res{}
	for _, e := range entries {
		request := res{"method": methodOf(e.target), "url": e.target}
		if e.ifNoneExist != "" {
			request["ifNoneExist"] = e.ifNoneExist
		}
		if e.ifMatch != "" {
			request["ifMatch"] = e.ifMatch
		}
		item := res{"resource": e.resource, "request": request}
		if e.name != "" {
			item["fullUrl"] = e.name
		}
		list = append(list, item)
	}
	return res{"resourceType": "Bundle", "type": "transaction", "entry": list}.json()
}

func methodOf(target string) string {
	if strings.ContainsAny(target, "?/") {
		return "PUT"
	}
	return "POST"
}

// Names that entries have for each other.
const (
	personURN  = "urn:uuid:5f0e4b2a-0f6f-4c8e-9b1e-6f2f4c9a0001"
	bookingURN = "urn:uuid:5f0e4b2a-0f6f-4c8e-9b1e-6f2f4c9a0002"
	orderURN   = "urn:uuid:5f0e4b2a-0f6f-4c8e-9b1e-6f2f4c9a0003"
	nobodyURN  = "urn:uuid:5f0e4b2a-0f6f-4c8e-9b1e-6f2f4c9affff"
)

// bookingMessage is how a theatre system sends a booking: the person if new,
// and the appointment under its number.
func bookingMessage(n, day string) string {
	p, b := person(n), appointment(n, personURN, day)
	return transaction(
		entry{name: personURN, target: "Patient", ifNoneExist: strings.TrimPrefix(by(p), "Patient?"), resource: p},
		entry{name: bookingURN, target: by(b), resource: b})
}

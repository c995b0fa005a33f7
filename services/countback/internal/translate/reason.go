package translate

import (
	"cmp"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// FreeReason stands for a reason that was given in free text, where that may
// not be repeated: it may say something of a person.
const FreeReason = "a reason in free text"

// Reason is a CodeableConcept in words: the display of a code, else what was
// written, where that is wanted, else the code. Free text alone is named
// [FreeReason] where it is not wanted; empty where there is nothing.
func Reason(concept *fhir.Node, words bool) string {
	text, code := concept.String("text"), ""
	for _, c := range concept.Get("coding").Items() {
		if said := c.String("display"); said != "" {
			return said
		}
		code = cmp.Or(code, c.String("code"))
	}
	switch {
	case words:
		return cmp.Or(text, code)
	case code == "" && text != "":
		return FreeReason
	}
	return code
}

// Moves are the changes of the day that the versions of an appointment tell of,
// given oldest first. The reason of a move is the one for which the version
// before it was called off, where it was: R4 has no place for a reason on an
// appointment that stands (app-4).
//
// Source: HL7 FHIR R4 (4.0.1), Appointment, cancelationReason and invariant app-4.
func (f Facility) Moves(versions []*fhir.Resource, words bool) []readiness.Move {
	var out []readiness.Move
	var day calendar.Date
	reason := ""
	for _, r := range versions {
		if offAppointment(r) {
			reason = Reason(r.Get("cancelationReason"), words)
			continue
		}
		next := f.day(r.String("start"))
		if !day.IsZero() && next != day {
			out = append(out, readiness.Move{From: day, To: next, Reason: reason})
		}
		if !next.IsZero() || len(out) > 0 { // from no day to one is the same move
			if n := len(out); n > 0 && day.IsZero() {
				out[n-1].To = next
			}
			day = next
		}
		reason = ""
	}
	return out
}

func offAppointment(r *fhir.Resource) bool {
	switch r.String("status") {
	case "cancelled", "noshow":
		return true
	}
	return false
}

// CalledOff reports whether what stands for a booking (an Appointment, a
// Procedure or a ServiceRequest) says that it was called off, and why.
func CalledOff(r *fhir.Resource, words bool) (reason string, off bool) {
	switch status := r.String("status"); {
	case r.Type == "Appointment" && offAppointment(r):
		if reason = Reason(r.Get("cancelationReason"), words); reason == "" && status == "noshow" {
			reason = "the person did not come"
		}
		return reason, true
	case r.Type == "Procedure" && status == "not-done":
		return Reason(r.Get("statusReason"), words), true
	case r.Type == "ServiceRequest" && status == "revoked":
		return "", true
	}
	return "", false
}

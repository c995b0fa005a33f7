package casework

import (
	"slices"
	"strings"
	"time"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/store"
)

// How many years from now an appointment may start, and may have started: beyond
// a life's length on one side and what anybody books on the other it is a slip or
// stands for "not known", and a plan made from it would hide that there is none.
const (
	yearsAhead = 10
	yearsBack  = 120
)

// plausible refuses an appointment whose start is in no year that anybody can
// mean. One that was called off may say what it likes.
func (r *receipt) plausible(q *Request) error {
	if q.Type != "Appointment" {
		return nil
	}
	switch q.Resource.String("status") {
	case "cancelled", "entered-in-error":
		return nil
	}
	start, err := time.Parse(time.RFC3339, q.Resource.String("start"))
	if err != nil { // absent: the edge has checked what is there
		return nil
	}
	if now := r.tx.Now; start.Before(now.AddDate(-yearsBack, 0, 0)) || start.After(now.AddDate(yearsAhead, 0, 0)) {
		return Refuse(ErrInvalid, fhir.CodeValue, q.path("start"),
			q.path("start")+" is in a year that cannot be meant: leave it out, with the status proposed, pending or waitlist, while there is no date")
	}
	return nil
}

// noteMoved tells the sender of an appointment that it was another person's: it
// may be a correction, and it may be the wrong number.
const noteMoved = "kept, and it was another patient's before: what followed from it for them has ended, and nothing of that was carried over; " +
	"where Appointment.participant is wrong, send it again with the right patient"

// moved reports whether a resource that plans follow from was one person's and is
// another's now.
func moved(was, now store.Stored) bool {
	return slices.Contains(planned, now.Type) && !was.Deleted && was.Patient != now.Patient &&
		strings.HasPrefix(was.Patient, "Patient/") && strings.HasPrefix(now.Patient, "Patient/")
}

package translate

import (
	"strings"
	"time"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
)

// Record is a stored resource as the rules read it.
type Record struct {
	*fhir.Resource
	Type, ID string
	First    time.Time // when its first version was received
	Updated  time.Time // when its current version was received
	Since    time.Time // when it was first received in its present status; zero: as Updated
	Said     []Said    // what a person said of the records of a booking
	Disputed time.Time // since when messages of one source and one order disagree on it; zero: they do not
}

// EndsUnsaid reports whether it is a visit that is over and does not say since
// when: then it was over when that was first heard of, which is Since.
func (r *Record) EndsUnsaid() bool {
	return r.Type == "Encounter" && r.status() == "finished" && r.String("period", "end") == ""
}

// Ref is the relative reference to the record.
func (r *Record) Ref() string { return r.Type + "/" + r.ID }

// status is the resource's status code.
func (r *Record) status() string { return r.String("status") }

func (r *Record) inError() bool { return r.status() == "entered-in-error" }

// Facility is what the rules need to know of the hospital.
type Facility struct {
	Calendar *calendar.Calendar
	// StartOffset is the time from Appointment.start to the start of
	// anaesthesia, where a booking does not say it itself.
	StartOffset time.Duration
	// Base is the FHIR base that our own absolute references carry.
	Base string
}

// local gives the unversioned Type/id of a reference element; empty for one
// that names nothing of ours.
func (f Facility) local(n *fhir.Node) string {
	ref, err := fhir.ParseRef(n.String("reference"), f.Base)
	if err != nil || !ref.IsLocal() {
		return ""
	}
	return ref.Unversioned().String()
}

// PatientName is a business identifier that a resource names its patient by.
type PatientName struct {
	fhir.Identifier
	// Certain is false where the identifier could be somebody else's: that of a
	// participant who is not said to be the patient.
	Certain bool
}

// PatientOf says whom a resource is about: the reference Patient/id, or the
// business identifiers where it names the patient by those alone, or by a
// contained Patient. Both are empty when it names no patient.
func (f Facility) PatientOf(r *fhir.Resource) (ref string, names []PatientName) {
	if r.Type == "Patient" {
		return "", nil
	}
	actors := []*fhir.Node{r.Get("subject"), r.Get("patient"), r.Get("for")}
	for _, p := range r.Get("participant").Items() {
		actors = append(actors, p.Get("actor"))
	}
	for n, actor := range actors {
		if local := f.local(actor); strings.HasPrefix(local, "Patient/") {
			return local, nil
		}
		named := actor.Get("identifier").Items()
		certain := n < 3 || actor.String("type") == "Patient"
		switch sent := actor.String("reference"); {
		case strings.HasPrefix(sent, "#"):
			inner := r.Contained(sent[1:])
			if inner == nil || inner.Type != "Patient" {
				continue
			}
			named, certain = inner.Get("identifier").Items(), true
		case sent != "" || actor.String("type") != "" && actor.String("type") != "Patient":
			continue
		}
		for _, id := range named {
			if system, value := id.String("system"), id.String("value"); system != "" && value != "" {
				names = append(names, PatientName{fhir.Identifier{System: system, Value: value}, certain})
			}
		}
	}
	return "", names
}

// instant reads an instant or dateTime that has a time of day; zero otherwise.
func (f Facility) instant(s string) time.Time {
	d, err := fhir.ParseDateTime(s)
	if err != nil {
		return time.Time{}
	}
	t, ok := d.Instant()
	if !ok {
		return time.Time{}
	}
	return t.In(f.Calendar.Zone())
}

// day reads the civil date of a date, dateTime or instant in the facility's
// zone; zero when it is less precise than a day.
func (f Facility) day(s string) calendar.Date {
	d, err := fhir.ParseDateTime(s)
	if err != nil {
		return 0
	}
	y, m, day, ok := d.Day(f.Calendar.Zone())
	if !ok {
		return 0
	}
	return calendar.NewDate(y, int(m), day)
}

// dayOf is the day on which what a resource tells of took place, by the elements
// that its type has for it; zero when it names none.
func (f Facility) dayOf(r *Record) calendar.Date {
	for _, path := range proofs[r.Type].days {
		if d := f.day(r.String(strings.Split(path, ".")...)); !d.IsZero() {
			return d
		}
	}
	return 0
}

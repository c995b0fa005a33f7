package siu

import (
	"strconv"
	"strings"
	"time"

	"example.org/countback/pkg/hl7"
)

// The statuses of an Appointment that an event means.
const (
	booked    = "booked"
	cancelled = "cancelled"
	inError   = "entered-in-error"
	noshow    = "noshow"
	pending   = "pending"
	waitlist  = "waitlist"
)

// statuses is table 0278 as the HL7 v2-to-FHIR mappings have it; what they map to
// nothing is absent.
var statuses = map[string]string{
	"PENDING": pending, "WAITLIST": waitlist, "BOOKED": booked, "STARTED": "checked-in",
	"COMPLETE": "fulfilled", "CANCELLED": cancelled, "NOSHOW": noshow, "DELETED": inError,
}

// over reports whether a status says that the booking does not take place.
func over(status string) bool { return status == cancelled || status == noshow || status == inError }

// appointment reads SCH and what follows it.
func (r *reader) appointment() {
	status := r.status()
	ids, key := r.bookingIDs()
	a := object{"resourceType": "Appointment", "identifier": objects(ids), "status": status}
	r.times(a, status)
	r.reasons(a)
	r.services(a, status)
	r.orders(a)
	set(a, "comment", r.comment())
	accepted := "accepted"
	if status == pending || status == waitlist {
		accepted = "needs-action"
	}
	a["participant"] = append([]object{{"actor": object{"reference": r.person}, "status": accepted}}, r.others(accepted)...)
	if key != nil && r.person != "" {
		r.add(entry{at: r.sch.At(key.field), resource: a, also: others(ids, key.identifier), replaces: true}, key.identifier)
	}
}

// status reads SCH-25, else the event.
func (r *reader) status() string {
	said := strings.ToUpper(r.sch.Value(25, 1))
	meant := events[r.event]
	status, known := statuses[said]
	switch {
	case said == "":
		return meant
	case r.event == "S16" && (said == "DISCONTINUED" || said == "DC"):
		return cancelled
	case !known:
		r.fault(r.sch.At(25), hl7.CodeTable, "is no status of a booking that is taken with this event")
	case over(meant) && !over(status):
		r.fault(r.sch.At(25), hl7.CodeTable, "says that the booking stands, and the event that it does not: one of them is wrong")
	}
	return status
}

// bookingKey is the identifier by which the booking is known, and its field.
type bookingKey struct {
	identifier
	field int
}

// bookingIDs reads SCH-2, which the sender gave, and SCH-1, which it was given.
func (r *reader) bookingIDs() (ids []identifier, key *bookingKey) {
	own := r.o.system(named(r.m.Header().Field(3).First()), "", "")
	filler, found := r.entity(r.sch.Field(2).First(), own)
	placer, also := r.entity(r.sch.Field(1).First(), "")
	switch {
	case found:
		key = &bookingKey{filler, 2}
	case also:
		key = &bookingKey{placer, 1}
	default:
		r.fault(r.sch.At(2), hl7.CodeRequired, "is missing, and so is SCH-1: without an identifier nobody can tell which booking this is")
		return nil, nil
	}
	if found {
		ids = append(ids, filler)
	}
	if also && placer != filler {
		ids = append(ids, placer)
	}
	if !r.keyed(key.identifier, r.sch.At(key.field)) {
		return ids, nil
	}
	return ids, key
}

// times reads start, end and duration. A booking that stands needs them (app-2,
// app-3); of one that does not, half of them is left out.
func (r *reader) times(a object, status string) {
	before := len(r.faults)
	start, startAt := r.firstTime([]place{{"SCH", 11, 4}, {"TQ1", 7, 1}, {"AIS", 4, 1}})
	end, endAt := r.firstTime([]place{{"SCH", 11, 5}, {"TQ1", 8, 1}})
	lasts := r.duration()
	if end.IsZero() && lasts > 0 && !start.IsZero() {
		end = start.Add(lasts)
	}
	if lasts >= time.Minute {
		a["minutesDuration"] = int(lasts / time.Minute)
	}
	at := r.sch.At(11)
	at.Repetition = 1
	switch {
	case len(r.faults) > before:
	case !start.IsZero() && !end.IsZero() && end.Before(start):
		r.fault(endAt, hl7.CodeDataType, "is before the start")
	case !start.IsZero() && !end.IsZero():
		a["start"], a["end"] = instant(start), instant(end)
	case over(status): // app-3: of what does not take place, only this may say no time
		a["status"] = cancelled
	case status == waitlist && start.IsZero() && end.IsZero():
	case start.IsZero():
		at.Component = 4
		r.fault(at, hl7.CodeRequired, "is missing, and so are TQ1-7 and AIS-4: a booking that stands has a start")
	default:
		at = startAt
		at.Component = 0
		r.fault(at, hl7.CodeRequired, "has a start and no end, and neither SCH-9 nor AIS-7 says how long it takes")
	}
}

// place is a component that may hold a time.
type place struct {
	segment          string
	field, component int
}

// firstTime reads the first of several places that holds anything; the zero time
// for none.
func (r *reader) firstTime(places []place) (time.Time, hl7.Location) {
	for _, p := range places {
		for _, s := range r.m.All(p.segment) {
			v := s.Value(p.field, p.component)
			if v == "" || p.segment == "AIS" && gone(s) {
				continue
			}
			at := s.At(p.field)
			at.Repetition, at.Component = 1, p.component
			t, ok := hl7.ParseTime(v, r.zone)
			if !ok || t.Digits < toTheMinute {
				r.fault(at, hl7.CodeDataType, "is no date with a time to the minute at least")
				return time.Time{}, at
			}
			return t.At, at
		}
	}
	return time.Time{}, hl7.Location{}
}

// units are what SCH-10 and AIS-8 may say; minutes where they say nothing.
var units = map[string]time.Duration{
	"": time.Minute, "M": time.Minute, "MIN": time.Minute, "MINUTE": time.Minute, "MINUTES": time.Minute,
	"H": time.Hour, "HR": time.Hour, "HOUR": time.Hour, "HOURS": time.Hour, "S": time.Second, "SEC": time.Second,
}

// longest is the longest booking that is believed.
const longest = 7 * 24 * time.Hour

// duration reads SCH-9 and its unit, else the first AIS-7; 0 for none.
func (r *reader) duration() time.Duration {
	if r.sch.Value(9, 1) != "" {
		return r.lasts(r.sch, 9)
	}
	for _, s := range r.m.All("AIS") {
		if !gone(s) && s.Value(7, 1) != "" {
			return r.lasts(s, 7)
		}
	}
	return 0
}

// lasts reads a duration and, in the field after it, its unit.
func (r *reader) lasts(s *hl7.Segment, field int) time.Duration {
	unit, known := units[strings.ToUpper(s.Value(field+1, 1))]
	if !known {
		r.fault(s.At(field+1), hl7.CodeTable, "is a unit of time that is not known here: minutes (min), hours (h) or seconds (s)")
		return 0
	}
	n, err := strconv.ParseFloat(s.Value(field, 1), 64)
	if most := longest.Seconds() / unit.Seconds(); err != nil || !(n >= 0 && n <= most) {
		r.fault(s.At(field), hl7.CodeDataType, "is no duration")
		return 0
	}
	return time.Duration(n * float64(unit))
}

// reasons reads why the booking was called off, why it was made, and its type.
func (r *reader) reasons(a object) {
	if r.event == "S15" || r.event == "S16" {
		set(a, "cancelationReason", r.concept(r.sch.Field(6).First(), ""))
	}
	reason := r.concept(r.sch.Field(7).First(), "HL70276")
	set(a, "reasonCode", list(reason))
	kind := r.concept(r.sch.Field(8).First(), "HL70277")
	if codes, _ := reason["coding"].([]object); len(codes) > 0 && codes[0]["system"] == table("0276") {
		kind = reason
	}
	set(a, "appointmentType", kind)
}

// services reads what the booking is for.
func (r *reader) services(a object, status string) {
	var out []object
	for _, s := range r.m.All("AIS") {
		if gone(s) {
			continue
		}
		if c := r.concept(s.Field(3).First(), ""); c != nil {
			out = append(out, c)
		}
	}
	set(a, "serviceType", out)
	if out == nil && !over(status) && r.event != "S12" {
		r.fault(hl7.Location{Segment: "AIS"}, hl7.CodeSequence, "is missing: a change says what the booking is for, or it would be taken for one without an operation")
	}
}

// gone reports whether a segment of resources says that it takes no part any
// more: its action is D (table 0206), or its status that it was called off.
func gone(s *hl7.Segment) bool {
	status := map[string]int{"AIS": 10, "AIP": 12, "AIL": 12}[s.Name]
	return s.Value(2, 1) == "D" || over(statuses[strings.ToUpper(s.Value(status, 1))])
}

// orders reads SCH-26 and SCH-27 as logical references.
func (r *reader) orders(a object) {
	var out []object
	for _, field := range []int{26, 27} {
		id, ok := r.entity(r.sch.Field(field).First(), "")
		if ok && id.system != "" {
			out = append(out, object{"type": "ServiceRequest", "identifier": id.object()})
		}
	}
	set(a, "basedOn", out)
}

// comment joins the notes between SCH and the patient.
func (r *reader) comment() string {
	var out []string
	for n := range r.m.Segments {
		s := &r.m.Segments[n]
		switch s.Name {
		case "PID", "RGS":
			return strings.Join(out, "\n")
		case "NTE":
			for _, rep := range s.Field(3) {
				if v := rep.Value(1); v != "" {
					out = append(out, v)
				}
			}
		}
	}
	return strings.Join(out, "\n")
}

// others reads who and what takes part beside the patient: first those who
// operate, by whom a booking is told from another, then the room.
func (r *reader) others(status string) []object {
	var out []object
	for _, name := range []string{"AIP", "AIL"} {
		for _, s := range r.m.All(name) {
			if gone(s) || s.Field(3).First().Empty() {
				continue
			}
			p := object{"status": status}
			actor := object(nil)
			if name == "AIP" {
				actor = r.practitioner(s)
				set(p, "type", list(r.concept(s.Field(4).First(), "")))
			} else {
				actor = r.place(s)
			}
			if set(p, "actor", actor); actor != nil {
				out = append(out, p)
			}
		}
	}
	return out
}

package siu

import (
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/countback/pkg/hl7"
)

// Options say how names in messages are read.
type Options struct {
	// Systems gives, by the name of an assigning authority or of a coding system,
	// the system of FHIR.
	Systems map[string]string
	Zone    *time.Location            // of times that say no offset
	Zones   map[string]*time.Location // the same for one sender, by its [Source]
}

// events are what is taken, with the status that an event means by itself.
var events = map[string]string{
	"S12": booked, "S13": booked, "S14": booked,
	"S15": cancelled, "S16": cancelled, "S17": inError, "S26": noshow,
}

// Event is the event of a message if it is one that is taken, else "other": a
// word that may stand in a log.
func Event(m *hl7.Message) string {
	if e := m.Header().Value(9, 2); m.Header().Value(9, 1) == "SIU" && events[e] != "" {
		return e
	}
	return "other"
}

// sender is the application and the facility that sent a message, MSH-3 and MSH-4.
func sender(m *hl7.Message) (app, facility string) {
	h := m.Header()
	return named(h.Field(3).First()), named(h.Field(4).First())
}

// named is the name of a hierarchic designator, else its universal id.
func named(r hl7.Repetition) string {
	if r.Value(1) != "" {
		return r.Value(1)
	}
	return r.Value(2)
}

// Source names the sender as meta.source does, hl7v2:APPLICATION/FACILITY; empty
// where it does not name its application.
func Source(m *hl7.Message) string {
	app, facility := sender(m)
	if app == "" {
		return ""
	}
	out := "hl7v2:" + url.QueryEscape(app)
	if facility != "" {
		out += "/" + url.QueryEscape(facility)
	}
	return out
}

// Map makes a transaction of a message. An error is [hl7.Faults]: all that is
// wrong with it, by place.
func Map(m *hl7.Message, o Options) (*Transaction, error) {
	r := &reader{m: m, o: o, zone: o.Zone}
	if zone := o.Zones[Source(m)]; zone != nil {
		r.zone = zone
	}
	r.header()
	if len(r.faults) > 0 { // nothing else of it can be trusted
		return nil, r.faults
	}
	r.characters()
	r.sch, r.pid = r.one("SCH"), r.one("PID")
	if r.sch != nil && r.pid != nil {
		r.patient()
		r.appointment()
	}
	if len(r.faults) > 0 {
		return nil, r.faults
	}
	return &Transaction{Source: Source(m), entries: r.entries}, nil
}

// reader is one message being read.
type reader struct {
	m        *hl7.Message
	o        Options
	zone     *time.Location
	event    string
	sch, pid *hl7.Segment
	meta     object
	person   string // fullUrl of the Patient
	entries  []entry
	faults   hl7.Faults
}

func (r *reader) fault(at hl7.Location, code int, text string) {
	r.faults = append(r.faults, hl7.Fault{At: at, Code: code, Text: text})
}

// one gives the one segment of a name that a message must have.
func (r *reader) one(name string) *hl7.Segment {
	all := r.m.All(name)
	switch len(all) {
	case 1:
		return all[0]
	case 0:
		r.fault(hl7.Location{Segment: name}, hl7.CodeSequence, "is missing")
	default:
		r.fault(hl7.Location{Segment: name, Number: 2}, hl7.CodeSequence, "is one too many: a message is about one booking of one patient")
	}
	return nil
}

// characters refuses what no text in FHIR may hold: an escape sequence can bring
// in anything.
func (r *reader) characters() {
	odd := func(c rune) bool { return c < ' ' && c != '\t' && c != '\n' && c != '\r' || c == 0x7F }
	for n := range r.m.Segments {
		s := &r.m.Segments[n]
		for f := range s.Fields {
			if slices.ContainsFunc(s.Fields[f], func(rep hl7.Repetition) bool {
				return slices.ContainsFunc(rep, func(c hl7.Component) bool {
					return slices.ContainsFunc(c, func(v string) bool { return strings.ContainsFunc(v, odd) })
				})
			}) {
				r.fault(s.At(f+1), hl7.CodeDataType, "holds a control character")
			}
		}
	}
}

// header reads MSH: whether the message is one that is taken, from whom, and
// where it stands in the sender's order.
func (r *reader) header() {
	h := r.m.Header()
	reject := func(field, code int, text string) {
		r.faults = append(r.faults, hl7.Fault{At: h.At(field), Code: code, Text: text, Reject: true})
	}
	r.event = h.Value(9, 2)
	switch version := h.Value(12, 1); {
	case h.Value(9, 1) != "SIU":
		reject(9, hl7.CodeMessageType, "is not SIU, the one type of message that is taken")
	case events[r.event] == "":
		reject(9, hl7.CodeEvent, "is none of the events S12, S13, S14, S15, S16, S17 and S26")
	case h.Value(11, 1) != "P":
		reject(11, hl7.CodeProcessing, "is not P: only what is meant for production is taken")
	case !strings.HasPrefix(version, "2."):
		reject(12, hl7.CodeVersion, "is no version 2 of HL7")
	}
	if h.Value(10, 1) == "" {
		r.fault(h.At(10), hl7.CodeRequired, "is missing: a message is known by it when it is sent again")
	}
	source := Source(r.m)
	if source == "" {
		r.fault(h.At(3), hl7.CodeRequired, "is missing: without the sender's name its messages have no order")
	}
	r.meta = object{"source": source}
	sent, ok := hl7.ParseTime(h.Value(7, 1), r.zone)
	switch {
	case h.Value(7, 1) == "":
		r.fault(h.At(7), hl7.CodeRequired, "is missing: it says which of two messages is the later")
	case !ok || sent.Digits < toTheMinute:
		r.fault(h.At(7), hl7.CodeDataType, "is no date with a time to the minute at least")
	case !sent.Twice:
		r.meta["lastUpdated"] = instant(sent.At)
	}
	if n, ok := counter(h.Value(10, 1)); ok {
		r.meta["versionId"] = n
	}
}

// counts is a message's id that counts: digits, perhaps after letters.
var counts = regexp.MustCompile(`^[A-Za-z]*(\d{1,18})$`)

// counter gives the number of a message's id, which breaks the tie between two
// messages of one moment.
func counter(id string) (string, bool) {
	parts := counts.FindStringSubmatch(id)
	if parts == nil {
		return "", false
	}
	n, err := strconv.ParseInt(parts[1], 10, 64)
	return strconv.FormatInt(n, 10), err == nil
}

const (
	toTheDay    = 8  // digits of a date
	toTheMinute = 12 // digits of a date with a time to the minute
)

func instant(t time.Time) string { return t.Format("2006-01-02T15:04:05.999999999Z07:00") }

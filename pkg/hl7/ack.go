package hl7

import (
	"strconv"
	"time"
)

// Codes of table 0008, acknowledgment code.
const (
	Accept = "AA"
	Error  = "AE" // what the message says cannot be taken
	Reject = "AR" // the message is none that is taken, or nothing can be taken now
)

// Ack is the answer to a message.
type Ack struct {
	Code   string    // Accept, Error or Reject
	ID     string    // of the answer itself, MSH-10
	Now    time.Time // MSH-7, written with its offset
	Faults []Fault
}

// Print writes the answer to m, which may be nil where it could not be read at
// all. It holds of the message only what its header says: who sent it to whom,
// its id, event and version.
func (a Ack) Print(m *Message) []byte {
	h := m.Header()
	out := &Message{Separators: Standard}
	if m != nil {
		out.Separators, out.latin1 = m.Separators, m.latin1
	}
	kind := Repetition{{"ACK"}}
	if event := h.Value(9, 2); event != "" {
		kind = Repetition{{"ACK"}, {event}, {"ACK"}}
	}
	header := Segment{Name: "MSH", Fields: []Field{nil, nil, // the separators, which Print knows
		h.Field(5), h.Field(6), h.Field(3), h.Field(4), text(a.Now.Format("20060102150405-0700")), nil, {kind}, text(a.ID),
		or(h.Field(11), "P"), or(h.Field(12), "2.5.1")}}
	if charset := h.Field(18); charset != nil {
		header.Fields = append(header.Fields, nil, nil, nil, nil, nil, charset)
	}
	msa := Segment{Name: "MSA", Fields: []Field{text(a.Code), h.Field(10)}}
	out.Segments = append(out.Segments, header, msa)
	for _, f := range a.Faults {
		out.Segments = append(out.Segments, f.segment())
	}
	return out.Print()
}

// segment is ERR.
func (f Fault) segment() Segment {
	severity := f.Severity
	if severity == "" {
		severity = "E"
	}
	code := Repetition{{strconv.Itoa(f.Code)}, {displays[f.Code]}, {"HL70357"}}
	return Segment{Name: "ERR", Fields: []Field{nil, f.At.erl(), {code}, text(severity), nil, nil, nil, text(f.Text)}}
}

// erl is the place as ERR-2 has it, without what is not named at its end.
func (l Location) erl() Field {
	if l.Segment == "" {
		return nil
	}
	r := Repetition{{l.Segment}}
	for _, n := range []int{l.Number, l.Field, l.Repetition, l.Component, l.Subcomponent} {
		if n == 0 {
			r = append(r, nil)
			continue
		}
		r = append(r, Component{strconv.Itoa(n)})
	}
	for len(r[len(r)-1]) == 0 {
		r = r[:len(r)-1]
	}
	return Field{r}
}

func text(s string) Field {
	if s == "" {
		return nil
	}
	return Field{{{s}}}
}

func or(f Field, otherwise string) Field {
	if f == nil {
		return text(otherwise)
	}
	return f
}

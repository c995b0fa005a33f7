package hl7

import "strings"

// Message is one message, decoded.
type Message struct {
	Separators Separators
	Segments   []Segment // MSH first
	latin1     bool      // sent in ISO 8859-1
}

// Separators are the characters that MSH-1 and MSH-2 name. Truncation is 0 where
// MSH-2 names none.
type Separators struct {
	Field, Component, Repetition, Escape, Subcomponent, Truncation byte
}

// Standard are the separators that the standard recommends.
var Standard = Separators{Field: '|', Component: '^', Repetition: '~', Escape: '\\', Subcomponent: '&'}

// Segment is one segment. Fields[0] is field 1; of MSH that is the field
// separator itself, and Fields[1] holds the other separators.
type Segment struct {
	Name   string
	Number int // among the segments of its name, from 1
	Fields []Field
}

// Field is the repetitions of a field; nil for an empty one.
type Field []Repetition

// Repetition is the components of one repetition; nil for an empty one.
type Repetition []Component

// Component is the subcomponents of a component; nil for an empty one.
type Component []string

// null is how a sender says that a value is to be deleted. Who sends the whole
// of what is known each time says the same by sending nothing.
const null = `""`

// Field gives field n, or nil.
func (s *Segment) Field(n int) Field {
	if s == nil || n < 1 || n > len(s.Fields) {
		return nil
	}
	return s.Fields[n-1]
}

// Value gives a component of the first repetition of a field; empty for none.
func (s *Segment) Value(field, component int) string {
	return s.Field(field).First().Value(component)
}

// At is the place of a field of the segment.
func (s *Segment) At(field int) Location {
	return Location{Segment: s.Name, Number: s.Number, Field: field}
}

// First gives the first repetition, or nil.
func (f Field) First() Repetition {
	if len(f) == 0 {
		return nil
	}
	return f[0]
}

// Value gives the first subcomponent of component n; empty for none.
func (r Repetition) Value(n int) string { return r.Sub(n, 1) }

// Sub gives a subcomponent of component n; empty for none.
func (r Repetition) Sub(n, sub int) string {
	if n < 1 || n > len(r) || sub < 1 || sub > len(r[n-1]) {
		return ""
	}
	if v := strings.TrimSpace(r[n-1][sub-1]); v != null {
		return v
	}
	return ""
}

// Empty reports whether nothing is said.
func (r Repetition) Empty() bool {
	for n := range r {
		for sub := range r[n] {
			if r.Sub(n+1, sub+1) != "" {
				return false
			}
		}
	}
	return true
}

// All gives the segments of a name in order.
func (m *Message) All(name string) []*Segment {
	var out []*Segment
	for n := range m.Segments {
		if m.Segments[n].Name == name {
			out = append(out, &m.Segments[n])
		}
	}
	return out
}

// Header is MSH.
func (m *Message) Header() *Segment {
	if m == nil || len(m.Segments) == 0 {
		return nil
	}
	return &m.Segments[0]
}

// Print writes the message, each segment ended by a carriage return.
func (m *Message) Print() []byte {
	var out []byte
	for n := range m.Segments {
		s := &m.Segments[n]
		out = append(out, s.Name...)
		fields := s.Fields
		if n == 0 {
			out = append(append(out, m.Separators.Field), m.Separators.others()...)
			fields = fields[min(2, len(fields)):]
		}
		for _, f := range fields {
			out = m.field(append(out, m.Separators.Field), f)
		}
		out = append(out, '\r')
	}
	return out
}

func (m *Message) field(out []byte, f Field) []byte {
	for i, r := range f {
		if i > 0 {
			out = append(out, m.Separators.Repetition)
		}
		for j, c := range r {
			if j > 0 {
				out = append(out, m.Separators.Component)
			}
			for k, v := range c {
				if k > 0 {
					out = append(out, m.Separators.Subcomponent)
				}
				out = m.encode(out, v)
			}
		}
	}
	return out
}

// others is MSH-2.
func (s Separators) others() []byte {
	out := []byte{s.Component, s.Repetition, s.Escape, s.Subcomponent}
	if s.Truncation != 0 {
		out = append(out, s.Truncation)
	}
	return out
}

package hl7

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
)

// Parse reads a message. An error is a [Fault]; the message that comes with it
// has at least MSH where that can be read, and is nil where it cannot.
func Parse(b []byte) (*Message, error) {
	lines := bytes.FieldsFunc(b, func(r rune) bool { return r == '\r' || r == '\n' })
	if len(lines) == 0 || len(lines[0]) < 8 || string(lines[0][:3]) != "MSH" {
		return nil, Fault{Code: CodeSequence, Text: "the message does not begin with MSH, field separator and encoding characters", Reject: true}
	}
	m := &Message{}
	if err := m.separators(lines[0]); err != nil {
		return nil, err
	}
	if err := m.charset(lines[0]); err != nil {
		return nil, err
	}
	count := map[string]int{}
	for n, line := range lines {
		name, ok := segmentName(line, m.Separators.Field)
		if !ok {
			return m, Fault{Code: CodeSequence, Text: fmt.Sprintf("line %d does not begin with the name of a segment", n+1), Reject: true}
		}
		if n > 0 && name == "MSH" {
			return m, Fault{At: Location{Segment: "MSH", Number: 2}, Code: CodeSequence, Text: "begins a second message: one is sent at a time", Reject: true}
		}
		count[name]++
		s, err := m.segment(name, count[name], string(line[3:]))
		if err != nil {
			return m, err
		}
		m.Segments = append(m.Segments, s)
	}
	return m, nil
}

// separators reads MSH-1 and MSH-2.
func (m *Message) separators(line []byte) error {
	bad := Fault{At: Location{Segment: "MSH", Number: 1, Field: 2}, Code: CodeDataType, Reject: true,
		Text: "must be four or five different characters, such as ^~\\&, other than letters, digits and the field separator"}
	others, _, _ := bytes.Cut(line[4:], line[3:4])
	if len(others) != 4 && len(others) != 5 {
		return bad
	}
	all := append([]byte{line[3]}, others...)
	for n, c := range all {
		if c <= ' ' || c > '~' || c >= '0' && c <= '9' || c >= 'A' && c <= 'Z' || c >= 'a' && c <= 'z' || bytes.IndexByte(all, c) != n {
			return bad
		}
	}
	m.Separators = Separators{Field: all[0], Component: all[1], Repetition: all[2], Escape: all[3], Subcomponent: all[4]}
	if len(all) == 6 {
		m.Separators.Truncation = all[5]
	}
	return nil
}

// charset reads MSH-18, as raw as it stands there: before it, nothing can be
// decoded.
func (m *Message) charset(line []byte) error {
	fields := strings.Split(string(line), string(m.Separators.Field))
	if len(fields) < 18 {
		return nil
	}
	name, _, _ := strings.Cut(fields[17], string(m.Separators.Repetition))
	switch strings.ToUpper(strings.TrimSpace(name)) {
	case "", null, "ASCII", "UNICODE UTF-8", "UTF-8":
	case "8859/1":
		m.latin1 = true
	default:
		return Fault{At: Location{Segment: "MSH", Number: 1, Field: 18}, Code: CodeTable, Reject: true,
			Text: "names a character set other than ASCII, UNICODE UTF-8 and 8859/1"}
	}
	return nil
}

// segmentName is three capital letters or digits, the first a letter, before the
// end or a field separator.
func segmentName(line []byte, field byte) (string, bool) {
	if len(line) < 3 || len(line) > 3 && line[3] != field {
		return "", false
	}
	for n, c := range line[:3] {
		if (c < 'A' || c > 'Z') && (n == 0 || c < '0' || c > '9') {
			return "", false
		}
	}
	return string(line[:3]), true
}

// segment reads what follows a segment's name.
func (m *Message) segment(name string, number int, rest string) (Segment, error) {
	s := Segment{Name: name, Number: number}
	if rest == "" {
		return s, nil
	}
	fields := strings.Split(rest[1:], string(m.Separators.Field))
	if name == "MSH" { // its first field is the separator itself, and the second would be cut up
		s.Fields = []Field{{{{string(m.Separators.Field)}}}, {{{fields[0]}}}}
		fields = fields[1:]
	}
	for _, raw := range fields {
		f, ok := m.readField(raw)
		if !ok {
			return s, Fault{At: s.At(len(s.Fields) + 1), Code: CodeDataType, Text: "is not in the character set that MSH-18 names (UTF-8 where it names none)"}
		}
		s.Fields = append(s.Fields, f)
	}
	return s, nil
}

func (m *Message) readField(raw string) (Field, bool) {
	if raw == "" {
		return nil, true
	}
	var out Field
	for rep := range strings.SplitSeq(raw, string(m.Separators.Repetition)) {
		var r Repetition
		if rep != "" {
			for comp := range strings.SplitSeq(rep, string(m.Separators.Component)) {
				var c Component
				if comp != "" {
					c = strings.Split(comp, string(m.Separators.Subcomponent))
				}
				for n := range c {
					var ok bool
					if c[n], ok = m.decode(c[n]); !ok {
						return nil, false
					}
				}
				r = append(r, c)
			}
		}
		out = append(out, r)
	}
	return slices.Clip(out), true
}

package hl7

import (
	"encoding/hex"
	"fmt"
	"strings"
	"unicode/utf8"
)

// decode gives the text of a subcomponent. The second result is false where it
// is not in the character set.
func (m *Message) decode(raw string) (string, bool) {
	text := raw
	if strings.IndexByte(raw, m.Separators.Escape) >= 0 {
		text = m.unescape(raw)
	}
	if !m.latin1 {
		return text, utf8.ValidString(text)
	}
	var out strings.Builder
	for n := range len(text) {
		out.WriteRune(rune(text[n]))
	}
	return out.String(), true
}

func (m *Message) unescape(raw string) string {
	var out strings.Builder
	esc := string(m.Separators.Escape)
	for {
		before, rest, found := strings.Cut(raw, esc)
		out.WriteString(before)
		if !found {
			return out.String()
		}
		code, after, closed := strings.Cut(rest, esc)
		said, known := m.sequence(code)
		if !closed || !known {
			out.WriteString(esc) // it begins no sequence that is known: what was sent stays
			raw = rest
			if closed {
				out.WriteString(code + esc)
				raw = after
			}
			continue
		}
		out.WriteString(said)
		raw = after
	}
}

// sequence says what an escape sequence stands for.
func (m *Message) sequence(code string) (string, bool) {
	s := m.Separators
	switch code {
	case "F":
		return string(s.Field), true
	case "S":
		return string(s.Component), true
	case "T":
		return string(s.Subcomponent), true
	case "R":
		return string(s.Repetition), true
	case "E":
		return string(s.Escape), true
	case "P":
		return string(s.Truncation), s.Truncation != 0
	case "H", "N":
		return "", true
	case ".br":
		return "\n", true
	}
	if digits, ok := strings.CutPrefix(code, "X"); ok && digits != "" {
		b, err := hex.DecodeString(digits)
		return string(b), err == nil
	}
	return "", false
}

// encode writes a text so that decode gives it back.
func (m *Message) encode(out []byte, text string) []byte {
	s := m.Separators
	letters := map[byte]byte{s.Field: 'F', s.Component: 'S', s.Subcomponent: 'T', s.Repetition: 'R', s.Escape: 'E'}
	if s.Truncation != 0 {
		letters[s.Truncation] = 'P'
	}
	for _, r := range text {
		b := byte(r)
		switch letter, special := letters[b]; {
		case r < utf8.RuneSelf && special:
			out = append(out, s.Escape, letter, s.Escape)
		case r < ' ':
			out = append(out, s.Escape)
			out = fmt.Appendf(out, "X%02X", b)
			out = append(out, s.Escape)
		case m.latin1:
			out = append(out, b) // decode gave nothing beyond it
		default:
			out = utf8.AppendRune(out, r)
		}
	}
	return out
}

package sheet

import (
	"html/template"
	"regexp"
	"strings"
)

// number is one telephone number as people write it, with an extension that may
// follow.
var number = regexp.MustCompile(`^(\+?)([0-9(][0-9 ().\x{2010}\x{2011}\x{00a0}-]*)(?:[ ,;]*(?i:ext|extension|x)\.? ?([0-9]{1,6}))?$`)

// Dial is the address by which a telephone calls a number (RFC 3966): its digits,
// with the plus and the extension. It is empty where the text is not one number
// alone: better nothing to press than a wrong call. A nought in brackets after a
// country code is not dialled from abroad, nor at home with the code.
func Dial(text string) template.URL {
	parts := number.FindStringSubmatch(strings.TrimSpace(text))
	if parts == nil {
		return ""
	}
	if parts[1] == "+" {
		parts[2] = strings.Replace(parts[2], "(0)", "", 1)
	}
	digits := strings.Map(func(r rune) rune {
		if r < '0' || r > '9' {
			return -1
		}
		return r
	}, parts[2])
	const shortest, longest = 3, 15 // E.164 has at most 15
	if len(digits) < shortest || len(digits) > longest {
		return ""
	}
	out := "tel:" + parts[1] + digits
	if parts[3] != "" {
		out += ";ext=" + parts[3]
	}
	return template.URL(out)
}

// Dial is the number as a telephone calls it; empty: nothing to press.
func (p Phone) Dial() template.URL { return Dial(p.Number) }

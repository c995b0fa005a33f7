package fhir

import "strings"

// primitive is a primitive type of R4.
type primitive uint8

const (
	primNone primitive = iota
	primBase64
	primBoolean
	primCanonical
	primCode
	primDate
	primDateTime
	primDecimal
	primID
	primInstant
	primInteger
	primMarkdown
	primOID
	primPositiveInt
	primString
	primTime
	primUnsignedInt
	primURI
	primURL
	primUUID
	primXHTML
)

// primitives by their FHIR names.
var primitives = map[string]primitive{
	"base64Binary": primBase64, "boolean": primBoolean, "canonical": primCanonical, "code": primCode,
	"date": primDate, "dateTime": primDateTime, "decimal": primDecimal, "id": primID,
	"instant": primInstant, "integer": primInteger, "markdown": primMarkdown, "oid": primOID,
	"positiveInt": primPositiveInt, "string": primString, "time": primTime,
	"unsignedInt": primUnsignedInt, "uri": primURI, "url": primURL, "uuid": primUUID, "xhtml": primXHTML,
}

// jsonKind is the JSON kind that the values of the type have.
func (p primitive) jsonKind() Kind {
	switch p {
	case primBoolean:
		return Bool
	case primDecimal, primInteger, primPositiveInt, primUnsignedInt:
		return Number
	}
	return String
}

// role is what later passes need to know of a value of this type.
func (p primitive) role() role {
	switch p {
	case primURI, primURL, primOID, primUUID:
		return roleURI
	}
	return roleNone
}

// wrong says what a value of the type must look like, or nothing when it does.
// The forms are those of the R4 datatypes page.
func (p primitive) wrong(s string) string {
	ok, form := true, ""
	switch p {
	case primDate:
		_, err := ParseDate(s)
		ok, form = err == nil, "a real calendar date such as 2026-11-30, or 2026-11, or 2026"
	case primDateTime:
		_, err := ParseDateTime(s)
		ok, form = err == nil, "a real date such as 2026-11-30, or with time, seconds and zone such as 2026-11-30T07:30:00-06:00"
	case primInstant:
		_, err := ParseInstant(s)
		ok, form = err == nil, "a date with time, seconds and zone such as 2026-11-30T07:30:00-06:00"
	case primTime:
		ok, form = validTime(s), "a time of day such as 07:30:00"
	case primID:
		ok, form = validID(s), "1 to 64 letters, digits, '-' or '.'"
	case primCode:
		ok, form = validCode(s), "a code without spaces at its ends or double spaces"
	case primURI, primURL, primCanonical:
		ok, form = !strings.ContainsAny(s, " \t\r\n"), "an address without spaces"
	case primOID:
		ok, form = validOID(s), "an OID such as urn:oid:1.2.3"
	case primUUID:
		ok, form = strings.HasPrefix(s, "urn:uuid:") && validUUID(s[9:]), "a UUID such as urn:uuid:c757873d-ec9a-4326-a141-556f43239520"
	case primBase64:
		ok, form = validBase64(s), "base64 text"
	case primInteger:
		ok, form = validInteger(s, false), "a whole number between -2147483648 and 2147483647"
	case primUnsignedInt:
		ok, form = validInteger(s, true), "a whole number, 0 or more"
	case primPositiveInt:
		ok, form = validInteger(s, true) && s != "0", "a whole number, 1 or more"
	}
	if ok {
		return ""
	}
	return form
}

func validID(s string) bool {
	if s == "" || len(s) > 64 {
		return false
	}
	for i := range len(s) {
		c := s[i]
		if !(c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '-' || c == '.') {
			return false
		}
	}
	return true
}

// validCode: no white space at the ends, single ones inside.
func validCode(s string) bool {
	space := true
	for i := range len(s) {
		now := s[i] == ' ' || s[i] == '\t' || s[i] == '\r' || s[i] == '\n'
		if now && space {
			return false
		}
		space = now
	}
	return !space
}

func validUUID(s string) bool {
	if len(s) != 36 {
		return false
	}
	for i := range len(s) {
		c := s[i]
		if i == 8 || i == 13 || i == 18 || i == 23 {
			if c != '-' {
				return false
			}
		} else if !(c >= '0' && c <= '9' || c >= 'a' && c <= 'f' || c >= 'A' && c <= 'F') {
			return false
		}
	}
	return true
}

func validOID(s string) bool {
	rest, found := strings.CutPrefix(s, "urn:oid:")
	if !found {
		return false
	}
	for i, part := range strings.Split(rest, ".") {
		if part == "" || len(part) > 1 && part[0] == '0' || i == 0 && (len(part) > 1 || part[0] > '2') {
			return false
		}
		if strings.Trim(part, "0123456789") != "" {
			return false
		}
	}
	return strings.Contains(rest, ".")
}

func validTime(s string) bool {
	sc := scanner{rest: s}
	sc.digits(2, 0, 23)
	colon := sc.take(':')
	sc.digits(2, 0, 59)
	colon = sc.take(':') && colon
	sc.digits(2, 0, 60)
	if sc.take('.') {
		var d DateTime
		d.fraction(&sc)
	}
	return colon && !sc.bad && sc.rest == ""
}

func validBase64(s string) bool {
	n, pad := 0, 0
	for i := range len(s) {
		c := s[i]
		switch {
		case c == ' ' || c == '\t' || c == '\r' || c == '\n':
			continue
		case c == '=':
			pad++
		case pad > 0:
			return false
		case !(c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '+' || c == '/'):
			return false
		}
		n++
	}
	return n%4 == 0 && n > 0 && pad <= 2
}

// validInteger: a whole number of 32 bits written without point or exponent.
func validInteger(s string, unsigned bool) bool {
	digits, negative := strings.CutPrefix(s, "-")
	if negative && unsigned || digits == "" || len(digits) > 10 || strings.Trim(digits, "0123456789") != "" {
		return false
	}
	limit := "2147483647"
	if negative {
		limit = "2147483648"
	}
	return len(digits) < 10 || digits <= limit
}

package search

import (
	"slices"
	"strings"

	"example.org/countback/pkg/fhir"
)

// filter reads a parameter that chooses rows; false leaves it out of Used.
func (p *parser) filter(name string, values []string) bool {
	if strings.HasPrefix(name, hasParam+":") {
		return p.has(name, values)
	}
	if link, rest, chained := strings.Cut(name, "."); chained {
		return p.chain(link, rest, name, values)
	}
	code, modifier, _ := strings.Cut(name, ":")
	param, known := Lookup(p.q.Type, code)
	if !known {
		if p.Strict {
			p.fail("", fhir.CodeNotSupported, "unknown search parameter", "unknown search parameter "+name)
		}
		return false
	}
	ok := true
	for _, value := range values {
		c, good := p.clause(param, modifier, value)
		p.q.Clauses = append(p.q.Clauses, c)
		ok = ok && good
	}
	return ok
}

func (p *parser) clause(param Param, modifier, value string) (Clause, bool) {
	c := Clause{Param: param, Rows: param.Rows()}
	alternatives := splitUnescaped(value, ',')
	if len(alternatives) > maxMatches {
		p.fail(param.Code, fhir.CodeTooCostly, "has too many alternatives", "")
		return c, false
	}
	read := p.readers()[param.Kind]
	switch {
	case modifier == "":
	case modifier == "missing":
		c.Modifier, c.Want = Missing, value == "true"
		if value != "true" && value != "false" {
			p.fail(param.Code, fhir.CodeValue, "the modifier missing takes true or false", value)
			return c, false
		}
		if param.Kind == Composite {
			c.Param = param.lacking()
			c.Rows = c.Param.Rows()
		}
		return c, true
	case (modifier == "in" || modifier == "not-in") && param.Kind == Token && param.Column != ColumnID:
		return p.within(c, modifier, value)
	case modifier == "text" && param.worded:
		c.Param, c.Rows = Param{Code: param.Code, Kind: String}, param.Rows()+textSuffix
		read = readString
	case modifier == "not" && param.Kind == Token:
		c.Modifier = Not
	case modifier == "of-type" && param.typed:
		c.Rows, read = param.Rows()+ofTypeSuffix, readOfType
	case modifier == "exact" && param.Kind == String:
		c.Modifier = Exact
	case modifier == "contains" && param.Kind == String:
		c.Modifier = Contains
	case modifier == "identifier" && param.Kind == Reference && param.extract != nil && !param.canonical:
		c.Param, c.Rows = Param{Code: param.Code, Kind: Token}, param.Rows()+identifierSuffix
		read = readToken
	case param.Kind == Reference && !param.canonical && fhir.IsResourceType(modifier) && (param.only == "" || param.only == modifier):
		read = readTyped(read, modifier)
	default:
		p.fail(param.Code, fhir.CodeNotSupported, "this modifier is not supported", modifier)
		return c, false
	}
	if param.Kind == Composite {
		return p.pair(c, alternatives)
	}
	for _, alternative := range alternatives {
		m, ok := read(c, alternative)
		if !ok {
			p.fail(param.Code, fhir.CodeValue, "not a valid "+c.Param.Kind.String()+" value", alternative)
			return c, false
		}
		c.Matches = append(c.Matches, m)
	}
	return c, true
}

// reader reads one alternative, still escaped.
type reader func(Clause, string) (Match, bool)

func (p *parser) readers() map[Kind]reader {
	return map[Kind]reader{Token: readToken, Date: p.readDate, Reference: p.readReference, String: readString, URI: readURI, Quantity: readQuantity}
}

// readToken reads code, system|code, |code and system|.
func readToken(c Clause, s string) (Match, bool) {
	parts := splitUnescaped(s, '|')
	for i := range parts {
		parts[i] = unescape(parts[i])
	}
	switch {
	case len(parts) == 1:
		return Match{HasValue: true, Value: parts[0]}, parts[0] != ""
	case len(parts) > 2 || parts[0] == "" && parts[1] == "" || c.Param.Column == ColumnID:
		return Match{}, false
	}
	return Match{HasSystem: true, System: parts[0], HasValue: parts[1] != "", Value: parts[1]}, true
}

// readOfType reads system|code|value: the type of an identifier, and its value.
func readOfType(_ Clause, s string) (Match, bool) {
	parts := splitUnescaped(s, '|')
	if len(parts) != 3 || parts[1] == "" || parts[2] == "" {
		return Match{}, false
	}
	return Match{HasSystem: true, System: unescape(parts[0]) + "|" + unescape(parts[1]), HasValue: true, Value: unescape(parts[2])}, true
}

var prefixes = []Prefix{Equal, NotEqual, Greater, Less, AtLeast, AtMost, StartsPast, EndsBefore, Near}

// nearPart is how far "ap" reaches: this part of the distance from now.
// Source: FHIR R4 Search recommends 10 %.
const nearPart = 10

func (p *parser) readDate(_ Clause, s string) (Match, bool) {
	s = unescape(s)
	m := Match{Prefix: Equal}
	if len(s) > 2 && slices.Contains(prefixes, Prefix(s[:2])) {
		m.Prefix, s = Prefix(s[:2]), s[2:]
	}
	d, err := fhir.ParseSearchDate(s)
	if err != nil {
		return Match{}, false
	}
	m.Low, m.High = micros(d, p.Zone)
	if m.Prefix == Near && !p.Now.IsZero() {
		distance := p.Now.UnixMicro() - m.Low
		reach := max(distance, -distance) / nearPart
		m.Low, m.High = m.Low-reach, m.High+reach
	}
	return m, true
}

// readReference reads id, Type/id, an absolute reference below the own base,
// any other absolute reference, and for a canonical url and url|version.
func (p *parser) readReference(c Clause, s string) (Match, bool) {
	if c.Param.canonical {
		parts := splitUnescaped(s, '|')
		m := Match{HasValue: true, Value: unescape(parts[0]), HasSystem: len(parts) == 2}
		if m.HasSystem {
			m.System = unescape(parts[1])
		}
		return m, m.Value != "" && len(parts) <= 2 && (!m.HasSystem || m.System != "")
	}
	s = unescape(s)
	if !strings.ContainsAny(s, "/:?#") {
		ref, err := fhir.ParseRef("Patient/"+s, "") // any type: only the form of the id is checked
		return Match{HasValue: true, Value: ref.ID}, err == nil && ref.ID == s
	}
	ref, err := fhir.ParseRef(s, p.Base)
	switch {
	case err != nil:
		return Match{}, false
	case ref.IsLocal():
		return Match{HasSystem: true, System: ref.Type, HasValue: true, Value: ref.ID}, true
	case ref.Foreign != "":
		return Match{HasSystem: true, HasValue: true, Value: ref.Foreign}, true
	case ref.URN != "":
		return Match{HasSystem: true, HasValue: true, Value: ref.URN}, true
	}
	return Match{}, false
}

// readTyped reads subject:Patient=id.
func readTyped(read reader, typ string) reader {
	return func(c Clause, s string) (Match, bool) {
		m, ok := read(c, s)
		if !ok || (m.HasSystem && m.System != typ) {
			return Match{}, false
		}
		m.HasSystem, m.System = true, typ
		return m, true
	}
}

func readString(c Clause, s string) (Match, bool) {
	s = unescape(s)
	m := Match{HasValue: true, Value: s}
	if c.Modifier != Exact {
		m.Value = fold(s)
	}
	return m, m.Value != ""
}

func readURI(_ Clause, s string) (Match, bool) {
	s = unescape(s)
	return Match{HasValue: true, Value: s}, s != ""
}

// splitUnescaped splits at a separator that no backslash stands before; the
// parts keep their escapes.
func splitUnescaped(s string, sep byte) []string {
	var out []string
	start := 0
	for i := 0; i < len(s); i++ {
		switch s[i] {
		case '\\':
			i++
		case sep:
			out = append(out, s[start:i])
			start = i + 1
		}
	}
	return append(out, s[start:])
}

// unescape resolves \, \| \$ and \\; any other backslash stands for itself.
func unescape(s string) string {
	if !strings.Contains(s, `\`) {
		return s
	}
	var b strings.Builder
	for i := 0; i < len(s); i++ {
		if s[i] == '\\' && i+1 < len(s) && strings.IndexByte(`,|$\`, s[i+1]) >= 0 {
			i++
		}
		b.WriteByte(s[i])
	}
	return b.String()
}

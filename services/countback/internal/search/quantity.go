package search

import (
	"math/big"
	"slices"
	"strings"

	"example.org/countback/pkg/fhir"
)

// perUnit is how finely numbers are told apart: they are held as whole millionths,
// as instants are as microseconds.
const perUnit = 1_000_000

// greatest is the greatest number that is held, in whole units.
const greatest = 9_000_000_000_000

// longestNumber bounds what is reckoned with: an exponent of a billion is text of
// a few bytes.
const longestNumber = 40

// number reads a decimal: its value in millionths, and half of what its last
// digit counts.
func number(s string) (at, half *big.Rat, ok bool) {
	mantissa, exponent, _ := strings.Cut(strings.ToLower(s), "e")
	if len(s) > longestNumber || len(strings.TrimLeft(exponent, "+-")) > 2 || strings.Contains(s, "/") || strings.ContainsAny(s, "_xXpPbBoO") {
		return nil, nil, false
	}
	v, ok := new(big.Rat).SetString(s)
	if !ok || new(big.Rat).Abs(v).Cmp(big.NewRat(greatest, 1)) > 0 {
		return nil, nil, false
	}
	digits := 0
	if _, fraction, found := strings.Cut(mantissa, "."); found {
		digits = len(fraction)
	}
	last, ok := new(big.Rat).SetString("1e" + orZero(exponent))
	if !ok {
		return nil, nil, false
	}
	for range digits {
		last.Quo(last, big.NewRat(10, 1))
	}
	scale := big.NewRat(perUnit, 1)
	return v.Mul(v, scale), last.Mul(last, scale).Quo(last, big.NewRat(2, 1)), true
}

func orZero(s string) string {
	if s == "" {
		return "0"
	}
	return s
}

// whole rounds to the nearest whole number, halves up.
func whole(r *big.Rat) int64 {
	doubled := new(big.Int).Add(new(big.Int).Mul(r.Num(), big.NewInt(2)), r.Denom())
	return new(big.Int).Div(doubled, new(big.Int).Mul(r.Denom(), big.NewInt(2))).Int64()
}

// quantities are elements of type Quantity: a number with its unit, as code of a
// system and as a text.
func quantities(code, definition string, paths ...string) Param {
	return Param{Code: code, Kind: Quantity, Definition: definition, extract: func(r *fhir.Resource, e *extraction) {
		for _, path := range paths {
			walk(r.Root(), strings.Split(path, "."), func(n *fhir.Node) { e.quantity(code, n) })
		}
	}}
}

func (e *extraction) quantity(rows string, n *fhir.Node) {
	if n.Get("low").Exists() || n.Get("high").Exists() {
		e.between(rows, n)
		return
	}
	at, _, ok := number(n.String("value"))
	if !ok {
		return
	}
	v := Value{Param: rows, Kind: Quantity, System: n.String("system"), Value: n.String("code"), Low: whole(at)}
	v.High = v.Low + 1
	switch n.String("comparator") {
	case "<":
		v.Low, v.High = Earliest, v.Low
	case "<=":
		v.Low = Earliest
	case ">":
		v.Low, v.High = v.High, Latest
	case ">=":
		v.High = Latest
	}
	e.add(v)
	if unit := n.String("unit"); unit != "" && unit != v.Value {
		v.System, v.Value = "", unit
		e.add(v)
	}
}

// between is a Range: a quantity somewhere from low to high.
func (e *extraction) between(rows string, n *fhir.Node) {
	v := Value{Param: rows, Kind: Quantity, Low: Earliest, High: Latest}
	for _, name := range []string{"low", "high"} {
		end := n.Get(name)
		at, _, ok := number(end.String("value"))
		if !ok {
			continue
		}
		v.System, v.Value = end.String("system"), end.String("code")
		if name == "low" {
			v.Low = whole(at)
		} else {
			v.High = whole(at) + 1
		}
	}
	e.add(v)
}

// readQuantity reads [prefix]number, number|system|code and number||code, of which
// the code may also be the text of the unit. Without a prefix, a number stands for
// all that round to it: 5.4 for 5.35 up to 5.45. With one, it is exact; ap means
// within a tenth.
//
// Source: HL7 FHIR R4 (4.0.1), Search, 3.1.1.4.3 (prefixes), 3.1.1.4.9 (number)
// and 3.1.1.4.13 (quantity).
func readQuantity(_ Clause, s string) (Match, bool) {
	parts := splitUnescaped(s, '|')
	for i := range parts {
		parts[i] = unescape(parts[i])
	}
	m := Match{Prefix: Equal}
	if len(parts[0]) > 2 && slices.Contains(prefixes, Prefix(parts[0][:2])) {
		m.Prefix, parts[0] = Prefix(parts[0][:2]), parts[0][2:]
	}
	at, half, ok := number(parts[0])
	if !ok || len(parts) == 2 || len(parts) > 3 || len(parts) == 3 && parts[2] == "" {
		return Match{}, false
	}
	switch m.Prefix {
	case Equal, NotEqual:
		m.Low, m.High = whole(new(big.Rat).Sub(at, half)), whole(new(big.Rat).Add(at, half))
		m.High = max(m.High, m.Low+1)
	case Near:
		reach := new(big.Rat).Quo(new(big.Rat).Abs(at), big.NewRat(nearPart, 1))
		m.Low, m.High = whole(new(big.Rat).Sub(at, reach)), whole(new(big.Rat).Add(at, reach))+1
	default:
		m.Low = whole(at)
		m.High = m.Low + 1
	}
	if len(parts) == 3 {
		m.HasValue, m.Value = true, parts[2]
		m.HasSystem, m.System = parts[1] != "", parts[1]
	}
	return m, true
}

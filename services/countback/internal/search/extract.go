package search

import (
	"math"
	"strconv"
	"strings"
	"time"

	"example.org/countback/pkg/fhir"
)

// Open ends of a period. They leave one value on each side for what has no
// date at all, which sorts behind everything in both directions.
const (
	Earliest = math.MinInt64 + 1
	Latest   = math.MaxInt64 - 1
)

// extraction collects the values of one resource.
type extraction struct {
	base string
	zone *time.Location
	out  []Value
}

// Index takes the values of all parameters that are index rows from a
// resource. base is the service's own FHIR base, zone the time zone in which a
// date without one is read. A value that cannot be read is left out: what is
// let in was checked before. A type without index rows gives nil.
func Index(r *fhir.Resource, base string, zone *time.Location) []Value {
	e := &extraction{base: base, zone: zone}
	for _, p := range table[r.Type] {
		if p.extract != nil {
			p.extract(r, e)
		}
	}
	return e.out
}

// add appends a value once.
func (e *extraction) add(v Value) {
	for _, o := range e.out {
		if o == v {
			return
		}
	}
	e.out = append(e.out, v)
}

// walk calls fn for every element at the path, through all arrays on its way.
func walk(n *fhir.Node, path []string, fn func(*fhir.Node)) {
	for _, item := range n.Items() {
		if len(path) == 0 {
			fn(item)
			continue
		}
		walk(item.Get(path[0]), path[1:], fn)
	}
}

func each(kind Kind, code, definition string, path []string, fn func(*extraction, *fhir.Node)) Param {
	return Param{Code: code, Kind: kind, Definition: definition, extract: func(r *fhir.Resource, e *extraction) {
		walk(r.Root(), path, func(n *fhir.Node) { fn(e, n) })
	}}
}

// codes are elements of type code; their system is that of the value set they
// are bound to.
func codes(code, definition, system string, path ...string) Param {
	return each(Token, code, definition, path, func(e *extraction, n *fhir.Node) {
		e.token(code, system, n.Text())
	})
}

func concepts(code, definition string, path ...string) Param {
	return worded(each(Token, code, definition, path, func(e *extraction, n *fhir.Node) { e.concept(code, n) }))
}

// textSuffix names the rows of the words that go with a token, which only the
// modifier :text searches.
const textSuffix = ":text"

func worded(p Param) Param {
	p.worded = true
	return p
}

// concept is a CodeableConcept: its codes, and the words for it and for each.
func (e *extraction) concept(rows string, n *fhir.Node) {
	for _, c := range n.Get("coding").Items() {
		e.coding(rows, c)
	}
	e.text(rows+textSuffix, n.String("text"))
}

func (e *extraction) coding(rows string, n *fhir.Node) {
	e.token(rows, n.String("system"), n.String("code"))
	e.text(rows+textSuffix, n.String("display"))
}

// codings are elements of type Coding.
func codings(code, definition string, path ...string) Param {
	return worded(each(Token, code, definition, path, func(e *extraction, n *fhir.Node) { e.coding(code, n) }))
}

// conceptsOf are concepts at several places, each a path with dots.
func conceptsOf(code, definition string, paths ...string) Param {
	return worded(Param{Code: code, Kind: Token, Definition: definition, extract: func(r *fhir.Resource, e *extraction) {
		for _, path := range paths {
			walk(r.Root(), strings.Split(path, "."), func(n *fhir.Node) { e.concept(code, n) })
		}
	}})
}

func identifiers(definition string) Param {
	return identifiersAt("identifier", definition, "identifier")
}

func identifiersAt(code, definition string, path ...string) Param {
	p := each(Token, code, definition, path, func(e *extraction, n *fhir.Node) {
		value := n.String("value")
		e.token(code, n.String("system"), value)
		e.text(code+textSuffix, n.String("type", "text"))
		for _, c := range n.Get("type", "coding").Items() {
			if c.String("code") != "" && value != "" {
				e.token(code+ofTypeSuffix, c.String("system")+"|"+c.String("code"), value)
			}
		}
	})
	p.typed = true
	return worded(p)
}

// ofTypeSuffix names the rows of identifiers by their type, which only the
// modifier :of-type searches.
const ofTypeSuffix = ":of-type"

// contacts are ways to reach somebody; kind is one ContactPoint.system, or empty
// for all.
func contacts(code, definition, kind string) Param {
	return each(Token, code, definition, []string{"telecom"}, func(e *extraction, n *fhir.Node) {
		if system := n.String("system"); kind == "" || system == kind {
			e.token(code, system, n.String("value"))
		}
	})
}

// deceased is whether a Patient is known to have died.
func deceased() Param {
	return Param{Code: "deceased", Kind: Token, Definition: "Patient-deceased", extract: func(r *fhir.Resource, e *extraction) {
		dead := r.Get("deceasedDateTime").Exists() || r.Get("deceasedBoolean").Bool()
		e.token("deceased", "", strconv.FormatBool(dead))
	}}
}

func (e *extraction) token(rows, system, code string) {
	if code != "" || system != "" {
		e.add(Value{Param: rows, Kind: Token, System: system, Value: code})
	}
}

func references(code, definition string, targets []string, path ...string) Param {
	p := each(Reference, code, definition, path, func(e *extraction, n *fhir.Node) { e.reference(code, n) })
	p.Targets, p.path = targets, path
	return p
}

// targets are what a Provenance is about. It targets sixty Tasks at a time, which
// would be most of the index: their case stands for them, see [Param.ByMoment].
func targets() Param {
	p := references("target", "Provenance-target", nil, "target")
	p.byMoment = true
	p.extract = func(r *fhir.Resource, e *extraction) {
		walk(r.Root(), p.path, func(n *fhir.Node) {
			ref, err := fhir.RefOf(n, e.base)
			if dot := strings.LastIndexByte(ref.ID, '.'); err == nil && ref.Type == "Task" && dot > 0 {
				e.add(Value{Param: "target", Kind: Reference, System: "Task", Value: ref.ID[:dot]})
				return
			}
			e.reference("target", n)
		})
	}
	return p
}

func (e *extraction) reference(rows string, n *fhir.Node) {
	ref, err := fhir.RefOf(n, e.base)
	if err != nil {
		return
	}
	switch {
	case ref.IsLocal():
		e.add(Value{Param: rows, Kind: Reference, System: ref.Type, Value: ref.ID})
	case ref.Foreign != "":
		e.add(Value{Param: rows, Kind: Reference, Value: ref.Foreign})
	case ref.URN != "":
		e.add(Value{Param: rows, Kind: Reference, Value: ref.URN})
	}
	if ref.Identifier != nil {
		e.token(rows+identifierSuffix, ref.Identifier.System, ref.Identifier.Value)
	}
}

// identifierSuffix names the rows of Reference.identifier, which only the
// modifier :identifier searches.
const identifierSuffix = ":identifier"

func canonicals(code, definition string, path ...string) Param {
	p := each(Reference, code, definition, path, func(e *extraction, n *fhir.Node) {
		url, version, _ := strings.Cut(n.Text(), "|")
		if url != "" {
			e.add(Value{Param: code, Kind: URI, System: version, Value: url})
		}
	})
	p.canonical = true
	return p
}

// uris are elements of type uri or url, which are compared whole.
func uris(code, definition string, path ...string) Param {
	return each(URI, code, definition, path, func(e *extraction, n *fhir.Node) {
		if n.Text() != "" {
			e.add(Value{Param: code, Kind: URI, Value: n.Text()})
		}
	})
}

func texts(code, definition string, path ...string) Param {
	return each(String, code, definition, path, func(e *extraction, n *fhir.Node) { e.text(code, n.Text()) })
}

// textsOf are texts at several places, each a path with dots.
func textsOf(code, definition string, paths ...string) Param {
	return Param{Code: code, Kind: String, Definition: definition, extract: func(r *fhir.Resource, e *extraction) {
		for _, path := range paths {
			walk(r.Root(), strings.Split(path, "."), func(n *fhir.Node) { e.text(code, n.Text()) })
		}
	}}
}

// addresses are all parts of an Address, each for itself, and its text.
func addresses(code, definition string) Param {
	return each(String, code, definition, []string{"address"}, func(e *extraction, n *fhir.Node) {
		for _, part := range []string{"line", "city", "district", "state", "country", "postalCode", "text"} {
			for _, item := range n.Get(part).Items() {
				e.text(code, item.Text())
			}
		}
	})
}

// names are all parts of a HumanName, each for itself, and its text.
func names(code, definition string) Param {
	return each(String, code, definition, []string{"name"}, func(e *extraction, n *fhir.Node) {
		for _, part := range []string{"family", "given", "prefix", "suffix", "text"} {
			for _, item := range n.Get(part).Items() {
				e.text(code, item.Text())
			}
		}
	})
}

func (e *extraction) text(rows, s string) {
	if s != "" {
		e.add(Value{Param: rows, Kind: String, System: s, Value: fold(s)})
	}
}

// instants are elements of type instant: R4 compares them as points.
func instants(code, definition string, path ...string) Param {
	return each(Date, code, definition, path, func(e *extraction, n *fhir.Node) {
		if d, err := fhir.ParseInstant(n.Text()); err == nil {
			start, _ := d.Interval(e.zone)
			low := start.UnixMicro()
			e.add(Value{Param: code, Kind: Date, Low: low, High: low + 1})
		}
	})
}

// dates are elements of type date, dateTime, Period or Timing; several names
// are the variants of one choice element; a name may be a path with dots.
func dates(code, definition string, elements ...string) Param {
	return Param{Code: code, Kind: Date, Definition: definition, extract: func(r *fhir.Resource, e *extraction) {
		for _, name := range elements {
			walk(r.Root(), strings.Split(name, "."), func(n *fhir.Node) { e.date(code, n) })
		}
	}}
}

func (e *extraction) date(rows string, n *fhir.Node) {
	switch {
	case n.Kind() == fhir.String:
		if low, high, ok := e.interval(n.Text()); ok {
			e.add(Value{Param: rows, Kind: Date, Low: low, High: high})
		}
	case n.Get("event").Exists():
		walk(n.Get("event"), nil, func(event *fhir.Node) { e.date(rows, event) })
	case n.Get("repeat", "boundsPeriod").Exists():
		e.date(rows, n.Get("repeat", "boundsPeriod"))
	default:
		e.period(rows, n)
	}
}

func (e *extraction) period(rows string, n *fhir.Node) {
	v := Value{Param: rows, Kind: Date, Low: Earliest, High: Latest}
	low, _, startOK := e.interval(n.String("start"))
	if startOK {
		v.Low = low
	}
	_, high, endOK := e.interval(n.String("end"))
	if endOK {
		v.High = high
	}
	if startOK || endOK {
		e.add(v)
	}
}

func (e *extraction) interval(s string) (low, high int64, ok bool) {
	d, err := fhir.ParseDateTime(s)
	if err != nil {
		return 0, 0, false
	}
	low, high = micros(d, e.zone)
	return low, high, true
}

// micros is the interval of a date in whole microseconds, at least one long.
func micros(d fhir.DateTime, zone *time.Location) (low, high int64) {
	start, end := d.Interval(zone)
	low, high = start.UnixMicro(), end.UnixMicro()
	return low, max(high, low+1)
}

package search

import (
	"slices"
	"strings"

	"example.org/countback/pkg/fhir"
)

// chain reads subject:Patient.identifier=… or patient.identifier=…, one step.
// Without a type it asks all types that the reference may point to and that have
// the parameter.
func (p *parser) chain(link, rest, name string, values []string) bool {
	code, typ, typed := strings.Cut(link, ":")
	param, known := Lookup(p.q.Type, code)
	if !known {
		return p.unknown(name)
	}
	inner, modifier, _ := strings.Cut(rest, ":")
	types := param.ends()
	switch {
	case param.Kind != Reference || param.canonical || param.byMoment:
		p.fail(param.Code, fhir.CodeNotSupported, "chains do not go along this parameter", name)
		return false
	case strings.Contains(rest, "."):
		p.fail(param.Code, fhir.CodeNotSupported, "a chain goes one step", name)
		return false
	case typed && !slices.Contains(types, typ):
		p.fail(param.Code, fhir.CodeValue, "does not refer to this type, or none is held here", name)
		return false
	case typed:
		types = []string{typ}
	}
	var able []string
	for _, t := range types {
		if _, ok := Lookup(t, inner); ok {
			able = append(able, t)
		}
	}
	if len(able) == 0 { // to leave it out would answer more than was asked for
		p.fail(param.Code, fhir.CodeNotSupported, "what it refers to has no such search parameter", name)
		return false
	}
	return p.hops(param, values, able, inner, modifier, false)
}

// has reads _has:Task:patient:status=…: what refers to us by a parameter of its
// own.
func (p *parser) has(name string, values []string) bool {
	parts := strings.SplitN(name, ":", 5)
	if len(parts) < 4 {
		p.fail(hasParam, fhir.CodeValue, "is written _has:Type:reference:parameter", name)
		return false
	}
	param, known := Lookup(parts[1], parts[2])
	_, inner := Lookup(parts[1], parts[3])
	switch {
	case !known || !inner:
		p.fail(hasParam, fhir.CodeNotSupported, "names a type or a search parameter that is not held here", name)
		return false
	case param.Kind != Reference || param.canonical || param.byMoment && p.q.Type == "Task" || !slices.Contains(param.ends(), p.q.Type):
		p.fail(hasParam, fhir.CodeNotSupported, "this parameter does not refer to the type that is searched", name)
		return false
	}
	modifier := ""
	if len(parts) == 5 {
		modifier = parts[4]
	}
	return p.hops(param, values, []string{parts[1]}, parts[3], modifier, true)
}

func (p *parser) unknown(name string) bool {
	if p.Strict {
		p.fail("", fhir.CodeNotSupported, "unknown search parameter", "unknown search parameter "+name)
	}
	return false
}

// hops makes one clause a value, with an alternative for each type.
func (p *parser) hops(param Param, values, types []string, code, modifier string, back bool) bool {
	ok := true
	for _, value := range values {
		c := Clause{Param: param, Rows: param.Rows()}
		for _, typ := range types {
			inner, _ := Lookup(typ, code)
			at, good := p.clause(inner, modifier, value)
			ok = ok && good
			c.Hops = append(c.Hops, Hop{Back: back, Type: typ, Inner: at})
		}
		p.q.Clauses = append(p.q.Clauses, c)
	}
	return ok
}

// ends are the types held here that a reference may point to.
func (p Param) ends() []string {
	if p.only != "" {
		return []string{p.only}
	}
	if p.Targets == nil {
		return Types()
	}
	return slices.DeleteFunc(slices.Clone(p.Targets), func(typ string) bool { return table[typ] == nil })
}

// include reads Type:parameter or Type:parameter:Target.
func (p *parser) include(back bool, value string) bool {
	name := includeParam
	if back {
		name = revIncludeParam
	}
	typ, rest, _ := strings.Cut(value, ":")
	code, only, _ := strings.Cut(rest, ":")
	param, known := Lookup(typ, code)
	switch {
	case !known || !param.Included() || !back && typ != p.q.Type, back && !slices.Contains(param.ends(), p.q.Type),
		only != "" && !fhir.IsResourceType(only):
		if p.Strict {
			p.fail(name, fhir.CodeNotSupported, "names no reference parameter that can be followed from here: it is Type:parameter or Type:parameter:Target", value)
		}
		return false
	case len(p.q.Includes) == maxIncludes:
		p.fail(name, fhir.CodeTooCostly, "is given too often", "")
		return false
	}
	if only == "" || slices.Contains(param.ends(), only) && (!back || only == p.q.Type) { // else it adds nothing
		p.q.Includes = append(p.q.Includes, Include{Back: back, Type: typ, Param: param, Only: only})
	}
	return true
}

// Included reports whether _include and _revinclude can follow the parameter.
func (p Param) Included() bool {
	return p.Kind == Reference && !p.canonical && (p.path != nil || p.rows != "")
}

// IncludedBy reports whether _revinclude can go back along the parameter to a
// resource of the type.
func (p Param) IncludedBy(typ string) bool { return p.Included() && slices.Contains(p.ends(), typ) }

// References gives what a resource refers to by a parameter, of the types held
// here, each once.
func References(r *fhir.Resource, p Param, base string) []fhir.Ref {
	path := p.path
	if path == nil {
		shared, _ := Lookup(r.Type, p.rows)
		path = shared.path
	}
	var out []fhir.Ref
	walk(r.Root(), path, func(n *fhir.Node) {
		ref, err := fhir.RefOf(n, base)
		ref.Version, ref.Identifier, ref.Display = "", nil, ""
		if err == nil && ref.IsLocal() && (p.only == "" || p.only == ref.Type) && table[ref.Type] != nil && !slices.Contains(out, ref) {
			out = append(out, ref)
		}
	})
	return out
}

// BackTo is the search for what refers to one of the resources of a type by the
// parameter of an include.
func (i Include) BackTo(typ string, ids []string, count int) Query {
	c := Clause{Param: i.Param, Rows: i.Param.Rows()}
	for _, id := range ids {
		c.Matches = append(c.Matches, Match{HasSystem: true, System: typ, HasValue: true, Value: id})
	}
	q := Query{Type: i.Type, Clauses: []Clause{c}, Count: count, NoTotal: true}
	for _, code := range []string{"_lastUpdated", "_id"} {
		param, _ := Lookup(i.Type, code)
		q.Sort = append(q.Sort, Order{Param: param})
	}
	return q
}

package search

import (
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/countback/pkg/fhir"
)

// Names of the parameters that shape the result.
const (
	countParam = "_count"
	sortParam  = "_sort"
	totalParam = "_total"
	pageParam  = "_page"

	includeParam    = "_include"
	revIncludeParam = "_revinclude"
	hasParam        = "_has"
	summaryParam    = "_summary"
	elementsParam   = "_elements"
)

// shaping are the parameters that may be given once.
var shaping = []string{countParam, sortParam, totalParam, pageParam, summaryParam, elementsParam}

// Limits of one search; more is refused as too costly.
const (
	defaultCount = 50
	maxCount     = 200
	maxClauses   = 32
	maxMatches   = 100 // in one clause
	maxSort      = 3
	maxIncludes  = 16
)

// Options say how a search is read.
type Options struct {
	Zone     *time.Location // of dates without one; required
	Base     string         // the service's own FHIR base, which absolute references may start with
	Strict   bool           // an unknown parameter is an issue instead of being left out
	MaxCount int            // most rows of a page; 0 means 200
	Now      time.Time      // what "ap" measures the distance from; zero means exact overlap
	// Set gives the codes of the value set with a url, for the modifiers in and
	// not-in, or says what is wrong with it; nil where sets cannot be named.
	Set     func(url string) (codes []Code, problem string)
	Handled []string // parameters that the caller answers itself: kept in Used, otherwise let alone
}

// Parse reads the parameters of a search of a type. The issues, if any, say
// which parameter is wrong; the query then must not be used. Parameters
// without a value are ignored, and so are unknown ones unless o.Strict; what
// was ignored is not in Used.
//
// A known parameter with a modifier that is not supported, and a chain that
// starts at one, are always issues: ignoring them would answer more than was
// asked for.
func Parse(typ string, values url.Values, o Options) (Query, fhir.Issues) {
	p := parser{Options: o, q: Query{Type: typ, Count: defaultCount}}
	if p.MaxCount <= 0 {
		p.MaxCount = maxCount
	}
	p.q.Count = min(p.q.Count, p.MaxCount)
	if _, ok := table[typ]; !ok {
		p.fail("", fhir.CodeNotSupported, "this resource type cannot be searched", "")
		return p.q, p.issues
	}
	names := make([]string, 0, len(values))
	for name := range values {
		names = append(names, name)
	}
	slices.Sort(names) // the links and the issues do not depend on the map's order
	for _, name := range names {
		p.parameter(name, values[name])
	}
	p.finish()
	return p.q, p.issues
}

type parser struct {
	Options
	counting bool   // only the number of matches is wanted
	reading  string // the parameter that is being read, as it was sent
	q        Query
	issues   fhir.Issues
}

// fail records an issue. text may be logged, so it names parameters of the
// table only; what was sent goes into diagnostics.
func (p *parser) fail(param, code, text, diagnostics string) {
	at := p.reading
	if at == "" {
		at = param
	}
	if param != "" {
		text = "search parameter " + param + ": " + text
	}
	p.issues = append(p.issues, fhir.Issue{Severity: fhir.SeverityError, Code: code, Text: text, Diagnostics: diagnostics, Parameter: at})
}

func (p *parser) parameter(name string, values []string) {
	p.reading = name
	defer func() { p.reading = "" }()
	values = slices.DeleteFunc(slices.Clone(values), func(v string) bool { return v == "" })
	if len(values) == 0 {
		return
	}
	switch {
	case slices.Contains(p.Handled, name):
	case name == includeParam || name == revIncludeParam:
		values = slices.DeleteFunc(values, func(v string) bool { return !p.include(name == revIncludeParam, v) })
	case slices.Contains(shaping, name):
		if len(values) > 1 {
			p.fail(name, fhir.CodeValue, "may be given once", "")
			return
		}
		if !p.shape(name, values[0]) {
			return
		}
	default:
		if !p.filter(name, values) {
			return
		}
	}
	for _, v := range values {
		p.q.Used = append(p.q.Used, Pair{name, v})
	}
}

// shape reads a parameter that shapes the result; false leaves it out of Used.
func (p *parser) shape(name, value string) bool {
	switch name {
	case countParam:
		n, err := strconv.Atoi(value)
		if err != nil || n < 0 {
			p.fail(name, fhir.CodeValue, "must be a whole number from 0", value)
			return false
		}
		if !p.counting {
			p.q.Count = min(n, p.MaxCount)
		}
	case sortParam:
		return p.sort(value)
	case totalParam:
		if value != "none" && value != "estimate" && value != "accurate" {
			p.fail(name, fhir.CodeValue, "must be none, estimate or accurate", value)
			return false
		}
		p.q.NoTotal = value == "none"
	case summaryParam:
		return p.summary(value)
	case elementsParam:
		return p.elements(value)
	case pageParam:
		p.q.page = value
		return false
	}
	return true
}

func (p *parser) sort(value string) bool {
	for field := range strings.SplitSeq(value, ",") {
		code, desc := strings.CutPrefix(field, "-")
		param, ok := Lookup(p.q.Type, code)
		if !ok || !param.sortable() {
			p.fail(sortParam, fhir.CodeNotSupported, "can sort by _id and by the dates, tokens and strings of the type", field)
			return false
		}
		if slices.ContainsFunc(p.q.Sort, func(o Order) bool { return o.Param.Code == code }) {
			p.fail(sortParam, fhir.CodeValue, "names a parameter twice", field)
			return false
		}
		p.q.Sort = append(p.q.Sort, Order{Param: param, Desc: desc})
	}
	if len(p.q.Sort) > maxSort {
		p.fail(sortParam, fhir.CodeTooCostly, "takes at most "+strconv.Itoa(maxSort)+" parameters", "")
		return false
	}
	return true
}

// sortable reports whether matches can be put into the order of the parameter.
func (p Param) sortable() bool {
	switch {
	case p.Kind == Date, p.Column == ColumnID:
		return true
	case p.Column != ColumnNone:
		return p.Kind == Token && p.Column != ColumnIdentifier
	}
	return p.Kind == Token || p.Kind == String || p.Kind == URI
}

// finish makes the order total and reads the cursor, which depends on it.
func (p *parser) finish() {
	if len(p.q.Sort) == 0 {
		updated, _ := Lookup(p.q.Type, "_lastUpdated")
		p.q.Sort = []Order{{Param: updated}}
	}
	for i, o := range p.q.Sort {
		if o.Param.Column == ColumnID { // nothing after the id can matter
			p.q.Sort = p.q.Sort[:i+1]
			break
		}
		if i == len(p.q.Sort)-1 {
			id, _ := Lookup(p.q.Type, "_id")
			p.q.Sort = append(p.q.Sort, Order{Param: id})
		}
	}
	if p.q.Count == 0 {
		p.q.NoTotal = false // the number is all that is asked for
	}
	if p.q.Summary == SummaryText && len(p.q.Includes) > 0 {
		p.fail(summaryParam, fhir.CodeInvariant, "text cannot go together with _include or _revinclude", "")
	}
	if len(p.q.Clauses) > maxClauses {
		p.fail("", fhir.CodeTooCostly, "a search takes at most "+strconv.Itoa(maxClauses)+" parameters", "")
	}
	if p.q.page == "" || len(p.issues) > 0 {
		return
	}
	keys, err := p.q.parseCursor(p.q.page)
	if err != nil {
		p.fail(pageParam, fhir.CodeValue, "is not a page of this search; start again without it", "")
		return
	}
	p.q.After = keys
}

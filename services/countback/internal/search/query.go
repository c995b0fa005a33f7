package search

import (
	"net/url"
	"slices"
	"strconv"
	"strings"
)

// Modifier changes how a clause matches.
type Modifier int

// The modifiers. Those that only say which rows are meant (:Type,
// :identifier) are resolved by [Parse].
const (
	Plain Modifier = iota
	Not
	Missing
	Exact
	Contains
)

// Prefix is how a date is compared.
type Prefix string

// The prefixes of dates; Equal when none is written.
const (
	Equal      Prefix = "eq"
	NotEqual   Prefix = "ne"
	Greater    Prefix = "gt"
	Less       Prefix = "lt"
	AtLeast    Prefix = "ge"
	AtMost     Prefix = "le"
	StartsPast Prefix = "sa"
	EndsBefore Prefix = "eb"
	Near       Prefix = "ap"
)

// Match is one of the alternatives of a clause.
type Match struct {
	HasSystem, HasValue bool   // whether System and Value must be equal
	System              string // of a token; target type of a reference; version of a canonical
	Value               string // code, id or absolute reference, text, URI

	Prefix    Prefix // of a date or a quantity
	Low, High int64  // microseconds or millionths, half-open
}

// Clause is one parameter of a search. It holds when one of its matches does.
type Clause struct {
	Param    Param
	Rows     string // name of the index rows
	Modifier Modifier
	Want     bool // of [Missing]: whether the element is to be missing
	Matches  []Match
	// Hops, if any, are alternatives that stand instead of Matches: what is
	// asked of a resource at the other end of the reference Param.
	Hops []Hop
	// Pairs are the alternatives of a composite: of each, all clauses must hold.
	Pairs [][]Clause
}

// Hop is one step along a reference: a chain to what Clause.Param refers to, or
// with Back (_has) to what refers to us by it.
type Hop struct {
	Back  bool
	Type  string // of the other resource
	Inner Clause // of the other resource
}

// Include asks for what the matches refer to by Param (_include), or with Back
// for what refers to them (_revinclude).
type Include struct {
	Back  bool
	Type  string // that has the parameter
	Param Param
	Only  string // the one type that is wanted at the other end; empty: any
}

// Summary says how much of each resource is wanted.
type Summary string

// The summaries of R4. _summary=count is a Count of 0.
const (
	SummaryNone Summary = ""
	SummaryTrue Summary = "true"
	SummaryText Summary = "text"
	SummaryData Summary = "data"
)

// Order is one sort key.
type Order struct {
	Param Param
	Desc  bool
}

// Pair is one parameter as it was sent.
type Pair struct{ Name, Value string }

// Query is a search that was understood. All clauses must hold.
type Query struct {
	Type    string
	Clauses []Clause
	Sort    []Order // ends with the id, so that the order is total
	Count   int     // most rows of the page; 0 asks for the total only
	After   []Key   // sort keys of the last row of the page before; nil on the first
	NoTotal bool    // nobody wants the number of matches

	Includes []Include
	Summary  Summary
	Elements []string // top-level elements that are wanted; nil: all
	Used     []Pair   // parameters that had an effect, by name, without _page
	page     string
}

// Reads are the types of the resources that an answer depends on or holds, in
// alphabetical order: who may not read all of them may not have it.
func (q Query) Reads() []string {
	out := []string{q.Type}
	for _, c := range q.Clauses {
		for _, h := range c.Hops {
			out = append(out, h.Type)
		}
	}
	for _, i := range q.Includes {
		switch {
		case i.Back:
			out = append(out, i.Type)
		case i.Only != "":
			out = append(out, i.Only)
		default:
			out = append(out, i.Param.ends()...)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// SelfLink is the query string of the parameters that were used.
func (q Query) SelfLink() string { return q.link(q.page) }

// NextLink is the query string of the next page; next is the page's cursor.
func (q Query) NextLink(next string) string { return q.link(next) }

func (q Query) link(page string) string {
	var b strings.Builder
	pairs := q.Used
	if page != "" {
		pairs = append(append([]Pair(nil), pairs...), Pair{pageParam, page})
	}
	for _, p := range pairs {
		if b.Len() > 0 {
			b.WriteByte('&')
		}
		b.WriteString(url.QueryEscape(p.Name) + "=" + url.QueryEscape(p.Value))
	}
	return b.String()
}

// Matches reports whether the interval [low, high) of a resource satisfies the
// comparison of m. It is the rule that the store's SQL follows, in Go.
//
// Source: FHIR R4 (4.0.1), Search, 3.1.1.4.7 (date) and the table of prefixes.
func (m Match) Matches(low, high int64) bool {
	contained := m.Low <= low && high <= m.High
	switch m.Prefix {
	case NotEqual:
		return !contained
	case Greater:
		return high > m.High
	case Less:
		return low < m.Low
	case AtLeast:
		return high > m.High || contained
	case AtMost:
		return low < m.Low || contained
	case StartsPast:
		return low >= m.High
	case EndsBefore:
		return high <= m.Low
	case Near:
		return low < m.High && high > m.Low
	}
	return contained
}

// Key is the value of one sort key in one row.
type Key struct {
	Text string // of the id
	At   int64  // of a date: microseconds
}

func (o Order) isDate() bool { return o.Param.Kind == Date }

// fingerprint ties a cursor to the search it came from: the cursor of another
// search would skip rows in silence.
func (q Query) fingerprint() string {
	h := fnv64(q.Type)
	for _, p := range q.Used {
		if p.Name != "_count" && p.Name != "_total" {
			h = h.add(p.Name).add(p.Value)
		}
	}
	return strconv.FormatUint(uint64(h), 36)
}

// fnv is the FNV-1a hash with a separator after each part.
type fnv uint64

func fnv64(s string) fnv { return fnv(14695981039346656037).add(s) }

func (h fnv) add(s string) fnv {
	for i := range len(s) {
		h = (h ^ fnv(s[i])) * 1099511628211
	}
	return (h ^ 0xff) * 1099511628211
}

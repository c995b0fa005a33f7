package search

import (
	"slices"
	"strconv"

	"example.org/countback/pkg/fhir"
)

// Kind is the type of a search parameter.
type Kind int

// The kinds in use.
const (
	Token Kind = iota + 1
	Date
	Reference
	String
	URI
	Quantity
	Composite
)

// String is the code of the kind in the value set search-param-type.
func (k Kind) String() string {
	switch k {
	case Token:
		return "token"
	case Date:
		return "date"
	case Reference:
		return "reference"
	case String:
		return "string"
	case URI:
		return "uri"
	case Quantity:
		return "quantity"
	case Composite:
		return "composite"
	}
	return ""
}

// Column says which column of the store holds the value of a parameter that
// is not an index row. The store maps each to its own SQL.
type Column string

// The columns. ID and Updated exist for every type, the others for Task only.
const (
	ColumnNone       Column = ""
	ColumnID         Column = "id"
	ColumnUpdated    Column = "updated"
	ColumnPatient    Column = "patient"
	ColumnCase       Column = "case"
	ColumnStep       Column = "step"
	ColumnStatus     Column = "status"
	ColumnState      Column = "state"
	ColumnOwner      Column = "owner"
	ColumnDue        Column = "due"
	ColumnOpens      Column = "opens"
	ColumnIdentifier Column = "identifier"
	ColumnIntent     Column = "intent"
	ColumnAuthored   Column = "authored"
	ColumnFocus      Column = "focus"
	ColumnBasedOn    Column = "based-on"
	// ColumnActivity is of CarePlan: the Tasks of its case.
	ColumnActivity Column = "activity"
)

// Param is one search parameter of one resource type.
type Param struct {
	Code       string   // as written in a search
	Kind       Kind     // what its values look like
	Definition string   // canonical of the SearchParameter
	Targets    []string // resource types that a reference may point to; nil for any
	Column     Column   // for a parameter that is a column of the store
	System     string   // code system of the codes in a token column

	rows      string   // name of the index rows, when several parameters share them
	only      string   // the one target type that counts in shared rows
	canonical bool     // a reference to a canonical url, perhaps with |version
	path      []string // of a reference: where it lies in the resource
	byMoment  bool     // see ByMoment
	typed     bool     // identifiers, which are held by their type too
	worded    bool     // tokens with words, which :text searches
	parts     []string // of a composite: the parameters it joins
	extract   func(*fhir.Resource, *extraction)
}

// Rows is the name of the index rows that hold the parameter's values.
func (p Param) Rows() string {
	if p.rows != "" {
		return p.rows
	}
	return p.Code
}

// Only is the type that a reference in the index rows must point to; empty for
// any. The parameter patient shares the rows of subject or actor that way.
func (p Param) Only() string { return p.only }

// ByMoment reports whether a reference to a Task is held as one to its case: the
// moment of the resource's version says which of the case's Tasks it means.
func (p Param) ByMoment() bool { return p.byMoment }

// Types lists the resource types that can be searched, in alphabetical order.
func Types() []string {
	out := make([]string, 0, len(table))
	for typ := range table {
		out = append(out, typ)
	}
	slices.Sort(out)
	return out
}

// For lists the search parameters of a type, the common ones first; nil for a
// type that cannot be searched. The list must not be changed.
func For(typ string) []Param { return table[typ] }

// Lookup finds a parameter by its code.
func Lookup(typ, code string) (Param, bool) {
	for _, p := range table[typ] {
		if p.Code == code {
			return p, true
		}
	}
	return Param{}, false
}

// Value is one value of a resource, as an index row holds it.
type Value struct {
	Param string // name of the index rows, see [Param.Rows]
	Kind  Kind
	// System of a token, target type of a reference (empty for an absolute
	// one), text as written of a string, version of a canonical.
	System string
	// Value is the code, the id or absolute reference, the folded text of a
	// string, or the URI.
	Value string
	// Of a date: microseconds, half-open. Of a quantity: millionths.
	Low, High int64
}

// Ranged reports whether values of the kind are intervals.
func (k Kind) Ranged() bool { return k == Date || k == Quantity }

// indexing counts the changes of what is taken from a resource that the table
// itself does not show. Raise it with each: stored resources are then indexed
// again.
const indexing = "3"

// Mark changes with the table, so that what was indexed by another one can be
// told.
func Mark() string {
	h := fnv64(indexing)
	for _, typ := range Types() {
		for _, p := range For(typ) {
			h = h.add(typ).add(p.Code).add(p.Kind.String()).add(p.Rows()).add(p.Definition)
		}
	}
	return strconv.FormatUint(uint64(h), 36)
}

// Package search is the table of search parameters: which there are for each
// resource type, what their values are taken from, and how what a client asks
// is read. It is pure; the store turns a [Query] into SQL.
//
// To add a search parameter, add one row to the table: table.go for what this
// service makes, table_*.go for what is sent and for definitions.
//
// A clause may go one step along a reference, there ([Hop], a chain) or back
// (_has); [Include] says what comes along with the matches, and [Wanted] how much
// of each is given.
//
// All instants are kept as microseconds since 1970 in UTC, and every date is a
// half-open interval [Low, High) of them: a day is 24 (or 23, or 25) hours, an
// instant is one microsecond, and an open end of a period is infinite.
//
// Source of the rules: HL7 FHIR R4 (4.0.1), Search. Source of the parameters:
// the SearchParameter resources of FHIR R4 (4.0.1); "due" and "opens" of Task
// are this service's own, as R4 cannot search Task.restriction.period.
package search

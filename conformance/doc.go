// Package conformance is the conformance kit: FHIR TestScripts (R4) that say what
// a server like Countback must answer, and the runner that carries them out over
// HTTP against any base address. It knows the server only by what it answers.
//
// # Scripts
//
// The scripts lie in scripts, one file a theme; what they send lies beside their
// tests as contained resources, or in fixtures. The runner carries out this part
// of TestScript:
//
//   - fixtures, contained ("#id") or by file ("Patient/example" is
//     Patient-example.json or Patient/example.json; any other reference is the
//     name of a file, sent as it is), with autocreate and autodelete;
//   - variables by expression, headerField, path or defaultValue, and ${name} in
//     addresses, headers, expected values, expressions and fixtures;
//   - setup, tests and teardown: a failed setup ends the script, a failed action
//     ends its test, a teardown never fails;
//   - operations with all interactions of R4 and any $operation;
//   - asserts, one kind each.
//
// What else stands in an operation or an assert is refused when the script is
// read: a script that is only half understood proves nothing. So are rule, ruleset
// and XPath other than plain element names. A test fails where it comes to a second
// origin or destination, to a body in XML, or to a profile other than those of the
// base specification.
//
// A variable whose expression finds several values stands for all of them, joined
// by commas, and what is no primitive is written as JSON: a fixture in a file can
// so repeat what was received, as in "input": [${input}].
//
// # Extensions of ours
//
// A run must be repeatable against the same server, on any day. Beside the
// variables of the script there are therefore
//
//	${unique}           a new text for every script of every run
//	${today}            the server's day; ${today+60}, ${today-3}
//	${midweek+60}       the first Tuesday, Wednesday or Thursday from then on that is no
//	                    usual holiday; ${midweek+60-14} is fourteen days before it
//	${base}             the address that is tested
//
// The server's day is that of the header Date of its answer to /metadata, in
// UTC, or what -today says.
//
// The scripts plan, redating, tasks, holds, medicines, operations, measures, profiles and
// subscriptions expect the example protocol, and a facility that operates from Tuesday
// to Thursday and whose zone
// lies between UTC-14 and UTC+8: they book at 15:00 UTC, which is the same day
// there. The other scripts expect R4 alone, and Patient, Condition and Observation.
package conformance

// Package fhir is FHIR R4 (4.0.1) JSON on the wire: it decides what is let in,
// reads it without losing anything, and writes what is sent out.
//
// # Coming in
//
// [Parse] is the only way in. It runs three passes, and each says in words
// which element is wrong:
//
//  1. JSON itself: UTF-8, no duplicate names, nothing after the value, a depth
//     and a size limit. The standard library repairs or ignores all of these.
//  2. The elements of R4: exact names, JSON kinds, required elements, codes
//     with a required binding, well-formed dates and ids, and the invariants
//     that the rest of the service relies on.
//  3. Only then [Resource.Decode] fills one of the samply structs.
//
// The samply structs lose contained resources, extensions on primitive values
// and the difference between "missing" and "first code of the list". So a
// [Resource] keeps the bytes as they came and a tree ([Node]) over them; the
// structs are views to read from. A received resource is changed only by
// patching its bytes ([Resource.Apply], [Resource.WithMeta],
// [Resource.RewriteReferences]): the order of members and the text of numbers
// (1.10 stays 1.10) survive.
//
// # Going out
//
// [Marshal] writes resourceType first and does not escape "<" and ">" of a
// narrative. The types [Task], [CarePlan], [Provenance], [Flag], [Bundle],
// [OperationOutcome] and [CapabilityStatement] shadow what the samply structs
// would write wrongly.
//
// # Safe texts
//
// [Issue.Text] and [Issue.Expression] hold element names and codes of the FHIR
// specification only and may be logged. [Issue.Diagnostics] may quote what a
// client sent; it belongs in the response and nowhere else.
//
// The package is pure: it reads no clock, disk or network, and a [Resource] is
// safe for concurrent readers.
package fhir

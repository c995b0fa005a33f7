// Package fhirpath evaluates a part of FHIRPath over a resource as JSON (what
// the conformance scripts and the official examples of TestScript need), and
// carries out a FHIRPath Patch ([Patch]).
//
// Source of the meaning: FHIRPath normative release N1 (hl7.org/fhirpath/N1),
// with the additions of FHIR R4.
//
// What it does not know it refuses with [ErrUnsupported] when the expression is
// parsed, and never takes for empty or true: a test may not pass because it was
// not understood. A member that no resource has is empty, as there is no table
// of elements here.
//
// It works on what encoding/json makes of a body with UseNumber: a collection is
// a slice of map[string]any, string, bool and json.Number. A choice such as
// Observation.value finds valueQuantity. Dates are compared by their text when
// they have the same precision, instants by the moment that they stand for, and
// otherwise the comparison is empty, as FHIRPath says.
package fhirpath

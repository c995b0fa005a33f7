// Package profile checks resources against the profiles of ours: StructureDefinitions
// that say in their differential what a CarePlan, a Task or a Flag of this service
// is, and what stands in an extension.
//
// It is no general validator. Of a profile it checks how often an element may be
// there (also in a slice of extension), fixed values, the types of a choice, the
// types that a reference may point to where it says so, and bindings of strength
// required to value sets that list their codes. Extensions of ours are checked
// wherever they stand. Invariants, other slices, snapshots and terminology servers
// are not known here. That a resource is sound R4 was seen before, by pkg/fhir.
//
// Source: HL7 FHIR R4 (4.0.1), StructureDefinition and Profiling.
package profile

// Package translate turns FHIR into the words of package readiness and back:
// a PlanDefinition into a Protocol, the resources of one booking into the facts
// of a Case, a Plan into CarePlan, Task and Provenance. It is pure; what it
// writes is pinned by goldens.
//
// Nothing a hospital would want to change stands here. Which codes mean a knee
// or a side, when a step is due and what it says are read from the
// PlanDefinition and its value sets; this package knows only how they are
// written (the extensions under [ExtensionBase]).
package translate

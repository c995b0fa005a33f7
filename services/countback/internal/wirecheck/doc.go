// Package wirecheck holds tests only. It puts everything that Countback writes
// as FHIR R4 before checkers that are not its own:
//
//   - google/fhir's jsonformat: structure, required elements, codes of required
//     bindings, kinds of reference;
//   - the official invariants, evaluated by the npm package fhirpath (needs node
//     and a folder of npm packages: see invariants_test.go);
//   - a few checks by hand, for what both let pass: empty values, periods that end
//     before they start, references to nothing, narratives that are no XHTML;
//   - the official R4 examples, which pkg/fhir must accept and give back unchanged.
//
// The goldens looked at are all JSON files of the module that hold a resource,
// but for those below a folder named "refused": they are wrong on purpose.
package wirecheck

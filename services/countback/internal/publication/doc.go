// Package publication packs the definitions that Countback serves as one file
// that FHIR tools read: a package in the npm format, a gzipped tar with
//
//   - package/package.json: what it is, and what it builds on
//   - package/.index.json: what is in it, so that nobody need read every file
//   - package/Type-id.json: each definition, as it is served
//   - package/example/Type-id.json: resources as this service writes them, with
//     an index of their own
//
// It is pure: the same definitions give the same bytes, on any day and machine.
//
// Source of the format: HL7 FHIR, FHIR NPM Packages (packages.html, R5 on; R4
// itself has no page for it).
package publication

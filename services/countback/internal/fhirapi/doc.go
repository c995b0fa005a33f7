// Package fhirapi is the FHIR REST edge: R4 (4.0.1) over HTTP, in JSON.
//
// # Where to look
//
//   - what is served for which type: offer.go, which routes, bundles and the
//     CapabilityStatement are all made from
//   - which error gives which status: errors.go, the only such table
//   - what a request may ask for by its headers: negotiate.go, condition.go
//   - one request of its own: read.go, write.go; a Bundle: bundle.go; a history:
//     past.go
//   - Subscriptions, and what is told of them ($status, $events): subscribe.go
//   - what is tried and undone ($validate, $foresee): foresee.go
//   - the operations, which store nothing: operation.go, with their parameters
//     in parameter.go
//
// # Ways through
//
// A request, and each entry of a Bundle, becomes an [ask]: what is wanted, of
// which resource, under which conditions. An ask is carried out by casework
// and becomes a reply, which is written as an HTTP response or as an entry of
// the response Bundle. Nothing is carried out before all of it was understood.
//
// The GET entries of a transaction are carried out after its commit, as R4
// orders them, and see its outcome; one that finds nothing says so in its place
// and does not undo the others.
//
// # Privacy
//
// Logs hold the method, the route template, the status and an id that the
// service made; never a URL, a query, a header or a body. What a sender is told
// in an OperationOutcome may quote what was sent, and is not logged.
//
// Source of the rules: HL7 FHIR R4 (4.0.1), RESTful API and Search.
package fhirapi

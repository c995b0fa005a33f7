// Package demo plays an invented hospital through the service's own HTTP
// endpoints: it posts what the hospital's systems sent, records what its people
// did, and prints what was planned. It knows nothing that a client could not
// read from the FHIR API.
package demo

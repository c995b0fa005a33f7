// Package casework makes every change to a case, one transaction each: a
// resource arrived ([Office.Receive]), an item was worked ([Office.Work]), time
// passed ([Office.Tick]).
//
// # One way through
//
// Each change ends in the same function: read what is known of one person, ask
// package translate which bookings that is, ask package readiness for the plan
// of each, and write the difference to what stood before: item rows, CarePlan,
// Provenance and events, together with the bytes that caused it. A plan is a
// function of the bookings, the protocol, the moment and people's own entries,
// and of nothing else; so a delivery that changes none of these writes no new
// version and sends no event.
//
// # What identifies a booking
//
// A booking is known by its business identifier. A POST of a resource that plans
// follow from (a booking, or what says more about the person) whose identifiers are exactly those of one that is held already updates that
// one: theatre systems repeat themselves, and a second case for the same
// operation would be worse than an unusual reading of POST.
package casework

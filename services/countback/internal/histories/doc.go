// Package histories holds tests only: what a hospital sends of one operation, in
// every order, with repeats, must end in one plan.
//
// A catalogue of twelve messages is told in every order of every five of them,
// each also with one message twice. What follows is reckoned three times over: by
// a rule of two lines written from the documentation (the latest message of a
// source counts, of two with one time the one with the greater digest), by a pure
// fold over packages translate and readiness, and, for a sample, by the real
// casework over SQLite. All must agree.
//
// COUNTBACK_HISTORIES=all tells every history; a number asks for so many through
// casework. Otherwise what fits into a second or two is told, from a seed that is
// printed (COUNTBACK_HISTORIES_SEED takes it again).
package histories

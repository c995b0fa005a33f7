// Package sheet puts what a patient and a coach are told into words, on paper
// and in their own calendar, in English and Spanish. It is pure: a
// translate.Handout and Options go in, a [Page] or a calendar comes out.
//
// # What it never does
//
// It never prints the day of a last dose that no named prescriber signed. It
// never reads as if surgery goes ahead when the case is held, cannot be met, has
// no date, or was called off: it says so first, and leaves out every step that
// pauses. It prints no phone number that was not configured. It says nothing of
// an item in doubt.
//
// # Where the words are
//
// What a step says, in each language, stands in the PlanDefinition (the
// extension instruction, and the standard extension translation on it). The
// fixed sentences stand in api/sheet/sentences.json. None stand in Go.
package sheet

// Package calendar counts days and finds clock times for one facility.
//
// Two kinds of time never mix here. A day rule ("14 days before surgery")
// counts civil dates, the type Date, which has no hours and no zone. An hour
// rule ("2 hours before anaesthesia") counts elapsed time between instants,
// the standard time.Time. Calendar is the only bridge between the two: it
// knows the facility's time zone, holidays, closures and operating days.
//
// The package is pure: it reads no clock, no disk and no network, and every
// value is safe for concurrent use. It carries its own copy of the time-zone
// database (import of time/tzdata), so a zone can be loaded on a machine that
// has none.
//
// Two rules differ from the standard library on purpose:
//
//   - A local time that the clocks jump over becomes the first instant after
//     the jump; time.Date would answer an hour earlier. A local time that
//     happens twice becomes the first of the two.
//   - Adding months stays in the month it reaches: one month after 31 January
//     is the last day of February, not a day in March.
package calendar

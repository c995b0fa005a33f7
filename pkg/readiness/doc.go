// Package readiness holds the rules: from the facts of one case, a protocol
// and the present moment it computes the dated plan, and from two plans what
// changed between them. It is pure: it reads no clock, no disk and no network,
// and the same arguments always give the same plan.
//
// # Words
//
//   - Case: one booked operation for one person.
//   - Protocol: the hospital's rules, read from a PlanDefinition.
//   - Step: one action of the protocol.
//   - Item: a step of one case, with its dates. On the wire it is a Task.
//   - Plan: all items of a case. On the wire it is a CarePlan.
//   - Hold: a reason why the case may not go ahead.
//   - Change: what a new plan alters in an old one.
//   - Entry: what a person recorded on an item (done, waived, ...).
//
// # Days and hours
//
// D0 is the day of surgery in the facility's time zone; day rules count whole
// calendar days from it and never use instants. T0 is the start of anaesthesia;
// hour rules are elapsed time from it (or from H0, the discharge), so a change
// of clocks lengthens or shortens the wall-clock distance, not the interval.
//
// # Windows
//
// A window is opens .. due, both days included, kept as the rule gives it and
// never clipped to the present. A step that staff perform and that falls due on
// a closed day moves to the previous business day inside its window; a step of
// the patient or coach never moves. An item whose due day lies before the
// booking day is compressed: it is due as soon as possible, by its last day.
// A fixed step is never compressed, because a shorter interval would be
// another treatment: when it is too late it is missed and asks a person.
//
// # Lateness
//
// Past its due an item is late, past its last day it is missed. Lateness alone
// never holds a case. A fixed item that may still be confirmed after its due
// moment (a fasting time, confirmed on arrival) is late without making the case
// behind, because nothing that staff do later would mend it.
//
// # Doubt
//
// A condition answers yes, no, or unknown because a fact is missing. An item in
// doubt is kept as a draft that says what is needed; it never makes a plan
// infeasible, and a must in doubt keeps a case from being ready.
package readiness

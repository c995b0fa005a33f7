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
// # Evidence
//
// What was done counts as long as the step's expiry says. It must not have been
// done too early: before the opening of a fixed step, of a step that counts for
// this date only and is opened by the date of surgery, or of a step that opens
// with the operation or later. A step that failed for one date is asked again
// for another. When the date moved and people already worked on the round after
// it, an earlier round does not come back: the patient was told otherwise. An
// own end date that nobody recorded makes evidence good for its date only.
//
// A record that shows that a step was done (Proof) stands where no person said
// anything about it; what a person says goes before. Of several records the
// newest that counts is taken. One that no longer counts is shown as a round of
// its own, which is asked again; one from before the booking that could never have
// counted is not shown.
//
// # The stay
//
// Arrival and discharge are those of the Encounter. Without one the clock stands
// for them. Someone who arrived and has not left past the expected hour is still
// in hospital: nothing is then counted from a discharge that nobody knows.
//
// # Holds
//
// A ground is something in the records that may stand in the way: an infection,
// dental work, a lost date. What goes on without a known end always does; what
// has a day does when surgery is nearer to it than the rule allows. The service
// raises a hold by itself, once for all grounds of a kind, and it stays until a
// named person releases it: that a ground is over, called off or moved releases
// nothing, it only says from when surgery may be. It is withdrawn when none of
// its grounds ever was (entered in error, refuted, another person's). What was
// released is raised again for an earlier day of surgery, or for another day of
// the ground. A hold never shifts dates, and time ends none: what only waits for
// evidence is over when that is there, or when somebody has said that the person
// came and the hour is past. A case that is held when its hour comes stays held,
// and is unreported until somebody says whether the operation took place.
//
// Items may be grounds as well ([ItemHold]): a last dose that was missed, late or
// contradicted waits for the word of a person, which stands for that item on that
// day of surgery alone; a must that was missed waits until it is done. What could
// never be met from the day on which the date became known makes the date
// infeasible instead. Neither kind pauses the item that would clear it.
//
// A medicine that is stopped when the date moves, is lost or called off, or when
// the case is held, is a question to its prescriber ([Stranded]), also when
// nothing else of the case is asked any more; so is the day of a last dose that
// comes while the case is held. So is a last dose that is recorded otherwise than
// signed: far too early, of a medicine that was signed to go on, or while nobody
// has decided. The record stands all the same. While such a question is open it says
// what is true by then of the last dose and the day; an answered one keeps its words.
//
// # What the person was told
//
// When the operation is on another day, on none, or called off, whoever could know
// what stood before must be told ([Told]). It is asked once; what changes before it
// is done changes what is to be told.
//
// # Doubt
//
// A condition answers yes, no, or unknown because a fact is missing; a person may
// answer yes (Applies) or no (NotNeeded) for it. An item in
// doubt is kept as a draft that says what is needed; it never makes a plan
// infeasible, and a must in doubt keeps a case from being ready.
//
// # Medicines
//
// The rules on medicines that fit one medicine give its advice: of several last
// doses the strictest, with every rule told. A whole day without a dose is a
// calendar day before the day of surgery, on which none is taken either: n of
// them mean a last dose on D-(n+1); hours count back from the start of
// anaesthesia. What is in doubt and could be stricter takes the date away and
// says what it needs; a specialist's rule that applies takes it away, one in
// doubt is asked about before signing. Steps count from it by the anchors
// last-dose and earliest-last-dose; what a prescriber signed for the date that
// stands goes before it, and is asked again when the date moves or the rules give
// another last dose. A prescriber may also sign that a medicine goes on or is not
// taken ([Decision]): then nothing else of it is needed. One that no rule knows is
// theirs to decide as well. A last dose that is undecided when the earliest one
// that may come out has ended, or that is recorded as taken and not signed, holds
// the case; what others say of it decides nothing. What is signed later than the
// rules give, or to go on where they give a last dose, is looked at by a second
// person ([TriggerLateSigned]): the signature stands meanwhile, holds the case once
// the day of the rules is over and nobody has looked, and is asked again where the
// second person does not agree. It is advice to a prescriber,
// never an instruction.
package readiness

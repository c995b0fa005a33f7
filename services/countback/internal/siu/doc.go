// Package siu turns scheduling messages of HL7 version 2 (SIU) into what a
// theatre system would send over FHIR: a transaction with the Appointment, the
// Patient and whoever and wherever it names. It is pure.
//
// # Events
//
// S12 (new), S13 (moved), S14 (changed), S15 (cancelled), S16 (discontinued), S17
// (deleted) and S26 (did not come) are taken. Each is read as the whole of the
// booking: the Appointment is put in place of what is held under its identifier,
// SCH-2 or, where there is none, SCH-1; see [Transaction.Settle] for where it gives
// several and is held under another than the first.
//
// SCH-25 (table 0278) is the status; where it is empty, the event says it. A
// status that means something else than the event (S15, still Booked) is refused:
// one of the two is wrong, and a cancelled operation that stays planned, or the
// reverse, is found out on the day. Blocked and Overbook are refused, they are
// states of the schedule and not of a booking; Discontinued is taken with S16.
//
// What is deleted (S17) or did not come (S26) and says no time becomes cancelled:
// FHIR takes neither without a start, and either way the plan ends.
//
// S13 and S14 of a booking that stands must say what the booking is for (AIS), as
// a message without it would take the operation from the booking that is held.
//
// # What is made of what
//
//   - SCH-1, SCH-2: Appointment.identifier. SCH-26, SCH-27: Appointment.basedOn, as
//     a logical reference, so that an order which came over FHIR is found and
//     never overwritten.
//   - SCH-6: cancelationReason (S15, S16). SCH-7: reasonCode, and appointmentType
//     where it is of table 0276; else SCH-8 is.
//   - SCH-11.4, .5, else TQ1-7, -8, else the first AIS-4: start and end; an end
//     that is not said follows from SCH-9 and -10, else from AIS-7 and -8.
//   - AIS-3: serviceType, in the code systems that a FHIR sender uses.
//   - AIP-3: a Practitioner. AIL-3: a Location. Both only where it is known whose
//     identifiers they are; else their names stand in Appointment.participant.
//   - PID: Patient. All of these are made where nobody has the identifier, and
//     else left as they are: SIU is no source of demographics.
//   - NTE after SCH: comment.
//
// PV1, DG1, OBX, AIG and RGS are not read, nor those who keep the schedule (SCH-12,
// SCH-16, SCH-20): the first person of an Appointment is taken to be the surgeon.
//
// # Order
//
// MSH-7 becomes meta.lastUpdated, and MSH-10, where it counts, meta.versionId:
// the order by which the intake tells an older message from a newer. In the hour
// that the clocks show twice, an MSH-7 without an offset says nothing of order.
//
// Source: the HL7 v2-to-FHIR mappings for SIU_S12, segments SCH, PID, AIS, AIP and
// AIL; what they leave open is ours, and said above.
package siu

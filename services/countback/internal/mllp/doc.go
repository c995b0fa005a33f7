// Package mllp is the inlet for HL7 version 2: it takes scheduling messages over
// TCP in the minimal lower layer protocol, and hands them to casework as the same
// deliveries that a FHIR sender makes.
//
// # What an answer means
//
// AA is sent after the transaction has committed, and never before. A message
// whose answer was lost may be sent again: it is known by the sender's own order
// and by what it says, is answered AA, and changes nothing. AE names segment and
// field of what cannot be taken; the same message will not be taken later. AR is
// for what is none of our messages, or for what cannot be taken now: nothing was
// stored, and it may be sent again. An answer that says more than AA (a message
// that was superseded, a booking that opens no case) says it in ERR with severity
// I; it was stored.
//
// Answers are in the original mode of acknowledgment, whatever MSH-15 and MSH-16
// ask for.
//
// # Connections
//
// Each connection is served by itself, one message after another. A message that
// is larger than allowed is answered AR and passed over; bytes outside a frame, or
// a frame that does not end as one, end the connection, since nobody can tell
// where the next message begins. On the way down a message in hand is finished
// and answered; one that has not arrived whole is not, and is sent again.
//
// # Privacy
//
// Logs hold the event, the answer, the places of faults and an id that the service
// made, which is also MSH-10 of the answer; nothing that was sent.
//
// Source: HL7 transport specification MLLP, release 1: a frame is 0x0B, the
// message, 0x1C 0x0D (from memory).
package mllp

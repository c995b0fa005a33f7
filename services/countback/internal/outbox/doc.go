// Package outbox carries committed events from the database to consumers over
// NATS JetStream: the embedded server, the stream, the relay, the audit, and a
// reference consumer.
//
// # What it promises
//
// The outbox row is the record and JetStream is delivery. A row is written in
// the transaction that made the change, published after the commit, and marked
// with the stream sequence that JetStream acknowledged. A crash anywhere
// between leaves an unmarked row, which is published again with the same id.
// So every event is delivered at least once, in order within its case, and a
// message may come twice.
//
// Deduplication by message id narrows that down while the duplicate window
// lasts (see EnsureStream) and is an economy, never the promise. The promise
// is made by casesequence, which counts 1, 2, 3 … over all events of a case. A
// consumer that keeps to it (drops what it has, applies the next, and on a gap
// reads the FHIR API) gets an exactly-once effect from at-least-once delivery.
//
// # What the consumer keeps
//
// Consume holds the last sequence of each case in memory and rebuilds it on
// start from the stream, up to what its durable consumer had acknowledged. One
// thing is left that memory cannot see: a crash after Handle returned and
// before the acknowledgement arrived hands that one event over again; and a
// stream that was deleted and filled again starts a restarted consumer from the
// beginning. A consumer whose effect must not happen twice even then stores the
// sequence in the transaction of its effect and says so through
// ConsumeOptions.Last. A durable name belongs to one running Consume at a time.
//
// The audit compares rows with the stream message by message, because an
// acknowledged message can still be lost (a power cut before the disk has it,
// a stream deleted by hand), and publishes again what is missing, with the
// same id. Such a message comes after its successors; a consumer that keeps to
// the sequence has by then seen the gap and read the API, and drops it.
package outbox

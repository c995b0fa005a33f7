// Package store keeps everything the service knows in one SQLite file: what
// was received, resources with their versions, search rows, cases, items and
// the outbox. One transaction holds all that one change to a case leads to.
//
// There is one writer. Waiting writes are put into one SQL transaction, each
// in a savepoint of its own, and are answered after the one commit; so a write
// that is answered is on the disk, and a write that fails leaves nothing.
// Readers see a snapshot and never wait for the writer.
//
// All instants are microseconds since 1970 in UTC; the zero time is NULL.
// Ids are UUIDv7: rows that are made together lie together.
//
// The file must lie on a local disk: SQLite's locks and its shared memory do
// not work over a network.
package store

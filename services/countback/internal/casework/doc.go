// Package casework makes every change to a case, one transaction each: a
// resource arrived ([Office.Receive]), an item was worked ([Office.Work]), time
// passed ([Office.Tick]), a new protocol was adopted ([Office.Adopt], and
// [Office.CatchUp] for the cases that are open then).
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
// What only asks ([Office.EarliestSafe], [Office.Apply]) reads one snapshot by the
// same rules, and stores nothing: no archived message, version or event.
//
// What would come of a message ([Office.Foresee], [Office.Try]) is found by
// carrying it out and undoing it, so that it cannot differ from what then comes.
//
// # Deletions
//
// A deletion is a version without a body. A deleted fact is no longer read. A
// deleted resource of a booking that has a case is read as it stood, as entered in
// error: what vanished would leave a case that nobody ends.
//
// # What identifies a booking
//
// A booking is known by its business identifier. A POST of a resource that plans
// follow from (a booking, or what says more about the person) whose identifiers are exactly those of one that is held already updates that
// one: theatre systems repeat themselves, and a second case for the same
// operation would be worse than an unusual reading of POST.
//
// Of two bookings with one number under two systems neither is the other: each
// moves and ends alone. A number under one system is one booking, whoever sends it.
//
// # Which message counts
//
// Not the one that arrives last, but the last by its source's own order, for each
// resource and each source (meta.source, else the system of the identifier):
// meta.lastUpdated, then a numeric meta.versionId. What is older than what is held
// is kept in the archive and changes nothing: "superseded". Of two with one order
// that do not agree, the one with the greater digest of its content counts, in
// either order of arrival, and a person is asked until a later one comes. A booking
// that was cancelled, was entered in error or has no date is a message like any
// other: an older one that says booked does not bring it back, whether a case was
// ever opened or not. Nor does it after a deletion, which stands in the place of
// the message that it deleted. Between two sources, and where a source gives no
// order, gives one more than five minutes in the future, or gives back the meta of
// a version of ours, the order of arrival counts; the plan of a booking that no
// source gives an order for says so. If-Match with the current version is an edit,
// and counts.
//
// # The protocol
//
// Which protocol is in force is a row of the database, written by the transaction
// that adopts it. Every transaction asks for it once and plans by it throughout,
// so that no plan is made by two. A case row says which version planned the case:
// CatchUp goes through those of another version, also after a crash. An item that
// a new version does not touch gets no new version itself and goes on standing by
// the protocol that it was written by; a case that is over keeps the protocol of
// its time.
//
// # Subscriptions
//
// What happens is told to who subscribed from the same outbox rows as to the
// stream. [Office.NumberEvents] gives each event its number in each Subscription
// that asks for it; [Office.NextNotification] says what is to be sent, and
// [Office.Notified] how that went. Here is where each receiver stands; package
// notify only carries. Numbers are given by reading on from the last outbox row
// that was seen: with one writer rows are numbered in the order of the commits, so
// that none is passed over. Several writers would need another way.
//
// # Time
//
// A case row holds the moment at which something next changes with time alone.
// Tick takes the cases whose moment has come with a lease and plans each again
// in a transaction of its own. As every change goes through the comparison with
// what stands, a change is told once whether the process was killed in between,
// slept for a week, or shares the work with others; the lease only saves them
// from doing it twice. A case that fails rests, longer each time. Time itself
// never goes back: see store.Open for a clock that does.
//
// What should have held a case while nobody looked holds it when somebody looks
// again (readiness.CarryOn), by what was known then: a message that comes first
// after a sleep over the hour of surgery wakes the case before it is read. Such a
// hold says since when it should have stood; its Flag begins when it was raised.
package casework

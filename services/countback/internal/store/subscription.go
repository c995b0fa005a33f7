package store

import (
	"database/sql"
	"time"
)

// Delivery is how far a Subscription is. The resource says what is asked for.
type Delivery struct {
	ID           string
	Status       string
	NumberedTo   int64 // outbox row up to which events have their numbers
	Events       int64 // the last number that was given
	Delivered    int64 // the last number that the receiver took
	Greet        bool  // a handshake is to be answered before anything else
	Failures     int   // in a row
	FailingSince time.Time
	NotBefore    time.Time // of the next attempt
	SentAt       time.Time // when the receiver last took anything; zero: never
	EndsAt       time.Time
	Heartbeat    int64 // seconds without news after which a sign of life is sent; 0: never
}

const deliveryColumns = `id, status, numbered_to, events, delivered, greet, failures, failing_since, not_before, sent_at, ends_at, heartbeat`

func scanDelivery(d *Delivery) []any {
	return []any{&d.ID, &d.Status, &d.NumberedTo, &d.Events, &d.Delivered, &d.Greet, &d.Failures,
		at{&d.FailingSince}, at{&d.NotBefore}, at{&d.SentAt}, at{&d.EndsAt}, &d.Heartbeat}
}

// PutDelivery stores how far a Subscription is.
func (tx *Tx) PutDelivery(d Delivery) error {
	_, err := tx.exec(`INSERT OR REPLACE INTO subscription (`+deliveryColumns+`) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		d.ID, d.Status, d.NumberedTo, d.Events, d.Delivered, d.Greet, d.Failures,
		micros(d.FailingSince), micros(d.NotBefore), micros(d.SentAt), micros(d.EndsAt), d.Heartbeat)
	return wrap("put delivery", err)
}

// DeliveryOf is how far a Subscription is; ErrNotFound when there is none.
func (tx *Tx) DeliveryOf(id string) (Delivery, error) {
	var d Delivery
	err := tx.one(scanDelivery(&d), `SELECT `+deliveryColumns+` FROM subscription WHERE id = ?`, id)
	return d, wrap("read delivery", err)
}

// Deliveries are all Subscriptions, by id.
func (tx *Tx) Deliveries() ([]Delivery, error) {
	var out []Delivery
	err := tx.each(func(rows *sql.Rows) error {
		var d Delivery
		err := rows.Scan(scanDelivery(&d)...)
		out = append(out, d)
		return err
	}, `SELECT `+deliveryColumns+` FROM subscription ORDER BY id`)
	return out, wrap("read deliveries", err)
}

// DropDelivery forgets a Subscription with its events.
func (tx *Tx) DropDelivery(id string) error {
	_, err := tx.exec(`DELETE FROM subscription WHERE id = ?`, id)
	if err == nil {
		_, err = tx.exec(`DELETE FROM subscription_event WHERE subscription = ?`, id)
	}
	return wrap("drop delivery", err)
}

// LastOutbox is the number of the newest outbox row that there ever was, 0 for
// none.
func (tx *Tx) LastOutbox() (int64, error) {
	var seq int64
	err := tx.one([]any{&seq}, `SELECT ifnull((SELECT seq FROM sqlite_sequence WHERE name = 'outbox'), 0)`)
	return seq, wrap("read last outbox row", err)
}

// OutboxEvent is an outbox row with whose case it is of.
type OutboxEvent struct {
	OutboxRow
	Patient string
}

// OutboxAfter are the rows with a number after one, published or not, in order.
// Within a write it misses none: there is one writer, and rows are numbered in
// the order of the commits.
func (tx *Tx) OutboxAfter(seq int64, limit int) ([]OutboxEvent, error) {
	var out []OutboxEvent
	err := tx.each(func(rows *sql.Rows) error {
		var e OutboxEvent
		err := rows.Scan(&e.Seq, &e.ID, &e.CaseID, &e.CaseSequence, packed{&e.Body}, at{&e.CreatedAt}, &e.Patient)
		out = append(out, e)
		return err
	}, `SELECT o.seq, o.id, o.case_id, o.case_sequence, o.body, o.created_at, ifnull(c.patient, '')
		FROM outbox o LEFT JOIN care_case c ON c.id = o.case_id WHERE o.seq > ? ORDER BY o.seq LIMIT ?`, seq, limit)
	return out, wrap("read outbox", err)
}

// SubscriptionEvent is an event with its number in a Subscription.
type SubscriptionEvent struct {
	Subscription string
	Number       int64
	EventID      string // of the outbox row, which may be gone
	CaseID       string
	At           time.Time
	News         []byte // what is told of it
}

// AddSubscriptionEvents stores events with their numbers. ErrConflict when a
// number was given before.
func (tx *Tx) AddSubscriptionEvents(list []SubscriptionEvent) error {
	const width = 6
	args := make([]any, 0, width*len(list))
	for _, e := range list {
		args = append(args, e.Subscription, e.Number, e.EventID, e.CaseID, micros(e.At), e.News)
	}
	err := tx.insertRows(`INSERT INTO subscription_event (subscription, number, event_id, case_id, at, news) VALUES `, width, args)
	if err != nil {
		return conflict("add subscription events", err)
	}
	return nil
}

// SubscriptionEvents are the events of a Subscription with numbers from first to
// last, in order, at most limit.
func (tx *Tx) SubscriptionEvents(id string, first, last int64, limit int) ([]SubscriptionEvent, error) {
	var out []SubscriptionEvent
	err := tx.each(func(rows *sql.Rows) error {
		e := SubscriptionEvent{Subscription: id}
		err := rows.Scan(&e.Number, &e.EventID, &e.CaseID, at{&e.At}, &e.News)
		out = append(out, e)
		return err
	}, `SELECT number, event_id, case_id, at, news FROM subscription_event
		WHERE subscription = ? AND number BETWEEN ? AND ? ORDER BY number LIMIT ?`, id, first, last, limit)
	return out, wrap("read subscription events", err)
}

// PruneSubscriptionEvents deletes delivered events from before a time.
func (tx *Tx) PruneSubscriptionEvents(before time.Time) (int64, error) {
	n, err := tx.exec(`DELETE FROM subscription_event WHERE at < ? AND number <=
		(SELECT delivered FROM subscription s WHERE s.id = subscription_event.subscription)`, micros(before))
	return n, wrap("prune subscription events", err)
}

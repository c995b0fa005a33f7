package store

import (
	"database/sql"
	"strings"
	"time"
)

// Order is where a source stands with a resource: the order, by the source's
// own count, of the message of it that counts.
type Order struct {
	At       time.Time // meta.lastUpdated as sent; zero: not said
	Version  int64     // meta.versionId as sent; NoVersion: not said, or no number
	Hash     []byte    // of what was sent
	Disputed time.Time // since when two messages of this order disagree; zero: they do not
}

// NoVersion stands for a version that a source did not give.
const NoVersion = -1

// OrderOf is where a source stands with a resource; ErrNotFound where it gave no
// order yet.
func (tx *Tx) OrderOf(source, typ, id string) (Order, error) {
	var o Order
	var version sql.NullInt64
	err := tx.one([]any{at{&o.At}, &version, &o.Hash, at{&o.Disputed}},
		`SELECT o.at, o.version, o.hash, o.disputed FROM source_order o JOIN resource r ON r.seq = o.resource
		WHERE r.type = ? AND r.id = ? AND o.source = ?`, typ, id, source)
	if o.Version = NoVersion; version.Valid {
		o.Version = version.Int64
	}
	return o, wrap("read order of source", err)
}

// PutOrder notes where a source stands with a resource, which must be stored.
func (tx *Tx) PutOrder(source, typ, id string, o Order) error {
	var version any
	if o.Version != NoVersion {
		version = o.Version
	}
	n, err := tx.exec(`INSERT INTO source_order (source, resource, at, version, hash, disputed)
		SELECT ?, seq, ?, ?, ?, ? FROM resource WHERE type = ? AND id = ?
		ON CONFLICT DO UPDATE SET at = excluded.at, version = excluded.version, hash = excluded.hash, disputed = excluded.disputed`,
		source, micros(o.At), version, o.Hash, micros(o.Disputed), typ, id)
	if err == nil && n != 1 {
		err = ErrNotFound
	}
	return wrap("put order of source", err)
}

// Ordered reports whether any source gave an order for what it sent of a resource.
func (tx *Tx) Ordered(typ, id string) (bool, error) {
	var yes bool
	err := tx.one([]any{&yes}, `SELECT EXISTS (SELECT 1 FROM source_order WHERE resource = (SELECT seq FROM resource WHERE type = ? AND id = ?))`, typ, id)
	return yes, wrap("read whether there is an order", err)
}

// Disputes are, of a patient (Patient/id) and of what is theirs, the resources (Type/id) of which two messages of one order
// disagree, and since when.
func (tx *Tx) Disputes(patient string) (map[string]time.Time, error) {
	var out map[string]time.Time
	err := tx.each(func(rows *sql.Rows) error {
		var name string
		var since time.Time
		if err := rows.Scan(&name, at{&since}); err != nil {
			return err
		}
		if out == nil {
			out = map[string]time.Time{}
		}
		out[name] = since
		return nil
	}, `SELECT r.type || '/' || r.id, min(o.disputed) FROM resource r JOIN source_order o ON o.resource = r.seq
		WHERE r.patient = ? AND r.patient <> '' AND r.deleted = 0 AND o.disputed IS NOT NULL GROUP BY r.seq
		UNION ALL
		SELECT r.type || '/' || r.id, min(o.disputed) FROM resource r JOIN source_order o ON o.resource = r.seq
		WHERE r.type = 'Patient' AND r.id = ? AND o.disputed IS NOT NULL GROUP BY r.seq`,
		patient, strings.TrimPrefix(patient, "Patient/"))
	return out, wrap("read disputes", err)
}

// Feed is what has come from one source.
type Feed struct {
	Source      string
	First, Last time.Time // when it was heard from
	Newest      time.Time // the latest trusted time that it gave itself; zero: it gives none
	Messages    int64     // resources
	Superseded  int64     // of these, older than what was held
	Conflicts   int64     // of these, of the same order as what was held and not the same
	Ahead       int64     // of these, with a time too far in the future to be trusted
}

// AddFeed counts what came from a source now: its counts are added.
func (tx *Tx) AddFeed(f Feed) error {
	_, err := tx.exec(`INSERT INTO feed (source, first, last, newest, messages, superseded, conflicts, ahead)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?)
		ON CONFLICT DO UPDATE SET last = excluded.last,
			newest = CASE WHEN newest IS NULL OR excluded.newest > newest THEN excluded.newest ELSE newest END,
			messages = messages + excluded.messages, superseded = superseded + excluded.superseded,
			conflicts = conflicts + excluded.conflicts, ahead = ahead + excluded.ahead`,
		f.Source, micros(tx.Now), micros(tx.Now), micros(f.Newest), f.Messages, f.Superseded, f.Conflicts, f.Ahead)
	return wrap("count feed", err)
}

// Feeds are all sources that were ever heard from, by name.
func (tx *Tx) Feeds() ([]Feed, error) {
	var out []Feed
	err := tx.each(func(rows *sql.Rows) error {
		var f Feed
		err := rows.Scan(&f.Source, at{&f.First}, at{&f.Last}, at{&f.Newest}, &f.Messages, &f.Superseded, &f.Conflicts, &f.Ahead)
		out = append(out, f)
		return err
	}, `SELECT source, first, last, newest, messages, superseded, conflicts, ahead FROM feed ORDER BY source`)
	return out, wrap("read feeds", err)
}

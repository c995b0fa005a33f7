package store

import (
	"context"
	"database/sql"
	"time"
)

// OutboxRow is one event on its way out.
type OutboxRow struct {
	Seq          int64  // in order of the commits; set by Enqueue
	ID           string // of the event
	CaseID       string
	CaseSequence int64 // 1, 2, 3 … within the case
	Subject      string
	Body         []byte
	CreatedAt    time.Time
	PublishedAt  time.Time // zero until the stream acknowledged it
	StreamSeq    uint64    // of that acknowledgement
}

// Mark says that the stream acknowledged a row.
type Mark struct {
	Seq       int64
	StreamSeq uint64
}

// Enqueue puts events into the outbox, in this order. ErrConflict when the id
// or the case's sequence number was used before. A zero CreatedAt means now.
func (tx *Tx) Enqueue(rows []OutboxRow) error {
	const width = 6
	args := make([]any, 0, width*len(rows))
	for _, r := range rows {
		if r.CreatedAt.IsZero() {
			r.CreatedAt = tx.Now
		}
		args = append(args, r.ID, r.CaseID, r.CaseSequence, r.Subject, pack(r.Body), micros(r.CreatedAt))
	}
	err := tx.insertRows(`INSERT INTO outbox (id, case_id, case_sequence, subject, body, created_at) VALUES `, width, args)
	if err != nil {
		return conflict("enqueue", err)
	}
	tx.enqueued = tx.enqueued || len(rows) > 0
	return nil
}

const outboxColumns = `seq, id, case_id, case_sequence, subject, body, created_at, published_at, stream_seq`

// Unpublished are rows that the stream has not acknowledged, in order. They
// are found by their state: a row is never skipped because a later one was
// committed first.
func (db *DB) Unpublished(ctx context.Context, limit int) ([]OutboxRow, error) {
	return db.outbox(ctx, `SELECT `+outboxColumns+` FROM outbox WHERE published_at IS NULL ORDER BY seq LIMIT ?`, limit)
}

// Published are acknowledged rows with a number after afterSeq, in order.
func (db *DB) Published(ctx context.Context, afterSeq int64, limit int) ([]OutboxRow, error) {
	return db.outbox(ctx, `SELECT `+outboxColumns+` FROM outbox
		WHERE seq > ? AND published_at IS NOT NULL ORDER BY seq LIMIT ?`, afterSeq, limit)
}

func (db *DB) outbox(ctx context.Context, query string, args ...any) ([]OutboxRow, error) {
	var out []OutboxRow
	err := db.Read(ctx, func(tx *Tx) error {
		return tx.each(func(rows *sql.Rows) error {
			var r OutboxRow
			var stream int64
			err := rows.Scan(&r.Seq, &r.ID, &r.CaseID, &r.CaseSequence, &r.Subject, packed{&r.Body},
				at{&r.CreatedAt}, at{&r.PublishedAt}, zeroNull{&stream})
			r.StreamSeq = uint64(stream)
			out = append(out, r)
			return err
		}, query, args...)
	})
	return out, wrap("read outbox", err)
}

// MarkPublished notes what the stream acknowledged. Marking a row again
// replaces its stream sequence: that is what publishing again leads to.
func (db *DB) MarkPublished(ctx context.Context, marks []Mark) error {
	if len(marks) == 0 {
		return nil
	}
	return db.Write(ctx, func(tx *Tx) error {
		for _, m := range marks {
			n, err := tx.exec(`UPDATE outbox SET published_at = ?, stream_seq = ? WHERE seq = ?`,
				tx.Now.UnixMicro(), int64(m.StreamSeq), m.Seq)
			if err == nil && n == 0 {
				err = ErrNotFound
			}
			if err != nil {
				return wrap("mark published", err)
			}
		}
		return nil
	})
}

// Prune deletes rows that were made and published before a time and whose place
// in the stream is known, among the first limit rows with a number after
// afterSeq. It gives the number to go on from, 0 when nothing older is left, and
// how many it deleted. A row that was never published stays for ever.
func (db *DB) Prune(ctx context.Context, afterSeq int64, before time.Time, limit int) (next, deleted int64, err error) {
	var old []int64
	err = db.Read(ctx, func(tx *Tx) error {
		young := false // rows rise with time: none after the first young one is old
		return tx.each(func(rows *sql.Rows) error {
			var seq int64
			var created time.Time
			err := rows.Scan(&seq, at{&created})
			if young = young || !created.Before(before); !young {
				old = append(old, seq)
			}
			return err
		}, `SELECT seq, created_at FROM outbox WHERE seq > ? ORDER BY seq LIMIT ?`, afterSeq, limit)
	})
	if err != nil || len(old) == 0 {
		return 0, 0, wrap("prune outbox", err)
	}
	last := old[len(old)-1]
	err = db.Write(ctx, func(tx *Tx) error {
		deleted, err = tx.exec(`DELETE FROM outbox WHERE seq > ? AND seq <= ? AND published_at < ? AND stream_seq IS NOT NULL`,
			afterSeq, last, before.UnixMicro())
		return err
	})
	if len(old) == limit {
		next = last
	}
	return next, deleted, wrap("prune outbox", err)
}

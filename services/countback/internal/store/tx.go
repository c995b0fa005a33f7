package store

import (
	"context"
	"database/sql"
	"errors"
	"time"
)

// Tx is one write, or one read-only snapshot. It may be used only until the
// function that got it returns, and by one goroutine at a time. When a method
// of a write fails, the function must return an error.
type Tx struct {
	// Now is the time of the transaction in whole microseconds. It never goes
	// back within the process.
	Now time.Time

	ctx      context.Context // of searches in a snapshot
	conn     *conn
	ids      *ids
	readOnly bool
	enqueued bool
	ended    bool
	numbers  map[string]int64 // of shared texts, by text
	texted   map[int64]string // and by number
	failed   error            // a failure after which the transaction is no longer whole
}

// NewID is a new UUIDv7 made from Now. Ids rise strictly within the process.
func (tx *Tx) NewID() string { return tx.ids.next(tx.Now) }

// usable guards against the use of a transaction that is over or undone.
func (tx *Tx) usable() error {
	if tx.ended {
		return errors.New("transaction is over")
	}
	return tx.failed
}

func (tx *Tx) note(err error) error {
	if err != nil && undoes(err) && !tx.readOnly {
		tx.failed = err
	}
	return err
}

// exec runs a statement that changes rows and gives their number.
func (tx *Tx) exec(query string, args ...any) (int64, error) {
	result, err := tx.run(query, args)
	if err != nil {
		return 0, err
	}
	return result.RowsAffected()
}

func (tx *Tx) run(query string, args []any) (sql.Result, error) {
	if tx.readOnly {
		return nil, ErrReadOnly
	}
	if err := tx.usable(); err != nil {
		return nil, err
	}
	s, err := tx.conn.prepare(query)
	if err != nil {
		return nil, tx.note(err)
	}
	result, err := s.ExecContext(never, args...)
	return result, tx.note(err)
}

// maxBulkRows is the most rows of one INSERT.
const maxBulkRows = 64

// insertRows inserts rows of width columns; head ends with VALUES.
func (tx *Tx) insertRows(head string, width int, args []any) error {
	if tx.readOnly {
		return ErrReadOnly
	}
	for len(args) > 0 {
		if err := tx.usable(); err != nil {
			return err
		}
		n := min(len(args)/width, maxBulkRows)
		s, err := tx.conn.prepareBulk(head, n, width)
		if err == nil {
			_, err = s.ExecContext(never, args[:n*width]...)
		}
		if err != nil {
			return tx.note(err)
		}
		args = args[n*width:]
	}
	return nil
}

// each runs a query and calls scan for every row.
func (tx *Tx) each(scan func(*sql.Rows) error, query string, args ...any) error {
	if err := tx.usable(); err != nil {
		return err
	}
	s, err := tx.conn.prepare(query)
	if err != nil {
		return tx.note(err)
	}
	ctx := never
	if tx.readOnly && tx.ctx != nil {
		ctx = tx.ctx
	}
	rows, err := s.QueryContext(ctx, args...)
	if err != nil {
		return tx.note(err)
	}
	defer rows.Close()
	for rows.Next() {
		if err := scan(rows); err != nil {
			return err
		}
	}
	return tx.note(rows.Err())
}

// one runs a query for one row; ErrNotFound when there is none.
func (tx *Tx) one(dest []any, query string, args ...any) error {
	found := false
	err := tx.each(func(rows *sql.Rows) error {
		found = true
		return rows.Scan(dest...)
	}, query, args...)
	if err == nil && !found {
		return ErrNotFound
	}
	return err
}

// micros is a time as a column: NULL for the zero time.
func micros(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t.UnixMicro()
}

// at is a column that holds a time; it scans NULL as the zero time.
type at struct{ t *time.Time }

// Scan implements sql.Scanner.
func (a at) Scan(src any) error {
	switch v := src.(type) {
	case nil:
		*a.t = time.Time{}
	case int64:
		*a.t = time.UnixMicro(v).UTC()
	default:
		return errors.New("column does not hold microseconds")
	}
	return nil
}

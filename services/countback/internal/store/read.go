package store

import (
	"context"
	"fmt"
)

// Read runs fn on a read-only snapshot: it sees everything that was committed
// before its first query and nothing later. It never waits for the writer.
func (db *DB) Read(ctx context.Context, fn func(*Tx) error) error {
	select {
	case <-db.closing:
		return ErrClosed
	default:
	}
	var c *conn
	select {
	case c = <-db.readers:
	case <-ctx.Done():
		return ctx.Err()
	case <-db.closing:
		return ErrClosed
	}
	// A connection that may be in a bad state is not kept.
	keep := false
	defer func() {
		if !keep && c != nil {
			c.close()
			c = nil
		}
		db.readers <- c
	}()
	if c == nil {
		var err error
		if c, err = newConn(ctx, db.pool); err != nil {
			return fmt.Errorf("open reader: %w", err)
		}
	}
	if err := c.control("BEGIN DEFERRED"); err != nil {
		return fmt.Errorf("begin read: %w", err)
	}
	tx := &Tx{Now: db.clock.read(), ctx: ctx, conn: c, ids: &db.ids, readOnly: true}
	finished := false
	defer func() {
		tx.ended = true
		keep = c.control("ROLLBACK") == nil && finished
	}()
	err := fn(tx)
	finished = true
	return err
}

package store

import (
	"context"
	"errors"
	"fmt"
)

// maxGroup is the most writes of one SQL transaction. More would make the
// first of them wait too long.
const maxGroup = 16

// request is one waiting write. Its function runs on the goroutine that called
// Write, so that a panic in it is the caller's; the writer only says when.
type request struct {
	turn  chan *Tx
	ran   chan error
	reply chan error
}

// errUnfinished stands for a function that panicked or left its goroutine.
var errUnfinished = errors.New("write function did not return")

// Write runs fn in the one writer. It returns after the commit; when fn
// returns an error, everything fn did is undone and the error is returned as it
// is. ctx counts only until fn starts. fn must not call Write.
func (db *DB) Write(ctx context.Context, fn func(*Tx) error) error {
	r := &request{turn: make(chan *Tx), ran: make(chan error, 1), reply: make(chan error, 1)}
	if db.dead.Load() {
		return ErrClosed
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	select {
	case db.queue <- r:
	case <-ctx.Done():
		return ctx.Err()
	case <-db.closing:
		return ErrClosed
	}
	select {
	case tx := <-r.turn:
		r.run(tx, fn)
		return <-r.reply
	case err := <-r.reply: // the transaction could not begin
		return err
	}
}

func (r *request) run(tx *Tx, fn func(*Tx) error) {
	err := errUnfinished
	defer func() {
		tx.ended = true
		r.ran <- err
	}()
	err = fn(tx)
}

func (db *DB) writeLoop() {
	defer db.done.Done()
	for {
		select {
		case <-db.closing:
			return
		case r := <-db.queue:
			db.writeGroup(r)
		}
	}
}

// answer is what a request of the group is told after the commit.
type answer struct {
	request *request
	err     error
}

// group is one SQL transaction.
type group struct {
	db       *DB
	answers  []answer
	enqueued bool
}

func (db *DB) writeGroup(r *request) {
	if db.catchUp.CompareAndSwap(true, false) {
		db.checkpointNow(db.writer)
	}
	if db.dead.Load() {
		r.reply <- ErrClosed
		return
	}
	if err := db.writer.control("BEGIN IMMEDIATE"); err != nil {
		r.reply <- fmt.Errorf("begin write: %w", err)
		return
	}
	g := group{db: db}
	for r != nil {
		if err := g.take(r); err != nil {
			g.abort(err)
			return
		}
		r = g.next()
	}
	g.commit()
}

// next is a write that waits by now, if the group has room for it.
func (g *group) next() *request {
	if len(g.answers) >= maxGroup {
		return nil
	}
	select {
	case r := <-g.db.queue:
		return r
	default:
		return nil
	}
}

// take runs one request. Its error means that the whole transaction is lost.
//
// The first request needs no savepoint: before it there is nothing to keep, so
// undoing it is undoing all. A savepoint costs a copy of every page it changes.
func (g *group) take(r *request) error {
	w := g.db.writer
	first := len(g.answers) == 0
	if !first {
		if err := w.control("SAVEPOINT one"); err != nil {
			g.answers = append(g.answers, answer{r, err})
			return err
		}
	}
	tx := &Tx{Now: g.db.clock.read(), conn: w, ids: &g.db.ids}
	r.turn <- tx
	err := <-r.ran
	g.answers = append(g.answers, answer{r, err})
	switch {
	case tx.failed != nil:
		return tx.failed
	case err == nil:
		g.enqueued = g.enqueued || tx.enqueued
		if first {
			return nil
		}
		return w.control("RELEASE one")
	case first:
		g.answers = g.answers[:0] // the next one is first again
		if err := w.control("ROLLBACK"); err != nil {
			g.answers = append(g.answers, answer{r, err})
			return err
		}
		r.reply <- err
		return w.control("BEGIN IMMEDIATE")
	}
	if err := w.control("ROLLBACK TO one"); err != nil {
		return err
	}
	return w.control("RELEASE one")
}

func (g *group) commit() {
	if err := g.db.writer.control("COMMIT"); err != nil {
		g.abort(err)
		return
	}
	for _, a := range g.answers {
		a.request.reply <- a.err
	}
	if g.enqueued {
		signal(g.db.wake)
		g.db.watching.tell()
	}
}

// abort undoes the group. A request whose function failed by itself is told so
// too: what it saw of the others is undone.
func (g *group) abort(cause error) {
	// SQLite may have undone the transaction already; then this fails.
	_ = g.db.writer.control("ROLLBACK")
	reason := ErrAborted
	if ioFailure(cause) {
		reason = ErrClosed
		g.db.fatal(cause)
	}
	for _, a := range g.answers {
		a.request.reply <- fmt.Errorf("%w: %w", reason, cause)
	}
}

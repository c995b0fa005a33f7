package store

import (
	"errors"
	"fmt"

	"github.com/ncruces/go-sqlite3"
)

// Errors that callers tell apart. None carries data of a patient.
var (
	// ErrNotFound says that there is no such row.
	ErrNotFound = errors.New("not found")
	// ErrConflict says that a row is not in the version that the caller
	// changed, or that another row already holds a unique value.
	ErrConflict = errors.New("conflict with the stored state")
	// ErrAborted says that a write was undone because the transaction it was
	// grouped into failed. Nothing of it is stored; it may be tried again.
	ErrAborted = errors.New("write group undone")
	// ErrClosed says that the database is closed, or was shut after a failed
	// commit.
	ErrClosed = errors.New("store is closed")
	// ErrClockBack says that the clock is more than two days behind what is
	// stored: it is wrong now, or was when that was written.
	ErrClockBack = errors.New("the clock was set back by more than two days")
	// ErrReadOnly says that a write was tried within Read.
	ErrReadOnly = errors.New("read-only transaction")
)

// ioFailure reports whether nobody can know what is on the disk after err: a
// later fsync may succeed although the pages were dropped.
func ioFailure(err error) bool {
	return errors.Is(err, sqlite3.IOERR) || errors.Is(err, sqlite3.CORRUPT) || errors.Is(err, sqlite3.NOTADB)
}

// undoes reports whether SQLite may have undone the whole transaction by
// itself, beyond the savepoint.
// Source: SQLite documentation, "Response To Errors Within A Transaction".
func undoes(err error) bool {
	return ioFailure(err) || errors.Is(err, sqlite3.FULL) || errors.Is(err, sqlite3.NOMEM) ||
		errors.Is(err, sqlite3.BUSY) || errors.Is(err, sqlite3.INTERRUPT)
}

// conflict turns a violated unique constraint into ErrConflict.
func conflict(what string, err error) error {
	if errors.Is(err, sqlite3.CONSTRAINT_UNIQUE) || errors.Is(err, sqlite3.CONSTRAINT_PRIMARYKEY) {
		return fmt.Errorf("%s: %w", what, ErrConflict)
	}
	return wrap(what, err)
}

func wrap(what string, err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%s: %w", what, err)
}

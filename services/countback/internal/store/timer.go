package store

import (
	"database/sql"
	"errors"
	"fmt"
	"time"
)

// Lease is the right to work on one case's timer until a time. It keeps several
// copies of the service from doing the same work, and no more: what is written
// is right without it, because whoever plans a case reads it in the transaction
// that writes.
type Lease struct {
	CaseID   string
	Attempts int // with this one, since the timer last went well
}

// longestLease bounds how far ahead a lease may end. One that ends later was
// written while the clock was wrong, and counts for nothing.
const longestLease = 2 * time.Hour

// dueCases joins each due case with its lease: the first argument is now.
const dueCases = ` FROM care_case c LEFT JOIN timer_lease t ON t.case_id = c.id AND t.due_at = c.next_at
	WHERE c.next_at <= ? AND (t.case_id IS NULL OR t.until <= ? OR t.until > ?) ORDER BY c.next_at, c.id LIMIT ?`

func dueArgs(now time.Time, limit int) []any {
	return []any{now.UnixMicro(), now.UnixMicro(), now.Add(longestLease).UnixMicro(), limit}
}

// DueCases are the ids of cases whose timer fires at or before now and that
// nobody holds, the earliest first.
func (tx *Tx) DueCases(now time.Time, limit int) ([]string, error) {
	out, err := tx.texts(`SELECT c.id`+dueCases, dueArgs(now, limit)...)
	return out, wrap("read due cases", err)
}

// takeLease asks again whether the lease is free: where there are several
// writers, another may have taken it since it was looked for.
const takeLease = `INSERT INTO timer_lease (case_id, due_at, holder, until, attempts)
	SELECT id, next_at, ?, ?, 1 FROM care_case WHERE id = ? AND next_at IS NOT NULL
	ON CONFLICT (case_id) DO UPDATE SET holder = excluded.holder, until = excluded.until, due_at = excluded.due_at,
		attempts = CASE WHEN timer_lease.due_at = excluded.due_at THEN timer_lease.attempts ELSE 0 END + 1
		WHERE timer_lease.due_at <> excluded.due_at OR timer_lease.until <= ? OR timer_lease.until > ?
	RETURNING attempts`

// LeaseDue takes the lease of at most limit due cases, the earliest first, until
// a time at most two hours after now. An attempt counts from here, so that one
// that ends with the process counts too.
func (tx *Tx) LeaseDue(holder string, now, until time.Time, limit int) ([]Lease, error) {
	if holder == "" || until.Sub(now) > longestLease {
		return nil, fmt.Errorf("lease due cases: no holder, or for more than %s", longestLease)
	}
	due, err := tx.DueCases(now, limit)
	if err != nil {
		return nil, err
	}
	out := make([]Lease, 0, len(due))
	for _, id := range due {
		l := Lease{CaseID: id}
		err := tx.one([]any{&l.Attempts}, takeLease, append([]any{holder, until.UnixMicro(), id}, dueArgs(now, limit)[1:3]...)...)
		if errors.Is(err, ErrNotFound) {
			continue // somebody was quicker
		}
		if err != nil {
			return nil, wrap("lease due cases", err)
		}
		out = append(out, l)
	}
	return out, nil
}

// Leased reports whether the holder still has the case's lease. One that ended
// is held until somebody else takes it.
func (tx *Tx) Leased(caseID, holder string) (bool, error) {
	var n int
	err := tx.one([]any{&n}, `SELECT count(*) FROM timer_lease WHERE case_id = ? AND holder = ?`, caseID, holder)
	return n > 0, wrap("read lease", err)
}

// Release gives the lease back after the work went well.
func (tx *Tx) Release(caseID, holder string) error {
	_, err := tx.exec(`DELETE FROM timer_lease WHERE case_id = ? AND holder = ?`, caseID, holder)
	return wrap("release lease", err)
}

// Rest gives the lease back after the work failed: nobody takes the case up
// before a time at most two hours after now.
func (tx *Tx) Rest(caseID, holder string, until time.Time) error {
	_, err := tx.exec(`UPDATE timer_lease SET holder = '', until = ? WHERE case_id = ? AND holder = ?`,
		until.UnixMicro(), caseID, holder)
	return wrap("rest", err)
}

// Resting counts the cases whose timer failed and is tried again later.
func (tx *Tx) Resting() (int64, error) {
	var n int64
	err := tx.one([]any{&n}, `SELECT count(*) FROM timer_lease t JOIN care_case c ON c.id = t.case_id AND c.next_at = t.due_at
		WHERE t.holder = ''`)
	return n, wrap("count resting cases", err)
}

// takeLeasesBack frees every lease at the start: one process has the file, so
// that whoever held one is gone. The attempts stay counted.
func (db *DB) takeLeasesBack() error {
	_, err := db.writer.sql.ExecContext(never, `UPDATE timer_lease SET holder = '', until = 0`)
	return err
}

// lastWritten is the time of the last thing that was written: ids rise, so it is
// found without looking at the others.
const lastWritten = `SELECT max(t) FROM (
	SELECT * FROM (SELECT at AS t FROM received ORDER BY id DESC LIMIT 1)
	UNION ALL SELECT * FROM (SELECT updated FROM resource_version ORDER BY seq DESC LIMIT 1)
	UNION ALL SELECT * FROM (SELECT created_at FROM outbox ORDER BY seq DESC LIMIT 1))`

// startClock lets time go on from where the last process left it. After a
// restart with the clock set back a little, nothing that was late is early
// again, and no event is told twice. Set back by more, one of the two clocks was
// wrong and nobody here knows which: going on would either take warnings back
// that are due or date everything wrongly, so a person must say.
func (db *DB) startClock() error {
	var last sql.NullInt64
	if err := db.writer.sql.QueryRowContext(never, lastWritten).Scan(&last); err != nil {
		return err
	}
	stored, now := time.UnixMicro(last.Int64).UTC(), db.options.Now().UTC().Truncate(time.Microsecond)
	switch {
	case !last.Valid || !stored.After(now):
		return nil
	case stored.Sub(now) <= trustAhead && !db.options.ClockCorrected:
		db.clock.last = stored
		return nil
	case !db.options.ClockCorrected:
		return fmt.Errorf("%w: the last entry is of %s and the clock says %s",
			ErrClockBack, stored.Format(time.RFC3339), now.Format(time.RFC3339))
	}
	// What was planned while the clock was ahead is planned again by the timers.
	_, err := db.writer.sql.ExecContext(never, `UPDATE care_case SET next_at = ? WHERE updated > ?`, now.UnixMicro(), now.UnixMicro())
	return err
}

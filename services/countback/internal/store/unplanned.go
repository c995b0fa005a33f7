package store

import (
	"database/sql"
	"errors"
	"strings"
	"time"
)

// Unplanned is a booking that is held and has no open case.
type Unplanned struct {
	Patient, Booking string // references
	Reason           string
	Kind             string    // as the caller sorts them
	Day              string    // of surgery, 2006-01-02; empty: none
	Since            time.Time // for this reason
}

// Same reports whether two say the same.
func (u Unplanned) Same(o Unplanned) bool {
	since := u.Since.Equal(o.Since)
	u.Since, o.Since = time.Time{}, time.Time{}
	return since && u == o
}

const unplannedColumns = `patient, booking, reason, kind, day, since`

func (tx *Tx) unplanned(query string, args ...any) ([]Unplanned, error) {
	var out []Unplanned
	err := tx.each(func(rows *sql.Rows) error {
		var u Unplanned
		err := rows.Scan(&u.Patient, &u.Booking, &u.Reason, &u.Kind, &u.Day, at{&u.Since})
		out = append(out, u)
		return err
	}, `SELECT `+unplannedColumns+` FROM unplanned `+query, args...)
	return out, wrap("read unplanned bookings", err)
}

// UnplannedOf are those of a patient.
func (tx *Tx) UnplannedOf(patient string) ([]Unplanned, error) {
	return tx.unplanned(`WHERE patient = ? ORDER BY booking`, patient)
}

// AllUnplanned are all of them, by patient.
func (tx *Tx) AllUnplanned() ([]Unplanned, error) {
	return tx.unplanned(`ORDER BY patient, booking`)
}

// SaveUnplanned stores one, new or changed.
func (tx *Tx) SaveUnplanned(u Unplanned) error {
	_, err := tx.exec(`INSERT INTO unplanned (`+unplannedColumns+`) VALUES (?, ?, ?, ?, ?, ?)
		ON CONFLICT DO UPDATE SET reason = excluded.reason, kind = excluded.kind, day = excluded.day, since = excluded.since`,
		u.Patient, u.Booking, u.Reason, u.Kind, u.Day, micros(u.Since))
	return wrap("save unplanned booking", err)
}

// DeleteUnplanned takes one away: it has a case now, or is no longer there.
func (tx *Tx) DeleteUnplanned(patient, booking string) error {
	_, err := tx.exec(`DELETE FROM unplanned WHERE patient = ? AND booking = ?`, patient, booking)
	return wrap("delete unplanned booking", err)
}

// UnplannedFilter narrows the list; what is zero narrows nothing but Kinds.
type UnplannedFilter struct {
	Kinds    []string // any of; at least one
	From     string   // day of surgery, from then on
	Undated  bool     // those without a day of surgery only
	Patients []string // any of; nil: all, empty: none
	// News puts those that stand here since then before the others.
	News  time.Time
	After UnplannedPlace // the place of the last one on the page before; not with News
	Limit int            // at least 1
}

// UnplannedPlace is where a booking stands in the list by day of surgery.
type UnplannedPlace struct{ Day, Booking string }

func (f *UnplannedFilter) where() (string, []any) {
	b := strings.Builder{}
	b.WriteString(`WHERE kind IN (` + marks(len(f.Kinds)) + `)`)
	args := anys(f.Kinds)
	if f.From != "" {
		b.WriteString(` AND day >= ?`)
		args = append(args, f.From)
	}
	if f.Undated {
		b.WriteString(` AND day = ''`)
	}
	if f.Patients != nil {
		b.WriteString(` AND patient IN (` + marks(len(f.Patients)) + `)`)
		args = append(args, anys(f.Patients)...)
	}
	return b.String(), args
}

// Unplanned are those that a filter leaves, by day of surgery, those without one
// first.
func (tx *Tx) Unplanned(f UnplannedFilter) ([]Unplanned, error) {
	where, args := f.where()
	if f.After != (UnplannedPlace{}) {
		where += ` AND (day, booking) > (?, ?)`
		args = append(args, f.After.Day, f.After.Booking)
	}
	order := ` ORDER BY `
	if !f.News.IsZero() {
		order += `since < ?, `
		args = append(args, f.News.UnixMicro())
	}
	return tx.unplanned(where+order+`day, booking LIMIT ?`, append(args, f.Limit)...)
}

// CountUnplanned counts what Unplanned lists on all pages.
func (tx *Tx) CountUnplanned(f UnplannedFilter) (n int64, err error) {
	where, args := f.where()
	err = tx.one([]any{&n}, `SELECT count(*) FROM unplanned `+where, args...)
	return n, wrap("count unplanned bookings", err)
}

// UnplannedRead is the protocol by which all bookings were last looked through for
// those that are unplanned; empty: never.
func (tx *Tx) UnplannedRead() (protocol string, err error) {
	err = tx.one([]any{&protocol}, `SELECT protocol FROM unplanned_read`)
	if errors.Is(err, ErrNotFound) {
		return "", nil
	}
	return protocol, wrap("read how far bookings were looked through", err)
}

// SetUnplannedRead notes that they were looked through by a protocol.
func (tx *Tx) SetUnplannedRead(protocol string) error {
	_, err := tx.exec(`DELETE FROM unplanned_read`)
	if err == nil {
		_, err = tx.exec(`INSERT INTO unplanned_read (protocol) VALUES (?)`, protocol)
	}
	return wrap("note how far bookings were looked through", err)
}

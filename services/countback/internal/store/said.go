package store

import (
	"database/sql"
	"time"
)

// Said is what a person said of a booking and a record.
type Said struct {
	Booking, Record string // references
	Belongs         bool
	At              time.Time
}

// SaidOf is what was said of the bookings of a patient, the last of it last.
func (tx *Tx) SaidOf(patient string) ([]Said, error) {
	var out []Said
	err := tx.each(func(rows *sql.Rows) error {
		var s Said
		err := rows.Scan(&s.Booking, &s.Record, &s.Belongs, at{&s.At})
		out = append(out, s)
		return err
	}, `SELECT booking, record, belongs, at FROM said WHERE patient = ? ORDER BY at, booking, record`, patient)
	return out, wrap("read what was said of bookings", err)
}

// SaveSaid stores what was said on a Task, in place of what was said there before.
func (tx *Tx) SaveSaid(patient, task string, s Said) error {
	_, err := tx.exec(`INSERT INTO said (patient, booking, record, belongs, task, at) VALUES (?, ?, ?, ?, ?, ?)
		ON CONFLICT DO UPDATE SET belongs = excluded.belongs, at = excluded.at`,
		patient, s.Booking, s.Record, s.Belongs, task, micros(s.At))
	return wrap("save what was said of a booking", err)
}

// DeleteSaid takes back what was said on a Task.
func (tx *Tx) DeleteSaid(task string) error {
	_, err := tx.exec(`DELETE FROM said WHERE task = ?`, task)
	return wrap("take back what was said of a booking", err)
}

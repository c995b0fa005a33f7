package store

import "time"

// Received is what came in, byte for byte as it was sent.
type Received struct {
	At          time.Time
	Source      string // who sent it
	ContentType string
	Method      string // of HTTP
	Target      string // path and query below the FHIR base
	Body        []byte
}

// Archive keeps what was received and gives its number. A zero At means now.
func (tx *Tx) Archive(r Received) (int64, error) {
	if r.At.IsZero() {
		r.At = tx.Now
	}
	result, err := tx.run(`INSERT INTO received (at, source, content_type, method, target, body)
		VALUES (?, ?, ?, ?, ?, ?)`, []any{micros(r.At), r.Source, r.ContentType, r.Method, r.Target, pack(r.Body)})
	if err != nil {
		return 0, wrap("archive", err)
	}
	return result.LastInsertId()
}

// Archived gives back what was received; ErrNotFound when there is none.
func (tx *Tx) Archived(id int64) (Received, error) {
	var r Received
	err := tx.one([]any{at{&r.At}, &r.Source, &r.ContentType, &r.Method, &r.Target, packed{&r.Body}},
		`SELECT at, source, content_type, method, target, body FROM received WHERE id = ?`, id)
	return r, wrap("read archive", err)
}

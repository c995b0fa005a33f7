package store

import (
	"database/sql"
	"time"
)

// Case is one joint replacement of one patient.
type Case struct {
	ID       string
	Patient  string
	Key      string // what the case was opened for, as the caller names it
	State    string
	Sequence int64     // of the last event
	NextAt   time.Time // when the next timer fires; zero for never
	Open     bool
	Data     []byte // opaque
	Protocol string // canonical|version
	Updated  time.Time
	// What lists of cases go by.
	Surgery string // day of surgery, 2006-01-02; empty: no date
	Surgeon string // reference; empty: not known
	Place   string // ditto
}

const caseColumns = `id, patient, key, state, sequence, next_at, open, data, protocol, updated, surgery, surgeon, place`

func scanCase(c *Case) []any {
	return []any{&c.ID, &c.Patient, &c.Key, &c.State, &c.Sequence, at{&c.NextAt}, &c.Open, &c.Data, &c.Protocol, at{&c.Updated},
		&c.Surgery, &c.Surgeon, &c.Place}
}

func (tx *Tx) cases(query string, args ...any) ([]Case, error) {
	var out []Case
	err := tx.each(func(rows *sql.Rows) error {
		var c Case
		if err := rows.Scan(scanCase(&c)...); err != nil {
			return err
		}
		out = append(out, c)
		return nil
	}, query, args...)
	return out, wrap("read cases", err)
}

// Case is one case; ErrNotFound when there is none.
func (tx *Tx) Case(id string) (Case, error) {
	var c Case
	err := tx.one(scanCase(&c), `SELECT `+caseColumns+` FROM care_case WHERE id = ?`, id)
	return c, wrap("read case", err)
}

// CasesOf are all cases of a patient, open and closed, ordered by id.
func (tx *Tx) CasesOf(patient string) ([]Case, error) {
	return tx.cases(`SELECT `+caseColumns+` FROM care_case WHERE patient = ? ORDER BY id`, patient)
}

// OpenCases are open cases with an id after the given one, ordered by id.
func (tx *Tx) OpenCases(after string, limit int) ([]Case, error) {
	return tx.cases(`SELECT `+caseColumns+` FROM care_case WHERE open = 1 AND id > ? ORDER BY id LIMIT ?`, after, limit)
}

// SaveCase stores a case, new or changed. A zero Updated means now.
func (tx *Tx) SaveCase(c Case) error {
	if c.Updated.IsZero() {
		c.Updated = tx.Now
	}
	_, err := tx.exec(`INSERT INTO care_case (`+caseColumns+`) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
		ON CONFLICT (id) DO UPDATE SET patient = excluded.patient, key = excluded.key, state = excluded.state,
			sequence = excluded.sequence, next_at = excluded.next_at, open = excluded.open, data = excluded.data,
			protocol = excluded.protocol, updated = excluded.updated, surgery = excluded.surgery,
			surgeon = excluded.surgeon, place = excluded.place`,
		c.ID, c.Patient, c.Key, c.State, c.Sequence, micros(c.NextAt), c.Open, c.Data, c.Protocol, c.Updated.UnixMicro(),
		c.Surgery, c.Surgeon, c.Place)
	if err == nil { // what its items repeat
		_, err = tx.exec(`UPDATE item SET surgery = ?2 WHERE care_case = (SELECT seq FROM care_case WHERE id = ?1) AND surgery <> ?2`, c.ID, c.Surgery)
	}
	return wrap("save case", err)
}

// texts reads one column of text.
func (tx *Tx) texts(query string, args ...any) ([]string, error) {
	var out []string
	err := tx.each(func(rows *sql.Rows) error {
		var s string
		err := rows.Scan(&s)
		out = append(out, s)
		return err
	}, query, args...)
	return out, err
}

package store

import (
	"database/sql"
	"time"
)

// CalendarLink lets whoever knows its secret read the calendar of a case.
type CalendarLink struct {
	ID        string
	Case      string
	Hash      []byte // of the secret, which is not kept
	Holder    string // patient or coach
	Made      time.Time
	MadeBy    string
	Revoked   time.Time // zero: it works
	RevokedBy string
}

const linkColumns = `id, care_case, hash, holder, made, made_by, revoked, revoked_by`

func scanLink(l *CalendarLink) []any {
	return []any{&l.ID, &l.Case, &l.Hash, &l.Holder, at{&l.Made}, &l.MadeBy, at{&l.Revoked}, &l.RevokedBy}
}

// AddCalendarLink stores a new link.
func (tx *Tx) AddCalendarLink(l CalendarLink) error {
	_, err := tx.exec(`INSERT INTO calendar_link (id, care_case, hash, holder, made, made_by) VALUES (?, ?, ?, ?, ?, ?)`,
		l.ID, l.Case, l.Hash, l.Holder, micros(l.Made), l.MadeBy)
	return wrap("add calendar link", err)
}

// CalendarLinks are the links of a case, working and revoked, the oldest first.
func (tx *Tx) CalendarLinks(caseID string) ([]CalendarLink, error) {
	var out []CalendarLink
	err := tx.each(func(rows *sql.Rows) error {
		var l CalendarLink
		if err := rows.Scan(scanLink(&l)...); err != nil {
			return err
		}
		out = append(out, l)
		return nil
	}, `SELECT `+linkColumns+` FROM calendar_link WHERE care_case = ? ORDER BY made, id`, caseID)
	return out, wrap("read calendar links", err)
}

// CalendarLinkOf is the working link with the hash; ErrNotFound for one that was
// revoked or never made.
func (tx *Tx) CalendarLinkOf(hash []byte) (CalendarLink, error) {
	var l CalendarLink
	err := tx.one(scanLink(&l), `SELECT `+linkColumns+` FROM calendar_link WHERE hash = ? AND revoked IS NULL`, hash)
	return l, wrap("read calendar link", err)
}

// RevokeCalendarLink ends a link of a case for good; ErrNotFound where the case
// has no such link that works.
func (tx *Tx) RevokeCalendarLink(caseID, id string, when time.Time, by string) error {
	n, err := tx.exec(`UPDATE calendar_link SET revoked = ?, revoked_by = ? WHERE id = ? AND care_case = ? AND revoked IS NULL`,
		micros(when), by, id, caseID)
	if err == nil && n != 1 {
		err = ErrNotFound
	}
	return wrap("revoke calendar link", err)
}

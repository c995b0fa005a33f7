package store

import (
	"database/sql"
	"strings"
	"time"
)

// Moved is records that a source gave from one person to another.
type Moved struct {
	Source, Was, Now string // the patients as references
	Last             time.Time
	N                int64
	Types            []string // in order
}

// SaveMoved notes that a message of a source changed whose a record is.
func (tx *Tx) SaveMoved(source, typ, id, was, now string) error {
	_, err := tx.exec(`INSERT INTO moved_record (at, source, type, id, was, now) VALUES (?, ?, ?, ?, ?, ?)`, micros(tx.Now), source, typ, id, was, now)
	return wrap("note a moved record", err)
}

// MovedSince are the records that went to another person since a time, by source
// and persons, the last first.
func (tx *Tx) MovedSince(t time.Time, limit int) ([]Moved, error) {
	var out []Moved
	err := tx.each(func(rows *sql.Rows) error {
		var m Moved
		var types string
		err := rows.Scan(&m.Source, &m.Was, &m.Now, at{&m.Last}, &m.N, &types)
		m.Types = strings.Split(types, ",")
		out = append(out, m)
		return err
	}, `SELECT source, was, now, max(at), count(DISTINCT type || '/' || id), group_concat(DISTINCT type ORDER BY type)
		FROM moved_record WHERE at >= ? GROUP BY source, was, now ORDER BY max(at) DESC, source, was, now LIMIT ?`, t.UnixMicro(), limit)
	return out, wrap("read moved records", err)
}

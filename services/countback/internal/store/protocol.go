package store

import (
	"bytes"
	"database/sql"
	"errors"
	"time"
)

// ProtocolVersion names a stored version of a protocol.
type ProtocolVersion struct {
	URL     string
	Version string
	SavedAt time.Time
}

// Protocols are all stored versions, in the order of url and version.
func (tx *Tx) Protocols() ([]ProtocolVersion, error) {
	var out []ProtocolVersion
	err := tx.each(func(rows *sql.Rows) error {
		var p ProtocolVersion
		err := rows.Scan(&p.URL, &p.Version, at{&p.SavedAt})
		out = append(out, p)
		return err
	}, `SELECT url, version, saved_at FROM protocol ORDER BY url, version`)
	return out, wrap("read protocols", err)
}

// Protocol is the body of one version; ErrNotFound when there is none.
func (tx *Tx) Protocol(url, version string) ([]byte, error) {
	var body []byte
	err := tx.one([]any{&body}, `SELECT body FROM protocol WHERE url = ? AND version = ?`, url, version)
	return body, wrap("read protocol", err)
}

// SaveProtocol stores a version. Storing it again is no change; storing
// another body under the same version is ErrConflict, as plans that were made
// from it could no longer be explained.
func (tx *Tx) SaveProtocol(url, version string, body []byte) error {
	held, err := tx.Protocol(url, version)
	switch {
	case err == nil && bytes.Equal(held, body):
		return nil
	case err == nil:
		return wrap("save protocol", ErrConflict)
	case !errors.Is(err, ErrNotFound):
		return err
	}
	_, err = tx.exec(`INSERT INTO protocol (url, version, saved_at, body) VALUES (?, ?, ?, ?)`,
		url, version, tx.Now.UnixMicro(), body)
	return conflict("save protocol", err)
}

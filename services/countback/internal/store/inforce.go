package store

import (
	"database/sql"
	"time"
)

// InForce says which protocol was in force from a time on.
type InForce struct {
	URL, Version string
	Since        time.Time
	ReceivedID   int64  // archive row of the message that asked for it; 0: the service was started with it
	Resource     string // versioned reference to the definition as it is served
}

// Canonical is the protocol's url|version.
func (f InForce) Canonical() string { return f.URL + "|" + f.Version }

// InForce is what is in force; ErrNotFound before anything was.
func (tx *Tx) InForce() (InForce, error) {
	var f InForce
	err := tx.one([]any{&f.URL, &f.Version, at{&f.Since}, zeroNull{&f.ReceivedID}, &f.Resource},
		`SELECT url, version, since, received, resource FROM protocol_in_force ORDER BY seq DESC LIMIT 1`)
	return f, wrap("read protocol in force", err)
}

// PutInForce puts a protocol in force from now on; it must be stored. A zero
// Since means now.
func (tx *Tx) PutInForce(f InForce) error {
	if f.Since.IsZero() {
		f.Since = tx.Now
	}
	n, err := tx.exec(`INSERT INTO protocol_in_force (url, version, since, received, resource)
		SELECT url, version, ?, ?, ? FROM protocol WHERE url = ? AND version = ?`,
		micros(f.Since), nullZero(f.ReceivedID), f.Resource, f.URL, f.Version)
	if err == nil && n != 1 {
		err = ErrNotFound
	}
	return wrap("put protocol in force", err)
}

// SetVersions are what a protocol names, each in one version: value sets by the
// ids of their resources, questionnaires as Questionnaire/id.
type SetVersions map[string]int64

func (tx *Tx) setVersions(query string, args ...any) (SetVersions, error) {
	out := SetVersions{}
	err := tx.each(func(rows *sql.Rows) error {
		var id string
		var v int64
		err := rows.Scan(&id, &v)
		out[id] = v
		return err
	}, query, args...)
	return out, wrap("read value sets", err)
}

// CurrentSets are all value sets and questionnaires in their current versions.
func (tx *Tx) CurrentSets() (SetVersions, error) {
	return tx.setVersions(`SELECT iif(type = 'ValueSet', id, type || '/' || id), version
		FROM resource WHERE type IN ('ValueSet', 'Questionnaire') AND deleted = 0`)
}

// ProtocolSets are the value sets and questionnaires that a version of a protocol was stored with.
func (tx *Tx) ProtocolSets(url, version string) (SetVersions, error) {
	return tx.setVersions(`SELECT id, set_version FROM protocol_set WHERE url = ? AND version = ?`, url, version)
}

// SaveProtocolSets keeps the value sets and questionnaires of a new version of a protocol; they
// never change.
func (tx *Tx) SaveProtocolSets(url, version string, sets SetVersions) error {
	const width = 4
	args := make([]any, 0, width*len(sets))
	for id, v := range sets {
		args = append(args, url, version, id, v)
	}
	return conflict("save value sets", tx.insertRows(`INSERT INTO protocol_set (url, version, id, set_version) VALUES `, width, args))
}

// Place is where a walk over open cases stands; the zero Place is its start.
type Place struct{ protocol, id string }

const (
	olderCases = `SELECT protocol, id FROM care_case WHERE open = 1 AND protocol <> ? AND (protocol, id) > (?, ?)
		ORDER BY protocol, id LIMIT ?`
	openCounts = `SELECT protocol, count(*) FROM care_case WHERE open = 1 GROUP BY protocol`
)

// OlderCases are ids of open cases that were last planned by another protocol
// than the one named, from a place on; it gives the place to go on from. A case
// that stays on its protocol is passed once in a walk.
func (tx *Tx) OlderCases(canonical string, from Place, limit int) ([]string, Place, error) {
	var out []string
	err := tx.each(func(rows *sql.Rows) error {
		err := rows.Scan(&from.protocol, &from.id)
		out = append(out, from.id)
		return err
	}, olderCases, canonical, from.protocol, from.id, limit)
	return out, from, wrap("read cases of an older protocol", err)
}

// OpenCounts counts the open cases, and those of them that were last planned by
// another protocol than the one named.
func (tx *Tx) OpenCounts(canonical string) (open, older int64, err error) {
	err = tx.each(func(rows *sql.Rows) error {
		var protocol string
		var n int64
		if err := rows.Scan(&protocol, &n); err != nil {
			return err
		}
		open += n
		if protocol != canonical {
			older += n
		}
		return nil
	}, openCounts)
	return open, older, wrap("count open cases", err)
}

// OpenIDs are the ids of all open cases, in order.
func (tx *Tx) OpenIDs() ([]string, error) {
	out, err := tx.texts(`SELECT id FROM care_case WHERE open = 1 ORDER BY id`)
	return out, wrap("read open cases", err)
}

// Fire lets a case's timer fire now.
func (tx *Tx) Fire(caseID string) error {
	n, err := tx.exec(`UPDATE care_case SET next_at = ? WHERE id = ?`, tx.Now.UnixMicro(), caseID)
	if err == nil && n != 1 {
		err = ErrNotFound
	}
	return wrap("fire timer", err)
}

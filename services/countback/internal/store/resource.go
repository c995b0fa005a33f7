package store

import (
	"database/sql"
	"fmt"
	"strings"
	"time"

	"example.org/countback/services/countback/internal/search"
)

// Stored is one version of a resource.
type Stored struct {
	Type    string
	ID      string
	Version int64 // 1, 2, 3 …
	Updated time.Time
	Body    []byte // as it is served; empty for a deletion
	Deleted bool
	Patient string // whose the resource is now, as the caller names patients; may be empty
	// ReceivedID is the archive row it came from; 0 for what the service wrote.
	ReceivedID int64
}

const storedColumns = `r.type, r.id, v.version, v.updated, v.body, v.deleted, r.patient, v.received`

func scanStored(s *Stored) []any {
	return []any{&s.Type, &s.ID, &s.Version, at{&s.Updated}, packed{&s.Body}, &s.Deleted, &s.Patient, zeroNull{&s.ReceivedID}}
}

// Current is the newest version of a resource, which may be a deletion;
// ErrNotFound when there never was one.
func (tx *Tx) Current(typ, id string) (Stored, error) {
	var s Stored
	err := tx.one(scanStored(&s), `SELECT `+storedColumns+` FROM resource r
		JOIN resource_version v ON v.resource = r.seq AND v.version = r.version
		WHERE r.type = ? AND r.id = ?`, typ, id)
	return s, wrap("read resource", err)
}

// Version is one version of a resource; ErrNotFound when there is none.
func (tx *Tx) Version(typ, id string, v int64) (Stored, error) {
	var s Stored
	err := tx.one(scanStored(&s), `SELECT `+storedColumns+` FROM resource r
		JOIN resource_version v ON v.resource = r.seq AND v.version = ?
		WHERE r.type = ? AND r.id = ?`, v, typ, id)
	return s, wrap("read version", err)
}

// Versions are all versions of a resource, the newest first; empty when there
// never was one.
func (tx *Tx) Versions(typ, id string) ([]Stored, error) {
	out, err := tx.stored(`SELECT `+storedColumns+` FROM resource r
		JOIN resource_version v ON v.resource = r.seq
		WHERE r.type = ? AND r.id = ? ORDER BY v.version DESC`, typ, id)
	return out, wrap("read versions", err)
}

// OfPatient are the current resources of a patient that are not deleted, of
// the types named or of all, ordered by id.
func (tx *Tx) OfPatient(patient string, types ...string) ([]Stored, error) {
	args := []any{patient}
	where := ""
	if len(types) > 0 {
		where = ` AND r.type IN (?` + strings.Repeat(`, ?`, len(types)-1) + `)`
		for _, t := range types {
			args = append(args, t)
		}
	}
	out, err := tx.stored(`SELECT `+storedColumns+` FROM resource r
		JOIN resource_version v ON v.resource = r.seq AND v.version = r.version
		WHERE r.patient = ? AND r.patient <> '' AND r.deleted = 0`+where+` ORDER BY r.id, r.type`, args...)
	return out, wrap("read resources of patient", err)
}

// DeletedOf are the resources of a patient, of the types named, that were
// deleted, each as it stood before; ordered by id. Version and Updated are those
// of the deletion.
func (tx *Tx) DeletedOf(patient string, types ...string) ([]Stored, error) {
	args := []any{patient}
	for _, t := range types {
		args = append(args, t)
	}
	out, err := tx.stored(`SELECT r.type, r.id, r.version, r.updated, v.body, r.deleted, r.patient, v.received FROM resource r
		JOIN resource_version v ON v.resource = r.seq AND v.version = r.version - 1
		WHERE r.patient = ? AND r.patient <> '' AND r.deleted = 1 AND r.type IN (?`+strings.Repeat(`, ?`, len(types)-1)+`)
		ORDER BY r.id, r.type`, args...)
	return out, wrap("read deleted resources of patient", err)
}

func (tx *Tx) stored(query string, args ...any) ([]Stored, error) {
	var out []Stored
	err := tx.each(func(rows *sql.Rows) error {
		var s Stored
		if err := rows.Scan(scanStored(&s)...); err != nil {
			return err
		}
		out = append(out, s)
		return nil
	}, query, args...)
	return out, err
}

// ByIdentifier gives the ids of the current resources of a type that have
// exactly this identifier, in order. An empty system means: without a system.
func (tx *Tx) ByIdentifier(typ, system, value string) ([]string, error) {
	var out []string
	err := tx.each(func(rows *sql.Rows) error {
		var id string
		err := rows.Scan(&id)
		out = append(out, id)
		return err
	}, `SELECT r.id FROM search_value s JOIN resource r ON r.seq = s.resource
		WHERE s.param = ? AND s.value = ? AND s.system = ? AND s.low IS NULL AND r.deleted = 0
		ORDER BY r.id`, rowName(typ, "identifier"), value, system)
	return out, wrap("find identifier", err)
}

// DeletedByIdentifier gives the ids of the deleted resources of a type that had
// exactly this identifier and were saved with it, the one deleted last first.
func (tx *Tx) DeletedByIdentifier(typ, system, value string) ([]string, error) {
	out, err := tx.texts(`SELECT r.id FROM search_value s JOIN resource r ON r.seq = s.resource
		WHERE s.param = ? AND s.value = ? AND s.system = ? AND s.low IS NULL AND r.deleted = 1
		ORDER BY r.updated DESC, r.id DESC`, rowName(typ, "identifier"), value, system)
	return out, wrap("find deleted identifier", err)
}

// rowName is search_value.param: index rows of different types never mix.
func rowName(typ, rows string) string { return typ + "." + rows }

// Save stores a new version and replaces what the resource is found by. The
// version must be the one after the current, or 1 for a new resource;
// otherwise ErrConflict. A zero Updated means now.
func (tx *Tx) Save(s Stored, index []search.Value) error {
	if s.Updated.IsZero() {
		s.Updated = tx.Now
	}
	seq, err := tx.point(s)
	if err != nil {
		return fmt.Errorf("save %s: %w", s.Type, err)
	}
	_, err = tx.exec(`INSERT INTO resource_version (resource, version, updated, deleted, received, body)
		VALUES (?, ?, ?, ?, ?, ?)`,
		seq, s.Version, s.Updated.UnixMicro(), s.Deleted, nullZero(s.ReceivedID), pack(s.Body))
	if err != nil {
		return conflict("save "+s.Type, err)
	}
	if s.Version > 1 {
		if _, err := tx.exec(`DELETE FROM search_value WHERE resource = ?`, seq); err != nil {
			return wrap("save "+s.Type, err)
		}
	}
	return wrap("save "+s.Type, tx.saveIndex(seq, s.Type, index))
}

// point lets the resource's row name the new version; the test of the version
// is part of the statement.
func (tx *Tx) point(s Stored) (seq int64, err error) {
	if s.Version < 1 {
		return 0, ErrConflict
	}
	if s.Version == 1 {
		result, err := tx.run(`INSERT INTO resource (type, id, version, updated, deleted, patient)
			VALUES (?, ?, 1, ?, ?, ?)`, []any{s.Type, s.ID, s.Updated.UnixMicro(), s.Deleted, s.Patient})
		if err != nil {
			return 0, conflict("new", err)
		}
		return result.LastInsertId()
	}
	if tx.readOnly {
		return 0, ErrReadOnly
	}
	err = tx.one([]any{&seq}, `UPDATE resource SET version = ?, updated = ?, deleted = ?, patient = ?
		WHERE type = ? AND id = ? AND version = ? RETURNING seq`,
		s.Version, s.Updated.UnixMicro(), s.Deleted, s.Patient, s.Type, s.ID, s.Version-1)
	if err == ErrNotFound {
		return 0, ErrConflict
	}
	return seq, err
}

const insertIndex = `INSERT INTO search_value (resource, ord, param, system, value, low, high) VALUES `

func (tx *Tx) saveIndex(seq int64, typ string, index []search.Value) error {
	const width = 7
	args := make([]any, 0, width*len(index))
	for i, v := range index {
		var low, high any
		if v.Kind.Ranged() {
			low, high = v.Low, v.High
		}
		args = append(args, seq, i, rowName(typ, v.Param), v.System, v.Value, low, high)
	}
	return tx.insertRows(insertIndex, width, args)
}

// nullZero is a number as a column: NULL for 0.
func nullZero(v int64) any {
	if v == 0 {
		return nil
	}
	return v
}

// zeroNull is the inverse of nullZero.
type zeroNull struct{ v *int64 }

// Scan implements sql.Scanner.
func (z zeroNull) Scan(src any) error {
	*z.v, _ = src.(int64)
	return nil
}

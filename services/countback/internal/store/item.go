package store

import (
	"database/sql"
	"time"
)

// Item is one thing to be done in a case, in one version. Its Task is rendered
// from it.
type Item struct {
	TaskID  string
	CaseID  string
	Patient string
	Step    string
	Repeat  string
	Round   int
	Version int64 // 1, 2, 3 …
	Updated time.Time
	State   string // Task.businessStatus
	Status  string // Task.status
	Owner   string // reference such as Practitioner/1; empty for none
	// Half-open intervals of the opening and the due point: a day is as long
	// as the day, an instant a microsecond. Zero when there is none.
	OpensFrom, OpensTo time.Time
	DueFrom, DueTo     time.Time
	Protocol           string // canonical|version
	Data               []byte // opaque
}

// The columns that stay and those that a version may change.
const (
	itemFixed   = `task_id, case_id, patient, step, repeat, round`
	itemVarying = `version, updated, state, status, owner, opens_from, opens_to, due_from, due_to, protocol, data`
	itemColumns = itemFixed + `, ` + itemVarying
	itemWidth   = 17
)

func scanItem(i *Item) []any {
	return append([]any{&i.TaskID, &i.CaseID, &i.Patient, &i.Step, &i.Repeat, &i.Round}, scanVarying(i)...)
}

func scanVarying(i *Item) []any {
	return []any{&i.Version, at{&i.Updated}, &i.State, &i.Status, &i.Owner, at{&i.OpensFrom}, at{&i.OpensTo},
		at{&i.DueFrom}, at{&i.DueTo}, &i.Protocol, &i.Data}
}

func varying(args []any, i Item) []any {
	return append(args, i.Version, micros(i.Updated), i.State, i.Status, i.Owner, micros(i.OpensFrom), micros(i.OpensTo),
		micros(i.DueFrom), micros(i.DueTo), i.Protocol, i.Data)
}

func (tx *Tx) items(query string, args ...any) ([]Item, error) {
	var out []Item
	err := tx.each(func(rows *sql.Rows) error {
		var i Item
		if err := rows.Scan(scanItem(&i)...); err != nil {
			return err
		}
		out = append(out, i)
		return nil
	}, query, args...)
	return out, wrap("read items", err)
}

// Items are the current items of a case in the order in which they were first
// saved.
func (tx *Tx) Items(caseID string) ([]Item, error) {
	return tx.items(`SELECT `+itemColumns+` FROM item WHERE case_id = ? ORDER BY seq`, caseID)
}

// Item is the current version of an item; ErrNotFound when there is none.
func (tx *Tx) Item(taskID string) (Item, error) {
	var i Item
	err := tx.one(scanItem(&i), `SELECT `+itemColumns+` FROM item WHERE task_id = ?`, taskID)
	return i, wrap("read item", err)
}

const earlierVersions = `SELECT i.task_id, i.case_id, i.patient, i.step, i.repeat, i.round,
	v.version, v.updated, v.state, v.status, v.owner, v.opens_from, v.opens_to, v.due_from, v.due_to, v.protocol, v.data
	FROM item i JOIN item_version v ON v.item = i.seq WHERE i.task_id = ?`

// ItemVersion is one version of an item; ErrNotFound when there is none.
func (tx *Tx) ItemVersion(taskID string, v int64) (Item, error) {
	i, err := tx.Item(taskID)
	if err != nil || i.Version == v {
		return i, err
	}
	var old Item
	err = tx.one(scanItem(&old), earlierVersions+` AND v.version = ?`, taskID, v)
	return old, wrap("read item version", err)
}

// ItemVersions are all versions of an item, the newest first; empty when there
// is no such item.
func (tx *Tx) ItemVersions(taskID string) ([]Item, error) {
	current, err := tx.items(`SELECT `+itemColumns+` FROM item WHERE task_id = ?`, taskID)
	if err != nil {
		return nil, err
	}
	earlier, err := tx.items(earlierVersions+` ORDER BY v.version DESC`, taskID)
	return append(current, earlier...), err
}

const (
	insertItems = `INSERT INTO item (` + itemColumns + `) VALUES `
	keepVersion = `INSERT INTO item_version (item, ` + itemVarying + `)
		SELECT seq, ` + itemVarying + ` FROM item WHERE task_id = ? AND version = ?`
	updateItem = `UPDATE item SET version = ?, updated = ?, state = ?, status = ?, owner = ?, opens_from = ?,
		opens_to = ?, due_from = ?, due_to = ?, protocol = ?, data = ? WHERE task_id = ? AND version = ?`
)

// SaveItems stores new items (version 1) and new versions of items (the one
// after the current); otherwise ErrConflict. What an item is for (case,
// patient, step, repeat, round) is set by version 1 and not changed by later
// ones. A zero Updated means now.
func (tx *Tx) SaveItems(items []Item) error {
	var args []any
	for _, i := range items {
		if i.Updated.IsZero() {
			i.Updated = tx.Now
		}
		if i.Version > 1 {
			if err := tx.updateItem(i); err != nil {
				return wrap("save item", err)
			}
			continue
		}
		if i.Version < 1 {
			return wrap("save item", ErrConflict)
		}
		if args == nil {
			args = make([]any, 0, itemWidth*len(items))
		}
		args = varying(append(args, i.TaskID, i.CaseID, i.Patient, i.Step, i.Repeat, i.Round), i)
	}
	if err := tx.insertRows(insertItems, itemWidth, args); err != nil {
		return conflict("save items", err)
	}
	return nil
}

// updateItem keeps the version before and replaces it. Both statements test
// the version.
func (tx *Tx) updateItem(i Item) error {
	for _, write := range []struct {
		query string
		args  []any
	}{
		{keepVersion, []any{i.TaskID, i.Version - 1}},
		{updateItem, append(varying(nil, i), i.TaskID, i.Version-1)},
	} {
		n, err := tx.exec(write.query, write.args...)
		if err != nil {
			return conflict("version", err)
		}
		if n != 1 {
			return ErrConflict
		}
	}
	return nil
}

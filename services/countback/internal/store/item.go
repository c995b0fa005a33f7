package store

import (
	"database/sql"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// Item is one thing to be done in a case, in one version. Its Task is rendered
// from it.
type Item struct {
	CaseID  string
	N       int    // within the case: 1, 2, 3 …
	Patient string // of the case; set by reads
	Step    string
	Repeat  string
	Round   int
	Created time.Time // of version 1; set by SaveItems
	Version int64     // 1, 2, 3 …
	Updated time.Time
	State   string // Task.businessStatus
	Status  string // Task.status
	Owner   string // reference such as Practitioner/1; empty for none
	Focus   string // reference to what is worked towards
	BasedOn string // reference to the order
	// Half-open intervals of the opening and the due point: a day is as long
	// as the day, an instant a microsecond. Zero when there is none.
	OpensFrom, OpensTo time.Time
	DueFrom, DueTo     time.Time
	Protocol           string // canonical|version
	Data               []byte // opaque
}

// TaskID is the id of the item's Task: that of its case, and its number. Four
// digits keep the order of the texts that of the numbers.
func (i Item) TaskID() string { return TaskID(i.CaseID, i.N) }

// TaskID is the id of the Task with number n of a case.
func TaskID(caseID string, n int) string { return fmt.Sprintf("%s.%04d", caseID, n) }

// splitTaskID takes the id of a Task apart.
func splitTaskID(id string) (caseID string, n int, ok bool) {
	dot := strings.LastIndexByte(id, '.')
	if dot < 0 {
		return "", 0, false
	}
	n, err := strconv.Atoi(id[dot+1:])
	if err != nil || n < 1 || TaskID(id[:dot], n) != id {
		return "", 0, false
	}
	return id[:dot], n, true
}

// The columns that stay and those that a version may change.
const (
	itemFixed   = `care_case, n, step, repeat, round, created, surgery`
	itemVarying = `version, updated, state, status, owner, focus, based_on, opens_from, opens_to, due_from, due_to, protocol, data`
	itemWidth   = 20

	// itemColumns are read from item r and care_case c.
	itemColumns = `c.id, c.patient, r.n, r.step, r.repeat, r.round, r.created, r.version, r.updated, r.state, r.status,
		r.owner, r.focus, r.based_on, r.opens_from, r.opens_to, r.due_from, r.due_to, r.protocol, r.data`
	itemTables = `item r JOIN care_case c ON c.seq = r.care_case`
)

// shared are the numbers of an item's shared texts, as they are read.
type shared struct{ focus, basedOn, protocol int64 }

func scanItem(i *Item, s *shared) []any {
	return []any{&i.CaseID, &i.Patient, &i.N, &i.Step, &i.Repeat, &i.Round, at{&i.Created}, &i.Version, at{&i.Updated},
		&i.State, &i.Status, &i.Owner, &s.focus, &s.basedOn, at{&i.OpensFrom}, at{&i.OpensTo}, at{&i.DueFrom},
		at{&i.DueTo}, &s.protocol, &i.Data}
}

// name fills in the shared texts, once the rows are read.
func (tx *Tx) name(i *Item, s shared) error {
	var err error
	for _, t := range []struct {
		text *string
		id   int64
	}{{&i.Focus, s.focus}, {&i.BasedOn, s.basedOn}, {&i.Protocol, s.protocol}} {
		if *t.text, err = tx.nameOf(t.id); err != nil {
			return err
		}
	}
	return nil
}

func (tx *Tx) items(query string, args ...any) ([]Item, error) {
	var out []Item
	var texts []shared
	err := tx.each(func(rows *sql.Rows) error {
		var i Item
		var s shared
		if err := rows.Scan(scanItem(&i, &s)...); err != nil {
			return err
		}
		out, texts = append(out, i), append(texts, s)
		return nil
	}, query, args...)
	for n := range out {
		if err == nil {
			err = tx.name(&out[n], texts[n])
		}
	}
	return out, wrap("read items", err)
}

func (tx *Tx) oneItem(query string, args ...any) (Item, error) {
	found, err := tx.items(query, args...)
	if err == nil && len(found) == 0 {
		return Item{}, ErrNotFound
	}
	if err != nil {
		return Item{}, err
	}
	return found[0], nil
}

// Items are the current items of a case in the order of their numbers.
func (tx *Tx) Items(caseID string) ([]Item, error) {
	return tx.items(`SELECT `+itemColumns+` FROM `+itemTables+` WHERE c.id = ? ORDER BY r.n`, caseID)
}

// Item is the current version of an item, by the id of its Task; ErrNotFound
// when there is none.
func (tx *Tx) Item(taskID string) (Item, error) {
	caseID, n, ok := splitTaskID(taskID)
	if !ok {
		return Item{}, ErrNotFound
	}
	return tx.oneItem(`SELECT `+itemColumns+` FROM `+itemTables+` WHERE c.id = ? AND r.n = ?`, caseID, n)
}

const earlierVersions = `SELECT c.id, c.patient, i.n, i.step, i.repeat, i.round, i.created, r.version, r.updated, r.state,
	r.status, r.owner, r.focus, r.based_on, r.opens_from, r.opens_to, r.due_from, r.due_to, r.protocol, r.data
	FROM care_case c JOIN item i ON i.care_case = c.seq
	JOIN item_version r ON r.care_case = i.care_case AND r.n = i.n WHERE c.id = ? AND i.n = ?`

// ItemVersion is one version of an item; ErrNotFound when there is none.
func (tx *Tx) ItemVersion(taskID string, v int64) (Item, error) {
	i, err := tx.Item(taskID)
	if err != nil || i.Version == v {
		return i, err
	}
	return tx.oneItem(earlierVersions+` AND r.version = ?`, i.CaseID, i.N, v)
}

// ItemVersions are all versions of an item, the newest first; empty when there
// is no such item.
func (tx *Tx) ItemVersions(taskID string) ([]Item, error) {
	current, err := tx.Item(taskID)
	if errors.Is(err, ErrNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	earlier, err := tx.items(earlierVersions+` ORDER BY r.version DESC`, current.CaseID, current.N)
	return append([]Item{current}, earlier...), err
}

const (
	insertItems = `INSERT INTO item (` + itemFixed + `, ` + itemVarying + `) VALUES `
	keepVersion = `INSERT INTO item_version (care_case, n, ` + itemVarying + `)
		SELECT care_case, n, ` + itemVarying + ` FROM item WHERE care_case = ? AND n = ? AND version = ?`
	updateItem = `UPDATE item SET version = ?, updated = ?, state = ?, status = ?, owner = ?, focus = ?, based_on = ?,
		opens_from = ?, opens_to = ?, due_from = ?, due_to = ?, protocol = ?, data = ?
		WHERE care_case = ? AND n = ? AND version = ?`
)

// SaveItems stores new items (version 1) and new versions of items (the one
// after the current); otherwise ErrConflict. Their case must be stored. What an
// item is for (case, number, step, repeat, round) is set by version 1 and not
// changed by later ones. A zero Updated means now.
func (tx *Tx) SaveItems(items []Item) error {
	if tx.readOnly {
		return wrap("save items", ErrReadOnly)
	}
	var args []any
	cases := map[string]caseRow{}
	for _, i := range items {
		if i.Updated.IsZero() {
			i.Updated = tx.Now
		}
		of, err := tx.caseRow(cases, i.CaseID)
		if err != nil {
			return wrap("save item", err)
		}
		varying, err := tx.varying(i)
		switch {
		case err != nil:
			return wrap("save item", err)
		case i.Version < 1:
			return wrap("save item", ErrConflict)
		case i.Version > 1:
			if err := tx.updateItem(i, of.seq, varying); err != nil {
				return wrap("save item", err)
			}
			continue
		}
		if args == nil {
			args = make([]any, 0, itemWidth*len(items))
		}
		args = append(args, of.seq, i.N, i.Step, i.Repeat, i.Round, micros(i.Updated), of.surgery)
		args = append(args, varying...)
	}
	if err := tx.insertRows(insertItems, itemWidth, args); err != nil {
		return conflict("save items", err)
	}
	return nil
}

// caseRow is what an item's row takes from that of its case.
type caseRow struct {
	seq     int64
	surgery string
}

func (tx *Tx) caseRow(known map[string]caseRow, id string) (caseRow, error) {
	row, ok := known[id]
	if ok {
		return row, nil
	}
	err := tx.one([]any{&row.seq, &row.surgery}, `SELECT seq, surgery FROM care_case WHERE id = ?`, id)
	known[id] = row
	return row, err
}

func (tx *Tx) varying(i Item) ([]any, error) {
	var ids [3]int64
	for n, text := range []string{i.Focus, i.BasedOn, i.Protocol} {
		var err error
		if ids[n], err = tx.nameID(text); err != nil {
			return nil, err
		}
	}
	return []any{i.Version, micros(i.Updated), i.State, i.Status, i.Owner, ids[0], ids[1], micros(i.OpensFrom), micros(i.OpensTo),
		micros(i.DueFrom), micros(i.DueTo), ids[2], i.Data}, nil
}

// updateItem keeps the version before and replaces it. Both statements test
// the version.
func (tx *Tx) updateItem(i Item, seq int64, varying []any) error {
	for _, write := range []struct {
		query string
		args  []any
	}{
		{keepVersion, []any{seq, i.N, i.Version - 1}},
		{updateItem, append(varying, seq, i.N, i.Version-1)},
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

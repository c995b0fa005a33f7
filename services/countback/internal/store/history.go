package store

import (
	"database/sql"
	"time"
)

// Moment is the place of one version in a history: newest first, and among
// versions of one moment by type, id and version, all downwards.
type Moment struct {
	Updated time.Time
	Type    string
	ID      string
	Version int64
}

// Before reports whether m stands in front of o in a history.
func (m Moment) Before(o Moment) bool {
	switch {
	case !m.Updated.Equal(o.Updated):
		return m.Updated.After(o.Updated)
	case m.Type != o.Type:
		return m.Type > o.Type
	case m.ID != o.ID:
		return m.ID > o.ID
	}
	return m.Version > o.Version
}

// HistoryQuery says which versions are wanted.
type HistoryQuery struct {
	Type, ID string    // empty: of all
	Since    time.Time // the earliest moment that counts; zero: no limit
	After    *Moment   // the last version of the page before; nil on the first
	Count    int       // most versions
}

// where writes the conditions over the columns of one table; the moment of a
// version never changes, so that pages by it see each version exactly once.
func (q *HistoryQuery) where(b *builder, typ, id, updated, version string) {
	if !q.Since.IsZero() {
		b.add(` AND `+updated+` >= ?`, q.Since.UnixMicro())
	}
	if q.After != nil {
		b.add(` AND (`+updated+`, `+typ+`, `+id+`, `+version+`) < (?, ?, ?, ?)`,
			q.After.Updated.UnixMicro(), q.After.Type, q.After.ID, q.After.Version)
	}
	b.add(` ORDER BY `+updated+` DESC, `+typ+` DESC, `+id+` DESC, `+version+` DESC LIMIT ?`, q.Count)
}

// History reads versions of resources, the newest first. Items are not among
// them: see [Tx.ItemHistory].
func (tx *Tx) History(q HistoryQuery) ([]Stored, error) {
	b := &builder{}
	b.add(`SELECT ` + storedColumns + ` FROM resource_version v JOIN resource r ON r.seq = v.resource WHERE 1 = 1`)
	if q.Type != "" {
		b.add(` AND r.type = ?`, q.Type)
	}
	if q.ID != "" {
		b.add(` AND r.id = ?`, q.ID)
	}
	q.where(b, `r.type`, `r.id`, `v.updated`, `v.version`)
	out, err := tx.stored(b.text.String(), b.args...)
	return out, wrap("read history", err)
}

// ItemHistory reads versions of items, the newest first, current and earlier
// ones. q.ID is the id of a Task.
func (tx *Tx) ItemHistory(q HistoryQuery) ([]Item, error) {
	now, err := tx.itemHistory(q, `SELECT `+itemColumns+` FROM `+itemTables+` WHERE 1 = 1`)
	if err != nil {
		return nil, err
	}
	earlier, err := tx.itemHistory(q, `SELECT `+earlierColumns+` FROM item_version r
		JOIN item i ON i.care_case = r.care_case AND i.n = r.n JOIN care_case c ON c.seq = r.care_case WHERE 1 = 1`)
	if err != nil {
		return nil, err
	}
	return Newest(q.Count, Item.moment, now, earlier), nil
}

// earlierColumns are those of itemColumns, of a row r of item_version and a row
// i of item.
const earlierColumns = `c.id, c.patient, r.n, i.step, i.repeat, i.round, i.created, r.version, r.updated, r.state, r.status,
	r.owner, r.focus, r.based_on, r.opens_from, r.opens_to, r.due_from, r.due_to, r.protocol, r.data`

func (tx *Tx) itemHistory(q HistoryQuery, head string) ([]Item, error) {
	b := &builder{}
	b.add(head)
	if q.ID != "" {
		caseID, n, ok := splitTaskID(q.ID)
		if !ok {
			return nil, nil
		}
		b.add(` AND c.id = ? AND r.n = ?`, caseID, n)
	}
	q.where(b, `'Task'`, taskID, `r.updated`, `r.version`)
	return tx.items(b.text.String(), b.args...)
}

func (i Item) moment() Moment { return Moment{i.Updated, "Task", i.TaskID(), i.Version} }

// Moment is where the version stands in a history.
func (s Stored) Moment() Moment { return Moment{s.Updated, s.Type, s.ID, s.Version} }

// Newest merges two histories into one, and keeps its first count versions.
func Newest[V any](count int, at func(V) Moment, a, b []V) []V {
	out := make([]V, 0, min(count, len(a)+len(b)))
	for len(out) < count && len(a)+len(b) > 0 {
		if len(b) == 0 || len(a) > 0 && at(a[0]).Before(at(b[0])) {
			out, a = append(out, a[0]), a[1:]
			continue
		}
		out, b = append(out, b[0]), b[1:]
	}
	return out
}

// Known reports whether there ever was a resource, or an item for the type
// Task, with the id.
func (tx *Tx) Known(typ, id string) (bool, error) {
	caseID, n, ok := splitTaskID(id)
	query, args := `SELECT 1 FROM resource WHERE type = ? AND id = ?`, []any{typ, id}
	if typ == "Task" {
		if !ok {
			return false, nil
		}
		query, args = `SELECT 1 FROM item i JOIN care_case c ON c.seq = i.care_case WHERE c.id = ? AND i.n = ?`, []any{caseID, n}
	}
	found := false
	err := tx.each(func(*sql.Rows) error { found = true; return nil }, query, args...)
	return found, wrap("look for "+typ, err)
}

package store

import (
	"database/sql"
	"math"
	"strings"
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
	b.add(` ORDER BY ` + updated + ` DESC`)
	if typ != taskType {
		b.add(`, ` + typ + ` DESC`)
	}
	b.add(`, `+id+` DESC, `+version+` DESC LIMIT ?`, q.Count)
}

// History reads versions of resources, the newest first. Items are not among
// them: see [Tx.ItemHistory].
func (tx *Tx) History(q HistoryQuery) ([]Stored, error) {
	b := q.resources()
	out, err := tx.stored(b.text.String(), b.args...)
	return out, wrap("read history", err)
}

func (q HistoryQuery) resources() *builder {
	b := &builder{}
	from := `resource_version v INDEXED BY resource_version_by_updated CROSS JOIN resource r`
	if q.ID != "" { // of one resource
		from = `resource_version v JOIN resource r`
	}
	b.add(`SELECT ` + storedColumns + ` FROM ` + from + ` ON r.seq = v.resource WHERE 1 = 1`)
	if q.Type != "" {
		b.add(` AND r.type = ?`, q.Type)
	}
	if q.ID != "" {
		b.add(` AND r.id = ?`, q.ID)
	}
	q.where(b, `r.type`, `r.id`, `v.updated`, `v.version`)
	return b
}

// ItemHistory reads versions of items, the newest first, current and earlier
// ones. q.ID is the id of a Task.
func (tx *Tx) ItemHistory(q HistoryQuery) ([]Item, error) {
	var found [2][]Item
	for n, head := range heads {
		b, ok := q.items(head.text, head.index)
		if !ok {
			return nil, nil
		}
		var err error
		if found[n], err = tx.items(b.text.String(), b.args...); err != nil {
			return nil, err
		}
	}
	return Newest(q.Count, Item.moment, found[0], found[1]), nil
}

// taskType is the type of what is rendered from an item, in SQL.
const taskType = `'Task'`

// Where the versions of items are read from. A history of all is read along the
// index by moment, whatever the planner thinks of small tables: it must cost no
// more with every patient.
const (
	currentHead = `SELECT ` + itemColumns + ` FROM item r %s CROSS JOIN care_case c ON c.seq = r.care_case WHERE 1 = 1`
	earlierHead = `SELECT ` + earlierColumns + ` FROM item_version r %s
		CROSS JOIN item i ON i.care_case = r.care_case AND i.n = r.n CROSS JOIN care_case c ON c.seq = r.care_case WHERE 1 = 1`
)

// heads are both, with the index that each is read along.
var heads = []struct{ text, index string }{
	{currentHead, `INDEXED BY item_by_updated`}, {earlierHead, `INDEXED BY item_version_by_updated`},
}

// earlierColumns are those of itemColumns, of a row r of item_version and a row
// i of item.
const earlierColumns = `c.id, c.patient, r.n, i.step, i.repeat, i.round, i.created, r.version, r.updated, r.state, r.status,
	r.owner, r.focus, r.based_on, r.opens_from, r.opens_to, r.due_from, r.due_to, r.protocol, r.data`

// items is false for an id that no Task can have.
func (q HistoryQuery) items(head, index string) (*builder, bool) {
	b := &builder{}
	if q.ID != "" { // of one item
		index = ``
		head = strings.ReplaceAll(head, `CROSS JOIN`, `JOIN`)
	}
	b.add(strings.Replace(head, `%s`, index, 1))
	if q.ID != "" {
		caseID, n, ok := splitTaskID(q.ID)
		if !ok {
			return nil, false
		}
		b.add(` AND c.id = ? AND r.n = ?`, caseID, n)
	}
	q.where(b, taskType, taskID, `r.updated`, `r.version`)
	return b, true
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

// CountVersions counts the versions that a history has on all its pages, of one
// resource only: of more than that nobody wants to wait for the number.
func (tx *Tx) CountVersions(q HistoryQuery) (n int, err error) {
	since := int64(math.MinInt64)
	if !q.Since.IsZero() {
		since = q.Since.UnixMicro()
	}
	caseID, number, ok := splitTaskID(q.ID)
	switch {
	case q.Type != "Task":
		err = tx.one([]any{&n}, `SELECT count(*) FROM resource r JOIN resource_version v ON v.resource = r.seq
			WHERE r.type = ? AND r.id = ? AND v.updated >= ?`, q.Type, q.ID, since)
	case ok:
		err = tx.one([]any{&n}, `SELECT (SELECT count(*) FROM item i WHERE i.care_case = c.seq AND i.n = ? AND i.updated >= ?) +
			(SELECT count(*) FROM item_version i WHERE i.care_case = c.seq AND i.n = ? AND i.updated >= ?)
			FROM care_case c WHERE c.id = ?`, number, since, number, since, caseID)
	}
	return n, wrap("count versions", err)
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

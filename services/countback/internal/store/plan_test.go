package store

import (
	"database/sql"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// What runs all the time must be served by an index, or it slows down with
// every patient that was ever booked. SEARCH is SQLite's word for the use of an
// index and SCAN for looking at every row.
var served = map[string]struct {
	query string
	args  []any
	index string
}{
	"items of a case":        {`SELECT ` + itemColumns + ` FROM ` + itemTables + ` WHERE c.id = ? ORDER BY r.n`, []any{"c"}, "r USING PRIMARY KEY (care_case=?)"},
	"item":                   {`SELECT ` + itemColumns + ` FROM ` + itemTables + ` WHERE c.id = ? AND r.n = ?`, []any{"c", 1}, "r USING PRIMARY KEY (care_case=? AND n=?)"},
	"cases of a patient":     {`SELECT id FROM care_case WHERE patient = ? ORDER BY id`, []any{"p"}, "care_case_by_patient"},
	"due cases":              {`SELECT c.id` + dueCases, []any{1, 1, 1, 1}, "care_case_due (next_at<?)"},
	"leases":                 {`SELECT c.id` + dueCases, []any{1, 1, 1, 1}, "t USING INDEX sqlite_autoindex_timer_lease_1 (case_id=?)"},
	"open cases":             {`SELECT id FROM care_case WHERE open = 1 AND id > ? ORDER BY id LIMIT ?`, []any{"", 1}, "care_case_open"},
	"older cases":            {olderCases, []any{"u|1", "", "", 1}, "care_case USING COVERING INDEX care_case_by_protocol ((protocol,id)>(?,?))"},
	"open counts":            {openCounts, nil, "care_case USING COVERING INDEX care_case_by_protocol"},
	"unplanned, a list":      {`SELECT booking FROM unplanned WHERE kind IN (?) AND day >= ? ORDER BY since < ?, day, booking LIMIT ?`, []any{"k", "", 1, 1}, "unplanned_by_day (kind=? AND day>?)"},
	"unplanned, of one":      {`SELECT booking FROM unplanned WHERE patient = ? ORDER BY booking`, []any{"p"}, "unplanned USING PRIMARY KEY (patient=?)"},
	"unpublished":            {`SELECT ` + outboxColumns + ` FROM outbox WHERE published_at IS NULL ORDER BY seq LIMIT ?`, []any{1}, "outbox_unpublished"},
	"resources of a patient": {`SELECT id FROM resource r WHERE r.patient = ? AND r.patient <> '' AND r.deleted = 0`, []any{"p"}, "resource_by_patient"},
}

func (tx *Tx) plan(query string, args ...any) (string, error) {
	var b strings.Builder
	err := tx.each(func(rows *sql.Rows) error {
		var id, parent, unused int
		var detail string
		err := rows.Scan(&id, &parent, &unused, &detail)
		b.WriteString(detail + "\n")
		return err
	}, `EXPLAIN QUERY PLAN `+query, args...)
	return b.String(), err
}

func TestIndexesServe(t *testing.T) {
	db := open(t)
	for name, tt := range served {
		t.Run(name, func(t *testing.T) {
			read(t, db, func(tx *Tx) error {
				plan, err := tx.plan(tt.query, tt.args...)
				require.Contains(t, plan, tt.index)
				return err
			})
		})
	}
}

func TestIndexesServeSearches(t *testing.T) {
	db := open(t)
	for name, tt := range map[string]struct{ typ, query, index string }{
		"identifier":       {"Procedure", "identifier=s|1", "search_by_value (param=? AND value=? AND system=?)"},
		"identifiers":      {"Procedure", "identifier=s|1,s|2,t|3", "search_by_value (param=? AND value=?"},
		"patient":          {"Procedure", "patient=p", "search_by_value (param=? AND value=? AND system=?)"},
		"date":             {"Procedure", "date=ge2026-11-03", "search_by_date (param=? AND low>?"},
		"name":             {"Patient", "name=mul", "search_by_value (param=? AND value>? AND value<?)"},
		"changed since":    {"Procedure", "_lastUpdated=gt2026-11-03", "resource_by_updated (type=? AND updated>?)"},
		"tasks of a case":  {"Task", "group-identifier=c", "r USING PRIMARY KEY (care_case=?)"},
		"tasks of patient": {"Task", "patient=p", "care_case_by_patient (patient=?)"},
		"worklist":         {"Task", "status=requested&due=lt2026-11-03", "item_by_due (status=? AND due_from<?)"},
		"chain":            {"Appointment", "patient.identifier=s|1", "search_by_value (param=? AND value=? AND system=?)"},
		"chain of tasks":   {"Task", "patient.identifier=s|1", "care_case_by_patient (patient=?)"},
		"has":              {"Patient", "_has:Appointment:patient:identifier=s|1", "search_by_value (param=? AND value=? AND system=?)"},
		"has tasks":        {"Patient", "_has:Task:patient:group-identifier=c", "r USING PRIMARY KEY (care_case=?)"},
		"provenance":       {"Provenance", "target=Task/c.0001,Task/c.0002,CarePlan/c", "search_by_value (param=? AND value=?"},
		"plan of a task":   {"CarePlan", "activity-reference=Task/c.0001", "sqlite_autoindex_resource_1 (id=? AND type=?)"},
		"tasks changed":    {"Task", "_lastUpdated=gt2026-11-03", "item_by_updated (updated>?)"},
	} {
		t.Run(name, func(t *testing.T) {
			q := query(t, tt.typ, tt.query)
			b, tables := builderOf(tt.typ), `resource r`
			if tt.typ == "Task" {
				tables = itemTables
				b.add(`1 = 1`)
			} else {
				b.add(`r.type = ? AND r.deleted = 0`, tt.typ)
			}
			b.clauses(q)
			read(t, db, func(tx *Tx) error {
				plan, err := tx.plan(`SELECT count(*) FROM `+tables+` WHERE `+b.text.String(), b.args...)
				require.Contains(t, plan, tt.index)
				require.NotContains(t, plan, "SCAN r")
				return err
			})
		})
	}
}

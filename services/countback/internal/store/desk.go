package store

import (
	"database/sql"
	"strings"
)

// CaseVersions are all versions of all items of a case, by item and version,
// the oldest first.
func (tx *Tx) CaseVersions(caseID string) ([]Item, error) {
	return tx.items(`SELECT * FROM (
		SELECT c.id, c.patient, i.n, i.step, i.repeat, i.round, i.created, r.version AS v, r.updated, r.state,
			r.status, r.owner, r.focus, r.based_on, r.opens_from, r.opens_to, r.due_from, r.due_to, r.protocol, r.data
		FROM care_case c JOIN item i ON i.care_case = c.seq
		JOIN item_version r ON r.care_case = i.care_case AND r.n = i.n WHERE c.id = ?1
		UNION ALL SELECT `+itemColumns+` FROM `+itemTables+` WHERE c.id = ?1) ORDER BY n, v`, caseID)
}

// CaseFilter narrows a list of open cases; what is zero narrows nothing.
type CaseFilter struct {
	From, To string   // days of surgery, both included; empty: no limit
	NoDate   bool     // those without a day of surgery only
	States   []string // any of
	Surgeon  string
	Place    string
	Patients []string // any of; nil: all, empty: none
	// After is the place of the last case on the page before.
	After CasePlace
	Limit int // at least 1
}

// CasePlace is where a case stands in the list by day of surgery.
type CasePlace struct{ Surgery, ID string }

// CasesBySurgery are open cases by day of surgery, those without one first.
func (tx *Tx) CasesBySurgery(f CaseFilter) ([]Case, error) {
	where, args := f.where()
	if f.After != (CasePlace{}) {
		where += ` AND (surgery, id) > (?, ?)`
		args = append(args, f.After.Surgery, f.After.ID)
	}
	return tx.cases(`SELECT `+caseColumns+` FROM care_case WHERE open = 1`+where+` ORDER BY surgery, id LIMIT ?`, append(args, f.Limit)...)
}

// CountCases counts what CasesBySurgery lists on all pages.
func (tx *Tx) CountCases(f CaseFilter) (n int64, err error) {
	where, args := f.where()
	err = tx.one([]any{&n}, `SELECT count(*) FROM care_case WHERE open = 1`+where, args...)
	return n, wrap("count cases", err)
}

func (f *CaseFilter) where() (string, []any) {
	var b strings.Builder
	var args []any
	add := func(text string, values ...any) {
		b.WriteString(text)
		args = append(args, values...)
	}
	if f.From != "" {
		add(` AND surgery >= ?`, f.From)
	}
	if f.To != "" {
		add(` AND surgery <= ?`, f.To)
	}
	if f.NoDate {
		add(` AND surgery = ''`)
	}
	if f.Surgeon != "" {
		add(` AND surgeon = ?`, f.Surgeon)
	}
	if f.Place != "" {
		add(` AND place = ?`, f.Place)
	}
	if len(f.States) > 0 {
		add(` AND state IN (`+marks(len(f.States))+`)`, anys(f.States)...)
	}
	if f.Patients != nil {
		add(` AND patient IN (`+marks(len(f.Patients))+`)`, anys(f.Patients)...)
	}
	return b.String(), args
}

func marks(n int) string { return strings.TrimSuffix(strings.Repeat("?, ", n), ", ") }

func anys(list []string) []any {
	out := make([]any, len(list))
	for n, s := range list {
		out[n] = s
	}
	return out
}

// Pressing are items of open cases that are due or late, of the steps named, by
// the day of surgery of their cases; a case that has no date comes first.
func (tx *Tx) Pressing(state string, steps []string, limit int) ([]Item, error) {
	args := append([]any{state}, anys(steps)...)
	return tx.items(`SELECT `+itemColumns+` FROM care_case c INDEXED BY care_case_by_surgery
		CROSS JOIN item r INDEXED BY item_pressing
		ON r.care_case = c.seq AND r.state IN ('due', 'late') AND r.state = ? AND r.step IN (`+marks(len(steps))+`)
		WHERE c.open = 1 ORDER BY c.surgery, c.id LIMIT ?`, append(args, limit)...)
}

// StepCount is how many items of a step are in a state.
type StepCount struct {
	Step, State string
	N           int64
}

// CountPressing counts the items that are due or late, by step and state.
func (tx *Tx) CountPressing() ([]StepCount, error) {
	var out []StepCount
	err := tx.each(func(rows *sql.Rows) error {
		var c StepCount
		err := rows.Scan(&c.Step, &c.State, &c.N)
		out = append(out, c)
		return err
	}, `SELECT step, state, count(*) FROM item INDEXED BY item_pressing WHERE state IN ('due', 'late') GROUP BY step, state`)
	return out, wrap("count pressing items", err)
}

package store

import (
	"cmp"
	"database/sql"
	"fmt"
	"slices"
	"strings"
	"time"
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
	// Before is the place of the first case on the page after; not with After.
	Before CasePlace
	Limit  int // at least 1
}

// CasePlace is where a case stands in the list by day of surgery.
type CasePlace struct{ Surgery, ID string }

// CasesBySurgery are open cases by day of surgery, those without one first.
func (tx *Tx) CasesBySurgery(f CaseFilter) ([]Case, error) {
	where, args := f.where()
	if f.Before != (CasePlace{}) { // the last ones before it
		args = append(args, f.Before.Surgery, f.Before.ID, f.Limit)
		out, err := tx.cases(`SELECT `+caseColumns+` FROM care_case WHERE open = 1`+where+` AND (surgery, id) < (?, ?) ORDER BY surgery DESC, id DESC LIMIT ?`, args...)
		slices.Reverse(out)
		return out, err
	}
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

// PressFilter says which of the items that are due or late are wanted.
type PressFilter struct {
	State    string // due or late
	Steps    []string
	From, To string // days of surgery, From included and To not; empty: no limit
	Limit    int
}

// Pressing are items that are due or late, those with the nearest day of surgery
// first; a case without a date comes before all.
func (tx *Tx) Pressing(f PressFilter) ([]Item, error) {
	type place struct {
		surgery string
		seq     int64
		n       int
	}
	var heads []place
	to := f.To
	if to == "" {
		to = "~" // after every date
	}
	for _, step := range f.Steps {
		err := tx.each(func(rows *sql.Rows) error {
			var p place
			err := rows.Scan(&p.surgery, &p.seq, &p.n)
			heads = append(heads, p)
			return err
		}, `SELECT surgery, care_case, n FROM item INDEXED BY item_pressing WHERE state IN ('due', 'late')
			AND step = ? AND state = ? AND surgery >= ? AND surgery < ? ORDER BY surgery, care_case, n LIMIT ?`, step, f.State, f.From, to, f.Limit)
		if err != nil {
			return nil, wrap("pressing items", err)
		}
	}
	slices.SortFunc(heads, func(a, b place) int {
		return cmp.Or(cmp.Compare(a.surgery, b.surgery), cmp.Compare(a.seq, b.seq), cmp.Compare(a.n, b.n))
	})
	var out []Item
	for _, h := range heads[:min(len(heads), f.Limit)] {
		i, err := tx.oneItem(`SELECT `+itemColumns+` FROM `+itemTables+` WHERE r.care_case = ? AND r.n = ?`, h.seq, h.n)
		if err != nil {
			return nil, err
		}
		out = append(out, i)
	}
	return out, nil
}

// Quiet are items of some steps that wait and are neither due nor late, of open
// cases that stand in a state, those with the nearest day of surgery first; and
// how many there are in all.
func (tx *Tx) Quiet(steps []string, state string, limit int) (out []Item, total int64, err error) {
	out, total, err = tx.head(limit, `SELECT i.care_case, i.n FROM care_case c CROSS JOIN item i ON i.care_case = c.seq WHERE c.open = 1 AND c.state = ?
		AND i.step IN (`+marks(len(steps))+`) AND i.state IN ('upcoming', 'open', 'paused') ORDER BY c.surgery, c.id, i.n`,
		append([]any{state}, anys(steps)...)...)
	return out, total, wrap("quiet items", err)
}

// Undone are items of some steps that are not asked of anybody although they were
// due before a time, those with the nearest day of surgery from a day on first; and
// how many there are in all, counted no further than to most. Few are due by then,
// so that is asked before the step.
func (tx *Tx) Undone(steps []string, from string, due time.Time, limit, most int) (out []Item, total int64, err error) {
	out, total, err = tx.head(limit, `SELECT care_case, n FROM item INDEXED BY item_in_doubt WHERE status = 'draft' AND state = 'upcoming' AND surgery >= ?
		AND due_to < ? AND step IN (`+marks(len(steps))+`) ORDER BY surgery, care_case, n LIMIT ?`,
		append(append([]any{from, micros(due)}, anys(steps)...), most)...)
	return out, total, wrap("undone items", err)
}

// OpenUntil are items of some steps that can be done, are not due yet, and will be
// before a time, those that are due first coming first.
func (tx *Tx) OpenUntil(steps []string, before time.Time, limit int) ([]Item, error) {
	out, _, err := tx.head(limit, `SELECT care_case, n FROM item INDEXED BY item_waiting WHERE state IN ('upcoming', 'open', 'due', 'late', 'paused')
		AND state = 'open' AND due_from >= ? AND due_from < ? AND step IN (`+marks(len(steps))+`) ORDER BY due_from, care_case, n LIMIT ?`,
		append(append([]any{micros(tx.Now), micros(before)}, anys(steps)...), limit)...)
	return out, wrap("open items", err)
}

// head reads the first items of a query for their places, and counts all.
func (tx *Tx) head(limit int, query string, args ...any) (out []Item, total int64, err error) {
	type place struct {
		seq int64
		n   int
	}
	var places []place
	err = tx.each(func(rows *sql.Rows) error {
		var p place
		if total++; total > int64(limit) {
			return nil
		}
		err := rows.Scan(&p.seq, &p.n)
		places = append(places, p)
		return err
	}, query, args...)
	for n := 0; err == nil && n < len(places); n++ {
		var i Item
		i, err = tx.oneItem(`SELECT `+itemColumns+` FROM `+itemTables+` WHERE r.care_case = ? AND r.n = ?`, places[n].seq, places[n].n)
		out = append(out, i)
	}
	return out, total, err
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

// CasesSince are open cases that were opened at or after a time, the newest
// first: ids rise with time.
func (tx *Tx) CasesSince(t time.Time, limit int) ([]Case, error) {
	return tx.cases(`SELECT `+caseColumns+` FROM care_case WHERE open = 1 AND id >= ? ORDER BY id DESC LIMIT ?`, idFrom(t), limit)
}

// CountCasesSince counts what CasesSince lists without a limit.
func (tx *Tx) CountCasesSince(t time.Time) (n int64, err error) {
	err = tx.one([]any{&n}, `SELECT count(*) FROM care_case WHERE open = 1 AND id >= ?`, idFrom(t))
	return n, wrap("count cases", err)
}

// idFrom sorts before every id that was made at or after a time.
func idFrom(t time.Time) string {
	ms := max(t.UnixMilli(), 0)
	return fmt.Sprintf("%08x-%04x", ms>>16, ms&0xffff)
}

// Surgeons are the surgeons of open cases.
func (tx *Tx) Surgeons() ([]string, error) {
	return tx.texts(`SELECT DISTINCT surgeon FROM care_case WHERE open = 1 AND surgeon <> ''`)
}

// Places are the places of open cases.
func (tx *Tx) Places() ([]string, error) {
	return tx.texts(`SELECT DISTINCT place FROM care_case WHERE open = 1 AND place <> ''`)
}

// DueCount is how many items of a step are due at one moment.
type DueCount struct {
	Step string
	Due  time.Time
	N    int64
}

// DueCounts counts the items that wait and are due from one time on and before
// another, by step and moment.
func (tx *Tx) DueCounts(from, to time.Time) ([]DueCount, error) {
	var out []DueCount
	err := tx.each(func(rows *sql.Rows) error {
		var c DueCount
		err := rows.Scan(&c.Step, at{&c.Due}, &c.N)
		out = append(out, c)
		return err
	}, `SELECT step, due_from, count(*) FROM item INDEXED BY item_waiting
		WHERE state IN ('upcoming', 'open', 'due', 'late', 'paused') AND due_from >= ? AND due_from < ? GROUP BY due_from, step`,
		micros(from), micros(to))
	return out, wrap("count due items", err)
}

// SurgeryCount is how many open cases in a state have their surgery on a day.
type SurgeryCount struct {
	Surgery, State string
	N              int64
}

// SurgeryCounts counts open cases by day of surgery and state, both days
// included.
func (tx *Tx) SurgeryCounts(from, to string) ([]SurgeryCount, error) {
	var out []SurgeryCount
	err := tx.each(func(rows *sql.Rows) error {
		var c SurgeryCount
		err := rows.Scan(&c.Surgery, &c.State, &c.N)
		out = append(out, c)
		return err
	}, `SELECT surgery, state, count(*) FROM care_case WHERE open = 1 AND surgery >= ? AND surgery <= ? GROUP BY surgery, state`, from, to)
	return out, wrap("count surgeries", err)
}

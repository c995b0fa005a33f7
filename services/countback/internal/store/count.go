package store

import (
	"database/sql"
)

// StateCount is how many cases are in a state.
type StateCount struct {
	State string
	N     int64
}

// CaseCounts counts the cases by state, in the order of the states' codes.
func (tx *Tx) CaseCounts() ([]StateCount, error) {
	var out []StateCount
	err := tx.each(func(rows *sql.Rows) error {
		var c StateCount
		if err := rows.Scan(&c.State, &c.N); err != nil {
			return err
		}
		out = append(out, c)
		return nil
	}, `SELECT state, count(*) FROM care_case GROUP BY state ORDER BY state`)
	return out, wrap("count cases", err)
}

// Waiting counts the outbox rows that are not published yet.
func (tx *Tx) Waiting() (int64, error) {
	var n int64
	err := tx.one([]any{&n}, `SELECT count(*) FROM outbox WHERE published_at IS NULL`)
	return n, wrap("count events", err)
}

// Patients lists the names of patients that current resources of the types
// stand under, in their order, those after a name, no more than limit.
func (tx *Tx) Patients(after string, limit int, types ...string) ([]string, error) {
	if len(types) == 0 {
		return nil, nil
	}
	args := append(append([]any{after}, anys(types)...), limit)
	return tx.texts(`SELECT DISTINCT patient FROM resource WHERE patient > ? AND patient <> '' AND deleted = 0
		AND type IN (`+marks(len(types))+`) ORDER BY patient LIMIT ?`, args...)
}

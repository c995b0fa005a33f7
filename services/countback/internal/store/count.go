package store

import (
	"database/sql"
	"strings"
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
// stand under, in their order.
func (tx *Tx) Patients(types ...string) ([]string, error) {
	if len(types) == 0 {
		return nil, nil
	}
	args := make([]any, 0, len(types))
	for _, t := range types {
		args = append(args, t)
	}
	return tx.texts(`SELECT DISTINCT patient FROM resource WHERE patient <> '' AND deleted = 0
		AND type IN (`+strings.Repeat(`?,`, len(types)-1)+`?) ORDER BY patient`, args...)
}

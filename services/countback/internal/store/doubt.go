package store

import "time"

// UndoneOn are items of some steps that are not asked of anybody although they were
// due before a time, of open cases whose day of surgery lies between two days, both
// included (2006-01-02), by day and case.
func (tx *Tx) UndoneOn(steps []string, from, to string, due time.Time) ([]Item, error) {
	out, err := tx.items(`SELECT `+itemColumns+` FROM item r INDEXED BY item_in_doubt CROSS JOIN care_case c ON c.seq = r.care_case
		WHERE r.status = 'draft' AND r.state = 'upcoming' AND r.surgery >= ? AND r.surgery <= ? AND r.due_to < ? AND r.step IN (`+marks(len(steps))+`)
		AND c.open = 1 ORDER BY r.surgery, r.care_case, r.n`, append([]any{from, to, micros(due)}, anys(steps)...)...)
	return out, wrap("undone items", err)
}

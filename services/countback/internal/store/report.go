package store

// CasesWithSurgery are all cases, open and ended, whose day of surgery lies
// between two days, both included (2006-01-02), by day.
func (tx *Tx) CasesWithSurgery(from, to string) ([]Case, error) {
	return tx.cases(`SELECT `+caseColumns+` FROM care_case INDEXED BY care_case_by_day
		WHERE surgery <> '' AND surgery >= ? AND surgery <= ? ORDER BY surgery, id`, from, to)
}

// ReportSteps says which items a report asks for.
type ReportSteps struct {
	Always []string // codes of steps whose items are wanted whatever became of them
	Undone []string // of those wanted only where something may have been left to do
	Today  string   // of operations after this day Undone is not asked for, 2006-01-02
}

// ReportedItems are the current items that a report asks for, of the cases that
// CasesWithSurgery gives for the same days, by case and in the order of their
// numbers. What is settled for certain is not read: it was written as done
// before the day before surgery began anywhere. Of ten thousand cases that is
// nearly all.
func (tx *Tx) ReportedItems(from, to string, s ReportSteps) (map[string][]Item, error) {
	args := append([]any{from, to}, anys(s.Always)...)
	args = append(append(args, anys(s.Undone)...), s.Today)
	items, err := tx.items(`SELECT `+itemColumns+` FROM care_case c INDEXED BY care_case_by_day CROSS JOIN item r ON r.care_case = c.seq
		WHERE c.surgery <> '' AND c.surgery >= ? AND c.surgery <= ? AND (r.step IN (`+marks(len(s.Always))+`)
		OR r.step IN (`+marks(len(s.Undone))+`) AND c.surgery <= ? AND r.state NOT IN ('waived', 'not-needed', 'expired')
		AND (r.state <> 'done' OR r.updated >= (unixepoch(c.surgery) - 86400) * 1000000))
		ORDER BY c.surgery, c.id, r.n`, args...)
	out := map[string][]Item{}
	for _, i := range items {
		out[i.CaseID] = append(out[i.CaseID], i)
	}
	return out, err
}

// PatientsWithSeveral are the patients who have more than one case, open or ended.
func (tx *Tx) PatientsWithSeveral() ([]string, error) {
	return tx.texts(`SELECT patient FROM care_case GROUP BY patient HAVING count(*) > 1`)
}

// SentAgain are the ids of the resources of a type that have more than one version.
func (tx *Tx) SentAgain(typ string) ([]string, error) {
	return tx.texts(`SELECT id FROM resource WHERE type = ? AND version > 1`, typ)
}

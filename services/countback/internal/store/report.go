package store

// CasesWithSurgery are all cases, open and ended, whose day of surgery lies
// between two days, both included (2006-01-02), by day.
func (tx *Tx) CasesWithSurgery(from, to string) ([]Case, error) {
	return tx.cases(`SELECT `+caseColumns+` FROM care_case INDEXED BY care_case_by_day
		WHERE surgery <> '' AND surgery >= ? AND surgery <= ? ORDER BY surgery, id`, from, to)
}

// ItemsOfSteps are the current items of a case that are of some steps, in the
// order of their numbers.
func (tx *Tx) ItemsOfSteps(caseID string, steps []string) ([]Item, error) {
	if len(steps) == 0 {
		return nil, nil
	}
	return tx.items(`SELECT `+itemColumns+` FROM `+itemTables+` WHERE c.id = ? AND r.step IN (`+marks(len(steps))+`) ORDER BY r.n`,
		append([]any{caseID}, anys(steps)...)...)
}

package store

// nameID is the number of a text that many rows share; it is given one when it
// has none. The empty text is 0.
func (tx *Tx) nameID(text string) (int64, error) {
	if text == "" {
		return 0, nil
	}
	if id, ok := tx.numbers[text]; ok {
		return id, nil
	}
	var id int64
	err := tx.one([]any{&id}, `SELECT id FROM name WHERE text = ?`, text)
	if err == ErrNotFound {
		result, insertErr := tx.run(`INSERT INTO name (text) VALUES (?)`, []any{text})
		if err = insertErr; err == nil {
			id, err = result.LastInsertId()
		}
	}
	if err != nil {
		return 0, err
	}
	if tx.numbers == nil {
		tx.numbers = map[string]int64{}
	}
	tx.numbers[text] = id
	return id, nil
}

// nameOf is the text of a number. A number keeps its text once it is
// committed, but one that was rolled back is given again: so what was read is
// remembered for one transaction only.
func (tx *Tx) nameOf(id int64) (string, error) {
	if id == 0 {
		return "", nil
	}
	if text, ok := tx.texted[id]; ok {
		return text, nil
	}
	var text string
	if err := tx.one([]any{&text}, `SELECT text FROM name WHERE id = ?`, id); err != nil {
		return "", err
	}
	if tx.texted == nil {
		tx.texted = map[int64]string{}
	}
	tx.texted[id] = text
	return text, nil
}

package store

// Reassign gives everything that stands under one patient's name to another
// name, and says how many resources that were.
func (tx *Tx) Reassign(from, to string) (int64, error) {
	n, err := tx.exec(`UPDATE resource SET patient = ? WHERE patient = ? AND patient <> ''`, to, from)
	return n, wrap("reassign", err)
}

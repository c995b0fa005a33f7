package store

// Reassign gives everything that stands under one patient's name to another
// name, and says how many resources that were. Past versions keep the name
// that they were stored under.
func (tx *Tx) Reassign(from, to string) (int64, error) {
	if _, err := tx.exec(`UPDATE resource_version SET patient = ? WHERE patient = ? AND resource IN
		(SELECT seq FROM resource WHERE patient = ? AND resource.version = resource_version.version)`, to, from, from); err != nil {
		return 0, wrap("reassign", err)
	}
	n, err := tx.exec(`UPDATE resource SET patient = ? WHERE patient = ?`, to, from)
	return n, wrap("reassign", err)
}

package store

import (
	"database/sql"
	"io/fs"
	"path/filepath"
	"testing"

	"github.com/pressly/goose/v3"
	"github.com/stretchr/testify/require"
)

// oldFile makes a database as it was after a migration, and fills it.
func oldFile(t *testing.T, version int64, statements ...string) (folder string) {
	t.Helper()
	folder = t.TempDir()
	pool, err := sql.Open("sqlite3", "file:"+filepath.Join(folder, File))
	require.NoError(t, err)
	files, err := fs.Sub(migrations, "migrations")
	require.NoError(t, err)
	provider, err := goose.NewProvider(goose.DialectSQLite3, pool, files)
	require.NoError(t, err)
	_, err = provider.UpTo(t.Context(), version)
	require.NoError(t, err)
	for _, s := range statements {
		_, err := pool.ExecContext(t.Context(), s)
		require.NoError(t, err, s)
	}
	require.NoError(t, pool.Close())
	return folder
}

// What cases and items are listed by is taken from what an older file remembers:
// a booking, one without a date, and one whose data say nothing of it.
func TestOldFileIsListedByDay(t *testing.T) {
	const item = `INSERT INTO item (care_case, n, step, repeat, round, created, version, updated, state, status, owner, focus, based_on, due_from, due_to, protocol, data) VALUES `
	folder := oldFile(t, 5,
		`INSERT INTO name (id, text) VALUES (1, '')`,
		`INSERT INTO care_case (seq, id, patient, key, state, sequence, open, protocol, updated, data) VALUES
			(1, 'c-1', 'Patient/1', 'Appointment/1', 'on-track', 1, 1, 'p|1', 1, CAST('{"day":"2027-01-11","details":{"surgeon":"Practitioner/7","side":"left"}}' AS BLOB)),
			(2, 'c-2', 'Patient/2', 'Appointment/2', 'held', 1, 1, 'p|1', 1, CAST('{"details":{}}' AS BLOB)),
			(3, 'c-3', 'Patient/3', 'Appointment/3', 'closed', 1, 0, 'p|1', 1, CAST('{"day":"2026-03-02"}' AS BLOB)),
			(4, 'c-4', 'Patient/4', 'Appointment/4', 'on-track', 1, 1, 'p|1', 1, NULL)`,
		item+`(1, 1, 'step', '', 1, 1, 1, 1, 'late', 'requested', '', 1, 1, 5, 6, 1, NULL)`,
		item+`(2, 1, 'step', '', 1, 1, 1, 1, 'late', 'requested', '', 1, 1, 5, 6, 1, NULL)`,
	)
	db := open(t, in(folder))
	read(t, db, func(tx *Tx) error {
		for id, want := range map[string]Case{
			"c-1": {Surgery: "2027-01-11", Surgeon: "Practitioner/7"}, "c-2": {}, "c-3": {Surgery: "2026-03-02"}, "c-4": {},
		} {
			c, err := tx.Case(id)
			require.NoError(t, err)
			require.Equal(t, want, Case{Surgery: c.Surgery, Surgeon: c.Surgeon, Place: c.Place}, id)
		}
		listed, err := tx.CasesBySurgery(CaseFilter{From: "2027-01-01", Limit: 9})
		require.NoError(t, err)
		require.Len(t, listed, 1)
		pressing, err := tx.Pressing(PressFilter{State: "late", Steps: []string{"step"}, Limit: 9})
		require.NoError(t, err)
		require.Equal(t, []string{"c-2.0001", "c-1.0001"}, []string{pressing[0].TaskID(), pressing[1].TaskID()}, "one without a date comes first")
		dated, err := tx.Pressing(PressFilter{State: "late", Steps: []string{"step"}, From: "2027-01-11", Limit: 9})
		require.NoError(t, err)
		require.Len(t, dated, 1)
		reported, err := tx.CasesWithSurgery("2026-01-01", "2027-12-31")
		require.NoError(t, err)
		require.Equal(t, []string{"c-3", "c-1"}, []string{reported[0].ID, reported[1].ID}, "what ended is there, too")
		require.Len(t, reported, 2)
		return nil
	})
}

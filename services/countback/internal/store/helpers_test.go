package store

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
)

func TestMain(m *testing.M) {
	if crashWriter() {
		return
	}
	goleak.VerifyTestMain(m)
}

var start = time.Date(2026, 11, 2, 8, 0, 0, 0, time.UTC)

// standing is a clock that stands still.
func standing() time.Time { return start }

func open(t testing.TB, change ...func(*Options)) *DB {
	t.Helper()
	o := Options{Path: t.TempDir(), Now: standing}
	for _, c := range change {
		c(&o)
	}
	db, err := Open(context.Background(), o)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	return db
}

func in(path string) func(*Options) { return func(o *Options) { o.Path = path } }

// write and read run fn and fail the test on the test's own goroutine.
func write(t testing.TB, db *DB, fn func(*Tx) error) {
	t.Helper()
	require.NoError(t, db.Write(context.Background(), fn))
}

func read(t testing.TB, db *DB, fn func(*Tx) error) {
	t.Helper()
	require.NoError(t, db.Read(context.Background(), fn))
}

// saved stores version after version of one resource.
func saved(typ, id string, version int64, body string) Stored {
	return Stored{Type: typ, ID: id, Version: version, Body: []byte(body)}
}

package store

import (
	"context"
	"fmt"
	"sync/atomic"
	"testing"

	"github.com/ncruces/go-sqlite3"
	"github.com/ncruces/go-sqlite3/util/vfsutil"
	"github.com/ncruces/go-sqlite3/vfs"
	"github.com/stretchr/testify/require"
)

// faulty is the real file system, but for one operation that fails on demand.
type faulty struct {
	vfs.VFS
	operation string // "write log", "sync log", "sync database"
	err       error
	countdown atomic.Int64 // fails when it gets to 0; below that nothing fails
}

type faultyFile struct {
	vfs.File
	disk *faulty
	name string
}

func (d *faulty) Open(string, vfs.OpenFlag) (vfs.File, vfs.OpenFlag, error) {
	return nil, 0, sqlite3.CANTOPEN // OpenFilename is called instead
}

func (d *faulty) OpenFilename(name *vfs.Filename, flags vfs.OpenFlag) (vfs.File, vfs.OpenFlag, error) {
	file, flags, err := vfsutil.WrapOpenFilename(d.VFS, name, flags)
	if err != nil {
		return nil, flags, err
	}
	kind := "other"
	if flags&vfs.OPEN_WAL != 0 {
		kind = "log"
	} else if flags&vfs.OPEN_MAIN_DB != 0 {
		kind = "database"
	}
	return &faultyFile{file, d, kind}, flags, nil
}

func (d *faulty) fails(operation string) bool {
	return operation == d.operation && d.countdown.Load() > 0 && d.countdown.Add(-1) == 0
}

func (f *faultyFile) WriteAt(p []byte, off int64) (int, error) {
	if f.disk.fails("write " + f.name) {
		return 0, f.disk.err
	}
	return f.File.WriteAt(p, off)
}

func (f *faultyFile) Sync(flags vfs.SyncFlag) error {
	if f.disk.fails("sync " + f.name) {
		return f.disk.err
	}
	return f.File.Sync(flags)
}

func (f *faultyFile) SharedMemory() vfs.SharedMemory { return vfsutil.WrapSharedMemory(f.File) }

func (f *faultyFile) Unwrap() vfs.File { return f.File }

func faultyDisk(t *testing.T, operation string, err error) *faulty {
	t.Helper()
	d := &faulty{VFS: vfs.Find(""), operation: operation, err: err}
	vfs.Register(t.Name(), d)
	t.Cleanup(func() { vfs.Unregister(t.Name()) })
	return d
}

func on(name string, fatal *[]error) func(*Options) {
	return func(o *Options) {
		o.vfs = name
		o.Fatal = func(err error) { *fatal = append(*fatal, err) }
	}
}

func saveOpen(id string) func(*Tx) error {
	return func(tx *Tx) error { return tx.SaveCase(Case{ID: id, Open: true}) }
}

func TestFailedCommitIsFatal(t *testing.T) {
	for name, operation := range map[string]string{"write": "write log", "fsync": "sync log"} {
		t.Run(name, func(t *testing.T) {
			var fatal []error
			disk := faultyDisk(t, operation, sqlite3.IOERR_FSYNC)
			folder := t.TempDir()
			db, err := Open(context.Background(), Options{Path: folder, Now: standing, vfs: t.Name(),
				Fatal: func(err error) { fatal = append(fatal, err) }})
			require.NoError(t, err)
			write(t, db, saveOpen("a"))
			disk.countdown.Store(1)
			for _, err := range queued(t, db, saveOpen("b"), saveOpen("c")) {
				require.ErrorIs(t, err, ErrClosed)
			}
			require.Len(t, fatal, 1, "the process is told once")
			require.ErrorIs(t, db.Write(context.Background(), saveOpen("d")), ErrClosed, "nothing is tried again")
			require.NoError(t, db.Close())
			require.Equal(t, map[string]bool{"a": true}, caseIDs(t, open(t, in(folder))))
		})
	}
}

func TestFailedCheckpointIsFatal(t *testing.T) {
	disk := faultyDisk(t, "sync database", sqlite3.IOERR_FSYNC)
	failed := make(chan error, 1)
	db := open(t, func(o *Options) {
		o.vfs, o.checkpointPages = t.Name(), 1
		o.Fatal = func(err error) { failed <- err }
	})
	disk.countdown.Store(1)
	// The checkpoint may be one that the tables asked for, and come before this.
	if err := db.Write(context.Background(), saveOpen("a")); err != nil {
		require.ErrorIs(t, err, ErrClosed)
	}
	require.ErrorIs(t, <-failed, sqlite3.IOERR)
	require.ErrorIs(t, db.Write(context.Background(), saveOpen("b")), ErrClosed)
}

// A full disk undoes the whole group, of which nobody was told that it is
// stored, and the store goes on when there is room again.
func TestFullDiskUndoesTheGroup(t *testing.T) {
	var fatal []error
	disk := faultyDisk(t, "write log", sqlite3.FULL)
	db := open(t, on(t.Name(), &fatal))
	write(t, db, saveOpen("a"))
	disk.countdown.Store(1)
	refused := func(tx *Tx) error { _ = saveOpen("x")(tx); return errRefused }
	for _, err := range queued(t, db, saveOpen("b"), saveOpen("c"), refused) {
		require.ErrorIs(t, err, ErrAborted)
	}
	require.Equal(t, map[string]bool{"a": true}, caseIDs(t, db))
	write(t, db, saveOpen("b"))
	require.Equal(t, map[string]bool{"a": true, "b": true}, caseIDs(t, db))
	require.Empty(t, fatal)
}

// A statement that runs out of disk in the middle of a function has undone the
// transaction: what the function does afterwards must not be stored alone.
func TestFailureInTheMiddleIsRemembered(t *testing.T) {
	db := open(t)
	err := db.Write(context.Background(), func(tx *Tx) error {
		if err := saveOpen("a")(tx); err != nil {
			return err
		}
		tx.note(sqlite3.FULL)
		require.ErrorIs(t, saveOpen("b")(tx), sqlite3.FULL)
		return nil // as if it had not noticed
	})
	require.ErrorIs(t, err, ErrAborted)
	require.Empty(t, caseIDs(t, db))
}

// Every write of the log fails once: an answered booking is there in full, the
// failed one is not, and the next goes through.
func TestEveryWriteFailsOnce(t *testing.T) {
	var fatal []error
	disk := faultyDisk(t, "write log", sqlite3.FULL)
	folder := t.TempDir()
	content := newBooking()
	db, err := Open(context.Background(), Options{Path: folder, Now: standing, vfs: t.Name(),
		Fatal: func(err error) { fatal = append(fatal, err) }})
	require.NoError(t, err)
	answered, failures := 0, 0
	for n := int64(1); ; n += 3 {
		disk.countdown.Store(n)
		err := db.Write(context.Background(), content.write)
		if disk.countdown.Load() > 0 { // the booking needs fewer writes than that
			require.NoError(t, err)
			answered++
			break
		}
		require.ErrorIs(t, err, ErrAborted, fmt.Sprintf("write %d", n))
		failures++
		write(t, db, content.write)
		answered++
	}
	require.NoError(t, db.Close())
	require.Greater(t, failures, 10)
	require.Empty(t, fatal)
	require.Len(t, complete(t, folder), answered)
}

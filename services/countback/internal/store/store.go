package store

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"sync/atomic"
	"time"

	"github.com/ncruces/go-sqlite3"
	"github.com/ncruces/go-sqlite3/driver"
	"github.com/pressly/goose/v3"
)

//go:embed migrations/*.sql
var migrations embed.FS

// File is the name of the database within its folder.
const File = "countback.db"

// Options say where the data lies and what the store needs from outside.
type Options struct {
	Path string           // folder, made when it does not exist; required
	Now  func() time.Time // the clock; required
	// Fatal is called once when a commit or a checkpoint failed with an I/O
	// error. Nobody then knows what is on the disk, so the process must end
	// and start again from the file; the store takes no more writes. Nil
	// panics.
	Fatal func(error)
	// ClockCorrected says that the clock was ahead when the last entries were
	// written and is right now. Without it, Open is ErrClockBack when they are
	// more than two days ahead of the clock. What was planned in that time is
	// planned again: every case that changed then is due.
	ClockCorrected bool

	vfs             string // of tests that let the disk fail
	checkpointPages int    // pages in the log that start a checkpoint; 0 means the default
}

// DB is an open store. It is safe for concurrent use.
type DB struct {
	options Options
	clock   clock
	ids     ids
	pool    *sql.DB // readers and the checkpointer
	writing *sql.DB // its one connection is the writer
	writer  *conn
	readers chan *conn // nil entries are connections not opened yet

	queue   chan *request
	wake    chan struct{}
	closing chan struct{}
	close   sync.Once
	closed  error
	done    sync.WaitGroup
	dead    atomic.Bool

	watching watchers

	checkpoint chan struct{}
	catchUp    atomic.Bool // the writer itself is to run the next checkpoint
}

// Open opens the store in a folder, making and migrating the file as needed.
func Open(ctx context.Context, o Options) (*DB, error) {
	if o.Path == "" || o.Now == nil {
		return nil, errors.New("open store: a folder and a clock are required")
	}
	if o.Fatal == nil {
		o.Fatal = func(err error) { panic(err) }
	}
	if o.checkpointPages == 0 {
		o.checkpointPages = defaultCheckpointPages
	}
	db := &DB{
		options: o, clock: clock{now: o.Now},
		readers: make(chan *conn, readerCount()), queue: make(chan *request),
		wake: make(chan struct{}, 1), closing: make(chan struct{}), checkpoint: make(chan struct{}, 1),
	}
	for range cap(db.readers) {
		db.readers <- nil
	}
	if err := db.open(ctx); err != nil {
		db.closePools()
		return nil, fmt.Errorf("open store: %w", err)
	}
	db.done.Add(2)
	go db.writeLoop()
	go db.checkpointLoop()
	return db, nil
}

func readerCount() int { return max(4, 2*runtime.GOMAXPROCS(0)) }

func (db *DB) open(ctx context.Context) error {
	if err := os.MkdirAll(db.options.Path, 0o700); err != nil {
		return err
	}
	path, err := filepath.Abs(filepath.Join(db.options.Path, File))
	if err != nil {
		return err
	}
	// SQLite gives its other files the permissions of this one.
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	db.writing, err = driver.Open(db.dsn(path, "immediate", writerPragmas), db.watchLog)
	if err != nil {
		return err
	}
	db.writing.SetMaxOpenConns(1)
	if err := migrate(ctx, db.writing); err != nil {
		return fmt.Errorf("migrate: %w", err)
	}
	if db.writer, err = newConn(ctx, db.writing); err != nil {
		return err
	}
	db.pool, err = driver.Open(db.dsn(path, "deferred", readerPragmas))
	if err != nil {
		return err
	}
	db.pool.SetMaxOpenConns(cap(db.readers) + 1)
	if err := db.writer.checkMode(ctx); err != nil {
		return err
	}
	if err := db.takeLeasesBack(); err != nil {
		return fmt.Errorf("leases: %w", err)
	}
	return db.startClock()
}

// trustAhead is how far the stored time may lie ahead of the clock and still be
// believed: a clock is set back by hours, and what lies further ahead was
// written while it was wrong, or is read while it is.
const trustAhead = 48 * time.Hour

// watchLog tells the checkpointer when the write-ahead log has grown.
func (db *DB) watchLog(c *sqlite3.Conn) error {
	c.WALHook(func(_ *sqlite3.Conn, _ string, pages int) error {
		if pages >= db.options.checkpointPages {
			signal(db.checkpoint)
		}
		return nil
	})
	return nil
}

// Setting the hook turns SQLite's own checkpoints off, which would run within
// a commit. synchronous=FULL because NORMAL may lose commits on power failure.
var (
	writerPragmas = []string{"busy_timeout(10000)", "page_size(4096)", "journal_mode(wal)", "synchronous(full)",
		"temp_store(memory)", "cache_size(-65536)", "foreign_keys(off)", "trusted_schema(off)",
		"journal_size_limit(67108864)"}
	readerPragmas = []string{"busy_timeout(10000)", "synchronous(full)", "temp_store(memory)", "cache_size(-8192)",
		"wal_autocheckpoint(0)", "trusted_schema(off)"}
)

func (db *DB) dsn(path, lock string, pragmas []string) string {
	q := url.Values{"_txlock": {lock}, "_pragma": pragmas}
	if db.options.vfs != "" {
		q.Set("vfs", db.options.vfs)
	}
	return (&url.URL{Scheme: "file", Path: filepath.ToSlash(path), RawQuery: q.Encode()}).String()
}

func migrate(ctx context.Context, pool *sql.DB) error {
	files, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return err
	}
	provider, err := goose.NewProvider(goose.DialectSQLite3, pool, files)
	if err != nil {
		return err
	}
	_, err = provider.Up(ctx)
	return err
}

// Wake is signalled after a commit that put rows into the outbox. It is a hint
// only: the rows are the truth.
func (db *DB) Wake() <-chan struct{} { return db.wake }

// Close waits for the write and the reads under way, and closes the file.
// Writes that still wait are answered with ErrClosed.
func (db *DB) Close() error {
	db.close.Do(func() {
		close(db.closing)
		db.done.Wait()
		for range cap(db.readers) {
			if c := <-db.readers; c != nil {
				db.closed = errors.Join(db.closed, c.close())
			}
		}
		db.closed = errors.Join(db.closed, db.writer.close(), db.closePools())
	})
	return db.closed
}

func (db *DB) closePools() error {
	var err error
	for _, pool := range []*sql.DB{db.pool, db.writing} { // the writer last: it cleans the log up
		if pool != nil {
			err = errors.Join(err, pool.Close())
		}
	}
	return err
}

// fatal shuts the store after a failure that leaves the disk in doubt.
func (db *DB) fatal(err error) {
	if db.dead.CompareAndSwap(false, true) {
		db.options.Fatal(fmt.Errorf("store: the disk failed: %w", err))
	}
}

// signal sends without waiting; one pending signal is enough.
func signal(c chan<- struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}

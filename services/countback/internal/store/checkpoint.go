package store

// defaultCheckpointPages of 4 KiB make 32 MiB of log: pages that many commits
// change are moved once.
const defaultCheckpointPages = 8000

// catchUpFactor: when this many times the pages above are in the log after a
// checkpoint, writes came in faster than they were moved.
const catchUpFactor = 4

// checkpointLoop moves pages from the log into the database on a connection of
// its own, so that no commit waits for it.
func (db *DB) checkpointLoop() {
	defer db.done.Done()
	var c *conn
	defer func() {
		if c != nil {
			c.close()
		}
	}()
	for {
		select {
		case <-db.closing:
			return
		case <-db.checkpoint:
		}
		if c == nil {
			var err error
			if c, err = newConn(never, db.pool); err != nil {
				continue // the log only grows; the next commit signals again
			}
		}
		if db.checkpointNow(c) >= catchUpFactor*db.options.checkpointPages {
			db.catchUp.Store(true)
		}
	}
}

// checkpointNow moves what no reader needs and gives the pages left in the log.
//
// The log starts again from its beginning when all of it was moved and nobody
// reads it. Under a steady stream of writes this loop never gets there: then
// the writer runs one itself, between two groups, for the few pages left.
func (db *DB) checkpointNow(c *conn) (left int) {
	var busy, pages, moved int
	err := c.sql.QueryRowContext(never, "PRAGMA wal_checkpoint(PASSIVE)").Scan(&busy, &pages, &moved)
	switch {
	case err == nil:
		return pages - moved
	case ioFailure(err):
		db.fatal(err)
	}
	// Otherwise the log still holds everything, and the next commit asks again.
	return 0
}

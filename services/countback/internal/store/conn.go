package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
)

// maxStatements bounds what one connection keeps prepared; searches come in
// many shapes.
const maxStatements = 400

// conn is one connection with its prepared statements. It is used by one
// goroutine at a time.
type conn struct {
	sql        *sql.Conn
	statements map[string]*sql.Stmt
	bulk       map[bulkKey]*sql.Stmt
}

type bulkKey struct {
	head string
	rows int
}

func newConn(ctx context.Context, pool *sql.DB) (*conn, error) {
	c, err := pool.Conn(ctx)
	if err != nil {
		return nil, err
	}
	return &conn{sql: c, statements: map[string]*sql.Stmt{}, bulk: map[bulkKey]*sql.Stmt{}}, nil
}

// never is the context of statements that must not be interrupted: SQLite may
// undo the whole transaction of a statement that is.
var never = context.Background()

func (c *conn) prepare(query string) (*sql.Stmt, error) {
	if s, ok := c.statements[query]; ok {
		return s, nil
	}
	s, err := c.sql.PrepareContext(never, query)
	if err != nil {
		return nil, err
	}
	if len(c.statements) >= maxStatements {
		for text, old := range c.statements {
			old.Close()
			delete(c.statements, text)
		}
	}
	c.statements[query] = s
	return s, nil
}

// prepareBulk prepares an INSERT of several rows of width columns.
func (c *conn) prepareBulk(head string, rows, width int) (*sql.Stmt, error) {
	key := bulkKey{head, rows}
	if s, ok := c.bulk[key]; ok {
		return s, nil
	}
	row := "(?" + strings.Repeat(",?", width-1) + ")"
	s, err := c.sql.PrepareContext(never, head+row+strings.Repeat(","+row, rows-1))
	if err != nil {
		return nil, err
	}
	c.bulk[key] = s
	return s, nil
}

// control runs BEGIN, COMMIT and the like.
func (c *conn) control(query string) error {
	s, err := c.prepare(query)
	if err == nil {
		_, err = s.ExecContext(never)
	}
	return err
}

func (c *conn) close() error {
	var err error
	for _, s := range c.statements {
		err = errors.Join(err, s.Close())
	}
	for _, s := range c.bulk {
		err = errors.Join(err, s.Close())
	}
	return errors.Join(err, c.sql.Close())
}

// checkMode makes sure that what durability rests on is really set.
func (c *conn) checkMode(ctx context.Context) error {
	for query, want := range map[string]string{"PRAGMA journal_mode": "wal", "PRAGMA synchronous": "2"} {
		var got string
		if err := c.sql.QueryRowContext(ctx, query).Scan(&got); err != nil {
			return err
		}
		if got != want {
			return fmt.Errorf("%s is %s, need %s: is the folder on a local disk?", query, got, want)
		}
	}
	return nil
}

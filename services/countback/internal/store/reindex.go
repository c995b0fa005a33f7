package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"example.org/countback/services/countback/internal/search"
)

// reindexAtOnce is how many resources are indexed again in one transaction.
const reindexAtOnce = 500

// indexed is a current resource and its row.
type indexed struct {
	Stored
	seq int64
}

// Reindex fills the search rows of all current resources anew, unless they were
// filled under this mark already: a search by a parameter that came with a new
// version of the service would miss in silence what was stored before it. It must
// be over before searches are served. A crash on its way only makes it begin anew.
func (db *DB) Reindex(ctx context.Context, mark string, index func(Stored) ([]search.Value, error)) error {
	var have string
	err := db.Read(ctx, func(tx *Tx) error {
		return tx.one([]any{&have}, `SELECT mark FROM search_index`)
	})
	if err == nil && have == mark {
		return nil
	}
	if err != nil && !errors.Is(err, ErrNotFound) {
		return fmt.Errorf("reindex: %w", err)
	}
	for after, more := int64(0), true; more; {
		err := db.Write(ctx, func(tx *Tx) error {
			some, err := tx.toIndex(after)
			if more = len(some) == reindexAtOnce; err != nil || len(some) == 0 {
				return err
			}
			after = some[len(some)-1].seq
			for _, s := range some {
				if err := tx.reindex(s, index); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			return fmt.Errorf("reindex: %w", err)
		}
	}
	err = db.Write(ctx, func(tx *Tx) error {
		if _, err := tx.exec(`DELETE FROM search_index`); err != nil {
			return err
		}
		_, err := tx.exec(`INSERT INTO search_index (mark) VALUES (?)`, mark)
		return err
	})
	if err != nil {
		return fmt.Errorf("reindex: %w", err)
	}
	return nil
}

func (tx *Tx) toIndex(after int64) ([]indexed, error) {
	var out []indexed
	err := tx.each(func(rows *sql.Rows) error {
		var s indexed
		err := rows.Scan(append(scanStored(&s.Stored), &s.seq)...)
		out = append(out, s)
		return err
	}, `SELECT `+storedColumns+`, r.seq FROM resource r JOIN resource_version v ON v.resource = r.seq AND v.version = r.version
		WHERE r.seq > ? AND r.deleted = 0 ORDER BY r.seq LIMIT ?`, after, reindexAtOnce)
	return out, err
}

func (tx *Tx) reindex(s indexed, index func(Stored) ([]search.Value, error)) error {
	values, err := index(s.Stored)
	if err != nil {
		return err
	}
	if _, err := tx.exec(`DELETE FROM search_value WHERE resource = ?`, s.seq); err != nil {
		return err
	}
	return tx.saveIndex(s.seq, s.Type, values)
}

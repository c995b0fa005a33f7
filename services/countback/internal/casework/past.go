package casework

import (
	"context"

	"example.org/countback/services/countback/internal/store"
)

// HistoryPage is one page of a history, the newest version first.
type HistoryPage struct {
	Items []store.Stored
	More  bool // there are older ones
	Total int  // on all pages, of the history of one resource; else 0
}

// History reads the versions of one resource, of a type, or of everything. Tasks
// are rendered, each version by the protocol that it was written by. The error is
// a *Refusal with ErrNotFound for a resource that there never was.
func (o *Office) History(ctx context.Context, q store.HistoryQuery) (HistoryPage, error) {
	var out HistoryPage
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		if q.ID != "" {
			known, err := tx.Known(q.Type, q.ID)
			if err == nil && !known {
				err = notFound(q.Type)
			}
			if err != nil {
				return err
			}
			if out.Total, err = tx.CountVersions(q); err != nil {
				return err
			}
		}
		wanted := q
		wanted.Count++ // one more, to know whether there are more
		found, err := o.history(tx, wanted)
		if out.More = len(found) > q.Count; out.More {
			found = found[:q.Count]
		}
		out.Items = found
		return err
	})
	return out, err
}

func (o *Office) history(tx *store.Tx, q store.HistoryQuery) ([]store.Stored, error) {
	var held, tasks []store.Stored
	var err error
	if q.Type != "Task" {
		if held, err = tx.History(q); err != nil {
			return nil, err
		}
	}
	if q.Type == "Task" || q.Type == "" {
		items, err := tx.ItemHistory(q)
		if err != nil {
			return nil, err
		}
		for _, item := range items {
			s, err := o.rendered(tx, item)
			if err != nil {
				return nil, err
			}
			tasks = append(tasks, s)
		}
	}
	return store.Newest(q.Count, store.Stored.Moment, held, tasks), nil
}

package store

import (
	"database/sql"
	"fmt"

	"example.org/countback/services/countback/internal/search"
)

// Page is one page of a search.
type Page struct {
	Items []Stored
	Next  string // cursor of the next page; empty on the last
	Total int    // matches on all pages; 0 when nobody wants it
}

// ItemPage is one page of a search for items.
type ItemPage struct {
	Items []Item
	Next  string
	Total int
}

// Search finds current resources that are not deleted. For Task use
// SearchItems.
//
// Pages go by key, not by number: a row that is there all along and keeps its
// sort keys is seen exactly once, whatever happens to others.
func (tx *Tx) Search(q search.Query) (Page, error) {
	b := builderOf(q.Type)
	b.add(`r.type = ? AND r.deleted = 0`, q.Type)
	b.clauses(q)
	var p Page
	var err error
	if p.Total, err = tx.total(q, `resource r`, b); err != nil || q.Count == 0 {
		return p, wrap("search", err)
	}
	from := `resource r JOIN resource_version v ON v.resource = r.seq AND v.version = r.version`
	keys, err := tx.page(q, b, storedColumns, from, func(rows *sql.Rows, keys []any) error {
		var s Stored
		err := rows.Scan(append(scanStored(&s), keys...)...)
		p.Items = append(p.Items, s)
		return err
	})
	if len(p.Items) > q.Count {
		p.Items = p.Items[:q.Count]
		p.Next = q.Cursor(keys)
	}
	return p, wrap("search", err)
}

// SearchItems finds current items, for the type Task.
func (tx *Tx) SearchItems(q search.Query) (ItemPage, error) {
	if q.Type != "Task" {
		return ItemPage{}, fmt.Errorf("search items: %s is not stored as items", q.Type)
	}
	b := builderOf(q.Type)
	b.add(`1 = 1`)
	b.clauses(q)
	var p ItemPage
	var err error
	if p.Total, err = tx.total(q, itemTables, b); err != nil || q.Count == 0 {
		return p, wrap("search", err)
	}
	var texts []shared
	keys, err := tx.page(q, b, itemColumns, itemTables, func(rows *sql.Rows, keys []any) error {
		var i Item
		var s shared
		err := rows.Scan(append(scanItem(&i, &s), keys...)...)
		p.Items, texts = append(p.Items, i), append(texts, s)
		return err
	})
	for n := range p.Items {
		if err == nil {
			err = tx.name(&p.Items[n], texts[n])
		}
	}
	if len(p.Items) > q.Count {
		p.Items = p.Items[:q.Count]
		p.Next = q.Cursor(keys)
	}
	return p, wrap("search", err)
}

func (tx *Tx) total(q search.Query, tables string, b *builder) (n int, err error) {
	if q.NoTotal {
		return 0, nil
	}
	err = tx.one([]any{&n}, `SELECT count(*) FROM `+tables+` WHERE `+b.text.String(), b.args...)
	return n, err
}

// page reads one row more than the page holds, to know whether there is
// another page, and gives the sort keys of the page's last row.
func (tx *Tx) page(q search.Query, b *builder, columns, from string, scan func(*sql.Rows, []any) error) ([]search.Key, error) {
	sorts := b.sorts(q)
	var head builder
	head.text.WriteString(`SELECT ` + columns)
	order := ` ORDER BY `
	for i, s := range sorts {
		head.text.WriteString(`, ` + s.text)
		head.args = append(head.args, s.args...)
		if i > 0 {
			order += `, `
		}
		order += fmt.Sprintf("%d", columnCount(columns)+i+1) + s.direction()
	}
	b.after(sorts, q.After)
	query := head.text.String() + ` FROM ` + from + ` WHERE ` + b.text.String() + order + ` LIMIT ?`
	args := append(append(head.args, b.args...), q.Count+1)

	var last, current []search.Key
	n := 0
	err := tx.each(func(rows *sql.Rows) error {
		current = make([]search.Key, len(sorts))
		dest := make([]any, len(sorts))
		for i, s := range sorts {
			dest[i] = s.dest(&current[i])
		}
		if n++; n <= q.Count {
			last = current
		}
		return scan(rows, dest)
	}, query, args...)
	return last, err
}

package store

import "example.org/countback/services/countback/internal/search"

// hops is a clause about resources at the other end of a reference. The other
// resource is r (and c) inside its own subquery, whatever is r outside.
func (b *builder) hops(typ string, c search.Clause) {
	b.add(`(`)
	for i, h := range c.Hops {
		if i > 0 {
			b.add(` OR `)
		}
		if h.Back {
			b.back(typ, c.Param, h)
		} else {
			b.forth(typ, c, h)
		}
	}
	b.add(`)`)
}

// inside writes a subquery for what, of the current resources of a type for
// which a clause holds.
func (b *builder) inside(what, join, typ string, inner search.Clause, args ...any) {
	o := builderOf(typ)
	from := `resource r`
	where := `r.type = ? AND r.deleted = 0 AND `
	if typ == "Task" {
		from, where = itemTables, ``
	} else {
		args = append(args, typ)
	}
	o.add(`SELECT `+what+` FROM `+from+join+` WHERE `+where, args...)
	o.clause(typ, inner)
	b.add(`(`+o.text.String()+`)`, o.args...)
}

// forth is a chain: what we refer to fulfils the clause.
func (b *builder) forth(typ string, c search.Clause, h search.Hop) {
	switch col := b.columns[c.Param.Column]; {
	case c.Param.Column == search.ColumnActivity:
		b.add(`r.id IN `)
		b.inside(`c.id`, ``, h.Type, h.Inner)
	case c.Param.Column != search.ColumnNone:
		b.add(col.value + ` IN `)
		b.inside(`'`+h.Type+`/' || `+builderOf(h.Type).id, ``, h.Type, h.Inner)
	default:
		b.add(`r.seq IN (SELECT s.resource FROM search_value s WHERE s.param = ? AND s.low IS NULL AND s.system = ? AND s.value IN `,
			rowName(typ, c.Rows), h.Type)
		b.inside(builderOf(h.Type).id, ``, h.Type, h.Inner)
		b.add(`)`)
	}
}

// back is _has: something that refers to us fulfils the clause.
func (b *builder) back(typ string, p search.Param, h search.Hop) {
	other := builderOf(h.Type)
	switch {
	case p.Column == search.ColumnActivity:
		b.add(`c.id IN `)
		b.inside(`r.id`, ``, h.Type, h.Inner)
	case p.Column != search.ColumnNone:
		b.add(`'` + typ + `/' || ` + b.id + ` IN `)
		b.inside(other.columns[p.Column].value, ``, h.Type, h.Inner)
	default:
		b.add(b.id + ` IN `)
		b.inside(`s.value`, ` JOIN search_value s ON s.resource = r.seq AND s.param = ? AND s.low IS NULL AND s.system = ?`,
			h.Type, h.Inner, rowName(h.Type, p.Rows()), typ)
	}
}

// activity is CarePlan.activity.reference: a plan has the id of its case, and
// all of the case's items are its activities.
func (b *builder) activity(c search.Clause) {
	if c.Modifier == search.Missing {
		b.add(`(EXISTS (`+activities+`) = ?)`, !c.Want)
		return
	}
	b.any(c, func(m search.Match) {
		caseID, n, ok := taskOf(m)
		if !ok {
			b.add(`0`)
			return
		}
		b.add(`(r.id = ? AND EXISTS (`+activities+` AND i.n = ?))`, caseID, n)
	})
}

const activities = `SELECT 1 FROM care_case k JOIN item i ON i.care_case = k.seq WHERE k.id = r.id`

// taskOf is the item that a reference means, if it means one.
func taskOf(m search.Match) (caseID string, n int, ok bool) {
	if m.HasSystem && m.System != "Task" {
		return "", 0, false
	}
	return splitTaskID(m.Value)
}

// moment is a reference to a Task that is held as one to its case: what refers
// to it was written at the moment of one of its versions.
func (b *builder) moment(m search.Match) {
	caseID, n, ok := taskOf(m)
	if !ok {
		b.add(`(system <> 'Task' AND `)
		b.equal(m)
		b.add(`)`)
		return
	}
	b.add(`(system = 'Task' AND value = ? AND (SELECT o.updated FROM resource o WHERE o.seq = search_value.resource) IN (
		SELECT i.updated FROM item i JOIN care_case k ON k.seq = i.care_case WHERE k.id = ? AND i.n = ?
		UNION ALL SELECT i.updated FROM item_version i JOIN care_case k ON k.seq = i.care_case WHERE k.id = ? AND i.n = ?))`,
		caseID, caseID, n, caseID, n)
}

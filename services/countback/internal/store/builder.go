package store

import (
	"math"
	"slices"
	"strings"

	"example.org/countback/services/countback/internal/search"
)

// builder collects SQL and its arguments. The text is made of constants only;
// everything that was asked for is an argument.
type builder struct {
	text    strings.Builder
	args    []any
	columns map[search.Column]column
	id      string // of the rows' resource
}

// column is how a parameter that is a column is written in SQL.
type column struct {
	value string // of a token or a reference
	low   string // of a date
	high  string // of a date; empty when the date is a point: low + 1
}

var resourceColumns = map[search.Column]column{
	search.ColumnID:      {value: `r.id`},
	search.ColumnUpdated: {low: `r.updated`},
	search.ColumnPatient: {value: `r.patient`},
}

// taskID is [Item.TaskID] in SQL.
const taskID = `printf('%s.%04d', c.id, r.n)`

var taskColumns = map[search.Column]column{
	search.ColumnID:         {value: taskID},
	search.ColumnIdentifier: {value: taskID},
	search.ColumnUpdated:    {low: `r.updated`},
	search.ColumnPatient:    {value: `c.patient`},
	search.ColumnCase:       {value: `c.id`},
	search.ColumnStep:       {value: `r.step`},
	search.ColumnStatus:     {value: `r.status`},
	search.ColumnState:      {value: `r.state`},
	search.ColumnOwner:      {value: `r.owner`},
	search.ColumnDue:        {low: `r.due_from`, high: `r.due_to`},
	search.ColumnOpens:      {low: `r.opens_from`, high: `r.opens_to`},
	search.ColumnIntent:     {value: `'order'`}, // as every Task is rendered
	search.ColumnAuthored:   {low: `r.created`},
	search.ColumnFocus:      {value: `coalesce((SELECT text FROM name WHERE id = r.focus), '')`},
	search.ColumnBasedOn:    {value: `coalesce((SELECT text FROM name WHERE id = r.based_on), '')`},
}

// builderOf is for searches of a type, whose rows are r, and c where these are
// items.
func builderOf(typ string) *builder {
	if typ == "Task" {
		return &builder{columns: taskColumns, id: taskID}
	}
	return &builder{columns: resourceColumns, id: `r.id`}
}

func (b *builder) add(text string, args ...any) {
	b.text.WriteString(text)
	b.args = append(b.args, args...)
}

func (b *builder) clauses(q search.Query) {
	for _, c := range q.Clauses {
		b.add(` AND `)
		b.clause(q.Type, c)
	}
}

func (b *builder) clause(typ string, c search.Clause) {
	switch {
	case c.Hops != nil:
		b.hops(typ, c)
	case c.Pairs != nil:
		b.pairs(typ, c)
	case c.Param.Column == search.ColumnActivity:
		b.activity(c)
	case c.Param.Column != search.ColumnNone:
		b.column(c)
	default:
		b.rows(typ, c)
	}
}

// column is a clause over a column.
func (b *builder) column(c search.Clause) {
	col := b.columns[c.Param.Column]
	missing := col.value + ` = ''`
	if c.Param.Kind == search.Date {
		missing = col.low + ` IS NULL`
	}
	switch {
	case c.Modifier == search.Missing && c.Want:
		b.add(`(` + missing + `)`)
		return
	case c.Modifier == search.Missing:
		b.add(`NOT (` + missing + `)`)
		return
	case c.Modifier == search.Not:
		b.add(`NOT `)
	}
	b.any(c, func(m search.Match) {
		switch c.Param.Kind {
		case search.Date:
			b.date(m, col)
		case search.Reference:
			b.referenceColumn(c.Param, m, col)
		default:
			b.tokenColumn(c.Param, m, col)
		}
	})
	if c.Param.Column == search.ColumnStatus && c.Modifier == search.Plain && !asksForDrafts(c) {
		b.add(` AND r.status <> 'draft'`) // always true here; it lets item_by_due serve
	}
}

func asksForDrafts(c search.Clause) bool {
	return slices.ContainsFunc(c.Matches, func(m search.Match) bool { return !m.HasValue || m.Value == "draft" })
}

// any joins the alternatives of a clause.
func (b *builder) any(c search.Clause, one func(search.Match)) {
	b.add(`(`)
	for i, m := range c.Matches {
		if i > 0 {
			b.add(` OR `)
		}
		one(m)
	}
	b.add(`)`)
}

// tokenColumn: all codes of a column have the one system of the parameter.
func (b *builder) tokenColumn(p search.Param, m search.Match, col column) {
	switch {
	case m.HasSystem && m.System != p.System:
		b.add(`0`)
	case m.HasValue && col.value == taskID:
		// Taken apart, so that an index serves it.
		caseID, n, _ := splitTaskID(m.Value)
		b.add(`(c.id = ? AND r.n = ?)`, caseID, n)
	case m.HasValue:
		b.add(col.value+` = ?`, m.Value)
	default:
		b.add(col.value + ` <> ''`)
	}
}

// referenceColumn: the column may hold Type/id or the id alone.
func (b *builder) referenceColumn(p search.Param, m search.Match, col column) {
	if m.HasSystem {
		if m.System == "" { // an absolute reference
			b.add(col.value+` = ?`, m.Value)
			return
		}
		b.add(col.value+` IN (?`, m.System+"/"+m.Value)
		if len(p.Targets) == 1 && p.Targets[0] == m.System {
			b.add(`, ?`, m.Value)
		}
		b.add(`)`)
		return
	}
	b.add(col.value+` IN (?`, m.Value)
	for _, target := range p.Targets {
		b.add(`, ?`, target+"/"+m.Value)
	}
	b.add(`)`)
}

// rows is a clause over index rows.
func (b *builder) rows(typ string, c search.Clause) {
	negate := c.Modifier == search.Not || c.Modifier == search.Missing && c.Want
	b.add(`r.seq `)
	if negate {
		b.add(`NOT `)
	}
	b.add(`IN (SELECT resource FROM search_value WHERE `)
	ranged := c.Param.Kind.Ranged()
	if c.Modifier == search.Missing && c.Param.Kind == search.Reference && c.Param.Only() == "" {
		b.add(`param IN (?, ?)`, rowName(typ, c.Rows), rowName(typ, c.Rows+":identifier"))
	} else {
		b.add(`param = ?`, rowName(typ, c.Rows))
	}
	if ranged {
		b.add(` AND low IS NOT NULL`)
	} else {
		b.add(` AND low IS NULL`)
	}
	if only := c.Param.Only(); only != "" {
		b.add(` AND system = ?`, only)
	}
	if c.Modifier != search.Missing {
		b.values(c)
		b.add(` AND `)
		b.any(c, func(m search.Match) {
			switch {
			case ranged:
				b.add(`(`)
				b.date(m, column{low: `low`, high: `high`})
				b.add(`)`)
				b.unit(m)
			case c.Param.Kind == search.String:
				b.str(c.Modifier, m)
			case c.Param.ByMoment():
				b.moment(m)
			default:
				b.equal(m)
			}
		})
	}
	b.add(`)`)
}

// unit asks for the unit of a quantity, if one is wanted.
func (b *builder) unit(m search.Match) {
	if m.HasValue {
		b.add(` AND value = ?`, m.Value)
	}
	if m.HasSystem {
		b.add(` AND system = ?`, m.System)
	}
}

// pairs are the alternatives of a composite.
func (b *builder) pairs(typ string, c search.Clause) {
	b.add(`(`)
	for i, both := range c.Pairs {
		if i > 0 {
			b.add(` OR `)
		}
		b.add(`(`)
		for n, one := range both {
			if n > 0 {
				b.add(` AND `)
			}
			b.rows(typ, one)
		}
		b.add(`)`)
	}
	b.add(`)`)
}

// values lists the values of several alternatives, so that the index serves each
// of them: alternatives of other terms would be looked for among all values.
func (b *builder) values(c search.Clause) {
	var values []any
	for _, m := range c.Matches {
		if !m.HasValue || c.Param.Kind.Ranged() || c.Param.Kind == search.String {
			return
		}
		value := m.Value
		if caseID, _, ok := taskOf(m); ok && c.Param.ByMoment() {
			value = caseID
		}
		values = append(values, value)
	}
	if len(values) > 1 {
		b.add(` AND value IN (?`+strings.Repeat(`, ?`, len(values)-1)+`)`, values...)
	}
}

// equal compares a token, a reference, a canonical or a URI.
func (b *builder) equal(m search.Match) {
	switch {
	case m.HasSystem && m.HasValue:
		b.add(`(value = ? AND system = ?)`, m.Value, m.System)
	case m.HasSystem:
		b.add(`system = ?`, m.System)
	default:
		b.add(`value = ?`, m.Value)
	}
}

func (b *builder) str(modifier search.Modifier, m search.Match) {
	switch modifier {
	case search.Exact:
		b.add(`system = ?`, m.Value) // the text as it was written
	case search.Contains:
		b.add(`instr(value, ?) > 0`, m.Value)
	default: // starts with: a range that the index serves
		b.add(`(value >= ? AND value < ?)`, m.Value, m.Value+"\U0010FFFF")
	}
}

// date follows [search.Match.Matches].
func (b *builder) date(m search.Match, col column) {
	contained := func() {
		b.add(`(` + col.low + ` >= ? AND `)
		b.args = append(b.args, m.Low)
		b.highUpTo(col, m.High)
		b.add(`)`)
	}
	switch m.Prefix {
	case search.NotEqual:
		b.add(`NOT `)
		contained()
	case search.Greater:
		b.highPast(col, m.High)
	case search.Less:
		b.add(col.low+` < ?`, m.Low)
	case search.AtLeast:
		b.add(`(`)
		b.highPast(col, m.High)
		b.add(` OR `)
		contained()
		b.add(`)`)
	case search.AtMost:
		b.add(`(`+col.low+` < ? OR `, m.Low)
		contained()
		b.add(`)`)
	case search.StartsPast:
		b.add(col.low+` >= ?`, m.High)
	case search.EndsBefore:
		b.highUpTo(col, m.Low)
	case search.Near:
		b.add(`(`+col.low+` < ? AND `, m.High)
		b.highPast(col, m.Low)
		b.add(`)`)
	default:
		contained()
	}
}

// highPast is high > v, and highUpTo is high <= v. A point ends a microsecond
// after it begins; written for low, its index can serve it.
func (b *builder) highPast(col column, v int64) {
	if col.high == "" {
		b.add(col.low+` >= ?`, v)
		return
	}
	b.add(col.high+` > ?`, v)
}

func (b *builder) highUpTo(col column, v int64) {
	if col.high == "" {
		b.add(col.low+` < ?`, v)
		return
	}
	b.add(col.high+` <= ?`, v)
}

// sortKey is one sort key in SQL.
type sortKey struct {
	text string
	args []any
	desc bool
	date bool
}

// behind sorts after every text that a resource holds.
const behind = "\U0010FFFF"

func (s sortKey) direction() string {
	if s.desc {
		return ` DESC`
	}
	return ``
}

func (s sortKey) dest(k *search.Key) any {
	if s.date {
		return &k.At
	}
	return &k.Text
}

// sorts writes the sort keys. A row without a value comes last; of several
// values the first counts upwards and the last downwards.
func (b *builder) sorts(q search.Query) []sortKey {
	out := make([]sortKey, len(q.Sort))
	for i, o := range q.Sort {
		s := sortKey{desc: o.Desc, date: o.Param.Kind == search.Date}
		col := b.columns[o.Param.Column]
		pick, last := `min`, int64(math.MaxInt64)
		if o.Desc {
			pick, last = `max`, math.MinInt64
		}
		none := behind
		if o.Desc {
			none = ""
		}
		switch {
		case !s.date && o.Param.Column != search.ColumnNone:
			s.text = col.value
		case !s.date:
			s.text = `coalesce((SELECT ` + pick + `(value) FROM search_value s
				WHERE s.resource = r.seq AND s.param = ? AND s.low IS NULL), ?)`
			s.args = []any{rowName(q.Type, o.Param.Rows()), none}
		case o.Param.Column == search.ColumnUpdated:
			s.text = col.low
		case o.Param.Column != search.ColumnNone:
			s.text, s.args = `coalesce(`+col.low+`, ?)`, []any{last}
		default:
			s.text = `coalesce((SELECT ` + pick + `(low) FROM search_value s
				WHERE s.resource = r.seq AND s.param = ? AND s.low IS NOT NULL), ?)`
			s.args = []any{rowName(q.Type, o.Param.Rows()), last}
		}
		out[i] = s
	}
	return out
}

// after keeps the rows behind the last one of the page before.
func (b *builder) after(sorts []sortKey, keys []search.Key) {
	if keys == nil {
		return
	}
	b.add(` AND `)
	closing := 0
	for i, s := range sorts {
		var key any = keys[i].Text
		if s.date {
			key = keys[i].At
		}
		than := ` > ?`
		if s.desc {
			than = ` < ?`
		}
		if i == len(sorts)-1 {
			b.add(s.text, s.args...)
			b.add(than, key)
			break
		}
		// k >= v AND (k > v OR k = v AND …): the first part lets an index serve it.
		b.add(`(`)
		b.add(s.text, s.args...)
		b.add(strings.Replace(than, ` ?`, `= ?`, 1), key)
		b.add(` AND (`)
		b.add(s.text, s.args...)
		b.add(than, key)
		b.add(` OR `)
		closing += 2
	}
	b.add(strings.Repeat(`)`, closing))
}

func columnCount(list string) int { return strings.Count(list, `,`) + 1 }

package store

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/countback/services/countback/internal/search"
)

var itemSearches = []struct{ name, query, want string }{
	{"all", "", "a b c d"},
	{"owner elsewhere", "owner=https://other.example/fhir/Practitioner/1", "d"},
	{"id", "_id=case-p.0002", "b"},
	{"id of no item", "_id=case-p.0009,case-p.2,b", ""},
	{"not an id", "_id:not=case-p.0002", "a c d"},
	{"identifier", "identifier=" + search.SystemTask + "|case-p.0002", "b"},
	{"identifier of another system", "identifier=urn:x|case-p.0002", ""},
	{"identifier of any kind", "identifier=" + search.SystemTask + "|", "a b c d"},
	{"group", "group-identifier=" + search.SystemCase + "|case-p", "a b"},
	{"step", "code=" + search.SystemStep + "|labs", "b c"},
	{"step in short", "code=labs", "b c"},
	{"step without a system", "code=|labs", ""},
	{"status", "status=requested", "a b"},
	{"drafts", "status=draft", "c"},
	{"drafts and others", "status=draft,completed", "c d"},
	{"any status of the system", "status=" + search.SystemTaskStatus + "|", "a b c d"},
	{"not a status", "status:not=requested,draft", "d"},
	{"state", "business-status=late,done", "b d"},
	{"patient", "patient=p", "a b"},
	{"patient with type, stored by id", "patient=Patient/p", "a b"},
	{"patient stored with type", "patient=Patient/q", "c d"},
	{"patient of another type", "patient=Group/p", ""},
	{"foreign patient", "patient=https://other.example/Patient/p", ""},
	{"owner by id", "owner=1", "a b"},
	{"owner by type and id", "owner=Practitioner/1", "a"},
	{"owner by modifier", "owner:Organization=1", "b"},
	{"owner by id alone does not fit others", "owner=2", ""},
	{"nobody's", "owner:missing=true", "c"},
	{"somebody's", "owner:missing=false", "a b d"},
	{"due on a day", "due=2026-11-03", "a"},
	{"due by a day", "due=le2026-11-05", "a b"},
	{"due after a day", "due=gt2026-11-05", "c"},
	{"without a due point", "due:missing=true", "d"},
	{"opens", "opens=2026-11-03", "b"},
	{"worklist", "status=requested&due=le2026-11-04", "a"},
	{"sorted", "_sort=-due", "c b a d"},
	{"sorted up", "_sort=due", "a b c d"},
	{"sorted by id", "_sort=-_id", "d c b a"},
	{"updated", "_lastUpdated=2026-11-02", "a b c d"},
}

func TestSearchItems(t *testing.T) {
	db := open(t)
	day := func(n int) time.Time { return time.Date(2026, 11, n, 0, 0, 0, 0, chicago(t)) }
	names := map[string]string{}
	add := func(name, caseID string, n int, step, status, state, owner, patient string, due int) {
		i := Item{CaseID: caseID, N: n, Step: step, Version: 1, Status: status, State: state, Owner: owner}
		names[i.TaskID()] = name
		if due > 0 {
			i.OpensFrom, i.OpensTo = day(due-2), day(due-1)
			i.DueFrom, i.DueTo = day(due), day(due+1)
		}
		write(t, db, func(tx *Tx) error { return tx.SaveCase(Case{ID: caseID, Patient: patient}) })
		write(t, db, func(tx *Tx) error { return tx.SaveItems([]Item{i}) })
	}
	add("a", "case-p", 1, "shower", "requested", "due", "Practitioner/1", "p", 3)
	add("b", "case-p", 2, "labs", "requested", "late", "Organization/1", "p", 5)
	add("c", "case-pq", 1, "labs", "draft", "upcoming", "", "Patient/q", 7)
	add("d", "case-q", 1, "ride", "completed", "done", "https://other.example/fhir/Practitioner/1", "q", 0)
	for _, tt := range itemSearches {
		t.Run(tt.name, func(t *testing.T) {
			read(t, db, func(tx *Tx) error {
				page, err := tx.SearchItems(query(t, "Task", tt.query))
				var got []string
				for _, i := range page.Items {
					got = append(got, names[i.TaskID()])
				}
				require.Equal(t, tt.want, strings.Join(got, " "))
				require.Equal(t, len(got), page.Total)
				return err
			})
		})
	}
	read(t, db, func(tx *Tx) error {
		page, err := tx.SearchItems(query(t, "Task", "_count=0"))
		require.Equal(t, ItemPage{Total: 4}, page)
		_, wrong := tx.SearchItems(query(t, "Procedure", ""))
		require.Error(t, wrong)
		return err
	})
}

// pager is a client that goes from page to page while others change rows.
type pager struct {
	t      *rapid.T
	db     *DB
	group  string
	items  map[string]Item
	steady map[string]bool // there all along, unchanged
	seen   map[string]int
}

func (p *pager) save(i Item) {
	require.NoError(p.t, p.db.Write(never, func(tx *Tx) error { return tx.SaveItems([]Item{i}) }))
	p.items[i.TaskID()] = i
}

func (p *pager) add() {
	p.save(Item{CaseID: p.group, N: len(p.items) + 1, Version: 1, Status: "requested",
		Updated: start.Add(time.Duration(rapid.IntRange(0, 5).Draw(p.t, "updated")) * time.Microsecond), DueFrom: p.day()})
}

func (p *pager) day() time.Time { return start.AddDate(0, 0, rapid.IntRange(0, 4).Draw(p.t, "due")) }

// disturb adds an item or changes one in its status and its sort keys.
func (p *pager) disturb() {
	if rapid.Bool().Draw(p.t, "add") {
		p.add()
		return
	}
	ids := slices.Sorted(maps.Keys(p.items))
	i := p.items[rapid.SampledFrom(ids).Draw(p.t, "which")]
	delete(p.steady, i.TaskID())
	i.Version++
	i.DueFrom = p.day()
	i.Status = rapid.SampledFrom([]string{"requested", "completed"}).Draw(p.t, "status")
	p.save(i)
}

// page reads a page and gives the link of the next.
func (p *pager) page(q search.Query) string {
	var page ItemPage
	require.NoError(p.t, p.db.Read(never, func(tx *Tx) (err error) {
		page, err = tx.SearchItems(q)
		return err
	}))
	for _, i := range page.Items {
		p.seen[i.TaskID()]++
	}
	if page.Next == "" {
		return ""
	}
	return q.NextLink(page.Next)
}

// What is there all along and keeps its sort keys is seen exactly once.
func TestPagingSeesEachOnce(outer *testing.T) {
	db := open(outer)
	rapid.Check(outer, func(t *rapid.T) {
		p := pager{t: t, db: db, group: rapid.StringMatching(`[a-z]{12}`).Draw(t, "case"),
			items: map[string]Item{}, steady: map[string]bool{}, seen: map[string]int{}}
		require.NoError(t, db.Write(never, func(tx *Tx) error { return tx.SaveCase(Case{ID: p.group}) }))
		for range rapid.IntRange(1, 30).Draw(t, "items") {
			p.add()
		}
		for id := range p.items {
			p.steady[id] = true
		}
		link := fmt.Sprintf("group-identifier=%s&status=requested&_count=%d&_sort=%s", p.group, rapid.IntRange(1, 7).Draw(t, "size"),
			rapid.SampledFrom([]string{"due", "-due", "_id", "-_id", "_lastUpdated", "-_lastUpdated,-due", "due,-_id"}).Draw(t, "sort"))
		for link != "" {
			link = p.page(query(outer, "Task", link))
			for range rapid.IntRange(0, 3).Draw(t, "changes") {
				p.disturb()
			}
		}
		for id := range p.steady {
			require.Equal(t, 1, p.seen[id], "an item that did not change")
		}
	})
}

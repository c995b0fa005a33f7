package store

import (
	"fmt"
	"sort"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/countback/services/countback/internal/search"
)

func TestSearchItems(t *testing.T) {
	db := open(t)
	day := func(n int) time.Time { return time.Date(2026, 11, n, 0, 0, 0, 0, chicago(t)) }
	add := func(id, step, status, state, owner, patient string, due int) {
		i := Item{TaskID: id, CaseID: "case-" + patient, Patient: patient, Step: step, Version: 1, Status: status, State: state, Owner: owner}
		if due > 0 {
			i.OpensFrom, i.OpensTo = day(due-2), day(due-1)
			i.DueFrom, i.DueTo = day(due), day(due+1)
		}
		write(t, db, func(tx *Tx) error { return tx.SaveItems([]Item{i}) })
	}
	add("a", "shower", "requested", "due", "Practitioner/1", "p", 3)
	add("b", "labs", "requested", "late", "Organization/1", "p", 5)
	add("c", "labs", "draft", "upcoming", "", "Patient/q", 7)
	add("d", "ride", "completed", "done", "RelatedPerson/9", "q", 0)
	tests := []struct{ name, query, want string }{
		{"all", "", "a b c d"},
		{"id", "_id=b", "b"},
		{"identifier", "identifier=" + search.SystemTask + "|b", "b"},
		{"identifier of another system", "identifier=urn:x|b", ""},
		{"identifier of any kind", "identifier=" + search.SystemTask + "|", "a b c d"},
		{"group", "group-identifier=" + search.SystemCase + "|case-p", "a b"},
		{"step", "code=" + search.SystemStep + "|labs", "b c"},
		{"step in short", "code=labs", "b c"},
		{"step without a system", "code=|labs", ""},
		{"status", "status=requested", "a b"},
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
		{"updated", "_lastUpdated=2026-11-02", "a b c d"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			read(t, db, func(tx *Tx) error {
				page, err := tx.SearchItems(query(t, "Task", tt.query))
				var got []string
				for _, i := range page.Items {
					got = append(got, i.TaskID)
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

// While a client goes from page to page others are changed, added and closed;
// what is there all along and keeps its sort key is seen exactly once.
func TestPagingSeesEachOnce(outer *testing.T) {
	db := open(outer)
	rapid.Check(outer, func(t *rapid.T) {
		n := rapid.IntRange(1, 30).Draw(t, "items")
		group := rapid.StringMatching(`[a-z]{12}`).Draw(t, "case")
		items := map[string]Item{}
		save := func(i Item) {
			require.NoError(t, db.Write(never, func(tx *Tx) error { return tx.SaveItems([]Item{i}) }))
			items[i.TaskID] = i
		}
		fresh := func() Item {
			return Item{TaskID: db.ids.next(start) + group, CaseID: group, Version: 1, Status: "requested",
				Updated: start.Add(time.Duration(rapid.IntRange(0, 5).Draw(t, "updated"))),
				DueFrom: start.AddDate(0, 0, rapid.IntRange(0, 4).Draw(t, "due"))}
		}
		for range n {
			save(fresh())
		}
		steady := map[string]bool{}
		for id := range items {
			steady[id] = true
		}
		seen := map[string]int{}
		link := fmt.Sprintf("group-identifier=%s&status=requested&_count=%d&_sort=%s", group, rapid.IntRange(1, 7).Draw(t, "size"),
			rapid.SampledFrom([]string{"due", "-due", "_id", "-_id", "_lastUpdated", "-_lastUpdated,-due", "due,-_id"}).Draw(t, "sort"))
		for link != "" {
			q := query(outer, "Task", link)
			var page ItemPage
			require.NoError(t, db.Read(never, func(tx *Tx) (err error) {
				page, err = tx.SearchItems(q)
				return err
			}))
			for _, i := range page.Items {
				seen[i.TaskID]++
			}
			link = ""
			if page.Next != "" {
				link = q.NextLink(page.Next)
			}
			ids := make([]string, 0, len(items))
			for id := range items {
				ids = append(ids, id)
			}
			sort.Strings(ids)
			for range rapid.IntRange(0, 3).Draw(t, "changes") {
				if rapid.Bool().Draw(t, "add") {
					save(fresh())
					continue
				}
				i := items[rapid.SampledFrom(ids).Draw(t, "which")]
				delete(steady, i.TaskID)
				i.Version++
				i.DueFrom = start.AddDate(0, 0, rapid.IntRange(0, 4).Draw(t, "new due"))
				i.Status = rapid.SampledFrom([]string{"requested", "completed"}).Draw(t, "status")
				save(i)
			}
		}
		for id := range steady {
			require.Equal(t, 1, seen[id], "an item that did not change")
		}
	})
}

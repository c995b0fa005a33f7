package casework

import (
	"context"
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/store"
)

// TestCasesByPage walks the list of cases forward page by page, and back again:
// every case stands on one page, and each page back is the page that was left.
func TestCasesByPage(t *testing.T) {
	h := newHouse(t)
	for n := range 9 { // four days, so that days go over the ends of pages
		who := fmt.Sprint(n)
		h.store(appointment(who, h.newPatient(who), fmt.Sprintf("2027-01-%d", 11+n%4)))
	}
	page := func(q CaseQuery) *CasePage {
		got, err := h.office.Cases(context.Background(), q)
		require.NoError(t, err)
		require.EqualValues(t, 9, got.Total)
		return got
	}
	ids := func(p *CasePage) (out []string) {
		for _, l := range p.Cases {
			out = append(out, l.Surgery.Day.String()+" "+l.ID)
		}
		return out
	}
	for _, size := range []int{1, 2, 3, 4, 9, 20} {
		var there []*CasePage
		for q := (CaseQuery{Limit: size}); ; q.After = there[len(there)-1].Next {
			there = append(there, page(q))
			if there[len(there)-1].Next == (store.CasePlace{}) {
				break
			}
		}
		require.Len(t, there, (9+size-1)/size)
		var all []string
		for _, p := range there {
			all = append(all, ids(p)...)
		}
		require.Len(t, all, 9)
		require.True(t, slices.IsSorted(all))
		require.Equal(t, 9, len(slices.Compact(slices.Clone(all))), "no case twice")
		require.Zero(t, there[0].Prev)
		for n := len(there) - 1; n > 0; n-- {
			require.NotZero(t, there[n].Prev)
			back := page(CaseQuery{Limit: size, Before: there[n].Prev})
			require.Equal(t, ids(there[n-1]), ids(back), "page %d of %d", n, size)
			require.NotZero(t, back.Next)
			require.Equal(t, n-1 > 0, back.Prev != store.CasePlace{})
			require.Equal(t, ids(there[n]), ids(page(CaseQuery{Limit: size, After: back.Next})))
		}
	}
}

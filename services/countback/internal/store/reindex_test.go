package store

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/search"
)

// TestReindex: what was stored under another table of parameters is found by the
// new one after a start, and a failure on the way is made good by the next.
func TestReindex(t *testing.T) {
	db := open(t)
	const n = reindexAtOnce + 3
	require.NoError(t, db.Write(t.Context(), func(tx *Tx) error {
		for range n {
			s := Stored{Type: "Patient", ID: tx.NewID(), Version: 1, Body: []byte(`{"resourceType":"Patient"}`)}
			if err := tx.Save(s, []search.Value{{Param: "gender", Kind: search.Token, Value: "old"}}); err != nil {
				return err
			}
		}
		return tx.Save(Stored{Type: "Patient", ID: "gone", Version: 1, Deleted: true}, nil)
	}))
	total := func(code string) int {
		var out int
		q, issues := search.Parse("Patient", map[string][]string{"gender": {code}, "_count": {"0"}}, search.Options{})
		require.Empty(t, issues)
		read(t, db, func(tx *Tx) error {
			p, err := tx.Search(q)
			out = p.Total
			return err
		})
		return out
	}
	calls := 0
	index := func(code string, fail int) func(Stored) ([]search.Value, error) {
		return func(s Stored) ([]search.Value, error) {
			if calls++; calls == fail {
				return nil, errors.New("no more")
			}
			require.Equal(t, `{"resourceType":"Patient"}`, string(s.Body))
			return []search.Value{{Param: "gender", Kind: search.Token, Value: code}}, nil
		}
	}
	require.Error(t, db.Reindex(t.Context(), "one", index("new", n)))
	require.Equal(t, reindexAtOnce, total("new"), "whole transactions only")
	require.Equal(t, 3, total("old"))
	calls = 0
	require.NoError(t, db.Reindex(t.Context(), "one", index("new", 0)))
	require.Equal(t, []int{n, n, 0}, []int{calls, total("new"), total("old")})
	require.NoError(t, db.Reindex(t.Context(), "one", index("never", 0)), "once under a mark")
	require.Equal(t, []int{n, n}, []int{calls, total("new")})
	require.NoError(t, db.Reindex(t.Context(), "two", index("newer", 0)))
	require.Equal(t, n, total("newer"))
}

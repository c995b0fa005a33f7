package histories

import (
	"context"
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// stands is the plans of a person as they are stored, in the words of the fold. A
// case without a date is left out: one that was dated before it was postponed is
// held open, and one that was never heard of with a date is none.
func stands(t testing.TB, db *store.DB, person string) string {
	t.Helper()
	var out []string
	require.NoError(t, db.Read(context.Background(), func(tx *store.Tx) error {
		cases, err := tx.CasesOf(person)
		if err != nil {
			return err
		}
		for _, c := range cases {
			var d struct{ Day string }
			if err := json.Unmarshal(c.Data, &d); err != nil {
				return err
			}
			if !c.Open || d.Day == "" {
				continue
			}
			items, err := tx.Items(c.ID)
			if err != nil {
				return err
			}
			var rows []translate.Row
			for _, i := range items {
				r, err := translate.DecodeRow(i.Data)
				if err != nil {
					return err
				}
				r.Step, r.Round, r.State = i.Step, i.Round, readiness.ItemState(i.State)
				rows = append(rows, *r)
			}
			out = append(out, written(c.State, d.Day, rows))
		}
		return nil
	}))
	slices.Sort(out)
	return strings.Join(out, "\n")
}

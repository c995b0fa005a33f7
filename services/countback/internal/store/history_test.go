package store

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TestIndexesServeHistories: a page of a history costs what is on it, however
// much was stored before.
func TestIndexesServeHistories(t *testing.T) {
	db := open(t)
	after := &Moment{Updated: time.Unix(1, 0), Type: "Task", ID: "c.0001", Version: 1}
	for _, q := range []HistoryQuery{
		{Count: 10}, {Count: 10, Since: time.Unix(1, 0)}, {Count: 10, After: after}, {Type: "Task", Count: 10, After: after}, {Type: "Patient", Count: 10, After: after},
	} {
		read(t, db, func(tx *Tx) error {
			for _, head := range heads {
				b, ok := q.items(head.text, head.index)
				require.True(t, ok)
				plan, err := tx.plan(b.text.String(), b.args...)
				require.NoError(t, err)
				require.Regexp(t, "(SCAN|SEARCH) r USING INDEX (item|item_version)_by_updated", plan)
				require.NotContains(t, plan, "TEMP B-TREE FOR ORDER BY")
			}
			b := q.resources()
			plan, err := tx.plan(b.text.String(), b.args...)
			require.Regexp(t, "(SCAN|SEARCH) v USING INDEX resource_version_by_updated", plan)
			require.NotContains(t, plan, "TEMP B-TREE FOR ORDER BY")
			return err
		})
	}
	for _, q := range []HistoryQuery{{Type: "Patient", ID: "p", Count: 10}} {
		read(t, db, func(tx *Tx) error {
			b := q.resources()
			plan, err := tx.plan(b.text.String(), b.args...)
			require.Contains(t, plan, "SEARCH r USING")
			return err
		})
	}
}

package casework

import (
	"encoding/json"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// signer is the owner of the Task with the signature that a question is about;
// nil: it is about none.
func (o *Office) signer(tx *store.Tx, caseID string, r *readiness.Raised) (json.RawMessage, error) {
	if r == nil || r.About == "" {
		return nil, nil
	}
	items, err := tx.Items(caseID)
	if err != nil {
		return nil, err
	}
	for _, it := range items {
		row, err := rowOf(it)
		if err != nil {
			return nil, err
		}
		if e := row.Entry(); row.Repeat == readiness.MedicineOf(r.Key) && e.Outcome == readiness.Done && e.SignedAs(row.Round) == r.About {
			return row.Work.Owner, nil
		}
	}
	return nil, nil
}

// agrees writes what a second person says as an output of the Task, in place of
// what was said before.
func agrees(t map[string]json.RawMessage, agreed bool) error {
	var outputs []any
	if raw := translate.Unsigned(t["output"]); raw != nil {
		if err := json.Unmarshal(raw, &outputs); err != nil {
			return err
		}
	}
	raw, err := json.Marshal(append(outputs, map[string]any{
		"type": codedAs(translate.SystemOutput, translate.OutputAgreed), "valueBoolean": agreed,
	}))
	t["output"] = raw
	return err
}

package casework

import (
	"encoding/json"
	"slices"

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

// unseen are the owners of the Tasks with the signatures that the hold of a key
// rests on, and at which nobody else has looked.
func (o *Office) unseen(tx *store.Tx, item store.Item, p *translate.Protocol, key string) ([]json.RawMessage, error) {
	c, err := tx.Case(item.CaseID)
	if err != nil {
		return nil, err
	}
	var d caseData
	if err := json.Unmarshal(c.Data, &d); err != nil {
		return nil, err
	}
	var medicines []string
	for n := range d.Holds {
		if h := d.Holds[n].Hold(); h.Key == key && h.Open() {
			medicines = append(medicines, h.Unseen()...)
		}
	}
	if len(medicines) == 0 {
		return nil, nil
	}
	items, err := tx.Items(item.CaseID)
	if err != nil {
		return nil, err
	}
	var out []json.RawMessage
	for _, it := range items {
		row, err := rowOf(it)
		if err != nil {
			return nil, err
		}
		s := p.Step(row.Step)
		if s == nil || s.Trigger != readiness.TriggerLateSigned || row.Entry().Look != readiness.NotLooked || !slices.Contains(medicines, readiness.MedicineOf(row.Repeat)) {
			continue
		}
		by, err := o.signer(tx, item.CaseID, row.Item(p, o.facility).Raised)
		if err != nil {
			return nil, err
		}
		if by != nil {
			out = append(out, by)
		}
	}
	return out, nil
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

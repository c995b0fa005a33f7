package casework

import (
	"context"
	"encoding/json"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// Handout is what the patient and the coach of a case are told, as it stands
// now. The error is a *Refusal with ErrNotFound when there is no such case.
func (o *Office) Handout(ctx context.Context, caseID string) (h translate.Handout, err error) {
	err = o.db.Read(ctx, func(tx *store.Tx) error {
		c, err := tx.Case(caseID)
		if err != nil {
			return noCase(err)
		}
		h, err = o.handout(tx, c)
		return err
	})
	return h, err
}

func (o *Office) handout(tx *store.Tx, c store.Case) (h translate.Handout, err error) {
	var d caseData
	if err := json.Unmarshal(c.Data, &d); err != nil {
		return h, err
	}
	p, err := o.protocolOf(tx, c.Protocol)
	if err != nil {
		return h, err
	}
	v := translate.HandoutView{CaseID: c.ID, State: readiness.CaseState(c.State), Sequence: c.Sequence, Changed: c.Updated, Day: d.Day, Unreported: d.Unreported, Facts: d.Facts}
	if err := o.handoutOf(tx, c, p, &v); err != nil {
		return h, err
	}
	items, err := tx.Items(c.ID)
	if err != nil {
		return h, err
	}
	for _, it := range items {
		row, err := rowOf(it)
		if err != nil {
			return h, err
		}
		by, err := o.protocolOf(tx, it.Protocol)
		if err != nil {
			return h, err
		}
		v.Rows = append(v.Rows, translate.HandoutRow{Row: row, TaskID: it.TaskID(), Version: it.Version, Changed: it.Updated, Protocol: by})
	}
	return o.facility.Handout(v, p), nil
}

// handoutOf adds the person, the booking with its medicines, and who is who.
func (o *Office) handoutOf(tx *store.Tx, c store.Case, p *translate.Protocol, v *translate.HandoutView) error {
	records, err := o.records(tx, c.Patient)
	if err != nil {
		return err
	}
	for _, r := range records {
		if r.Type == "Patient" {
			v.Patient = r.Resource
		}
	}
	list, err := o.standings(tx, p, c.Patient, records)
	if err != nil {
		return err
	}
	for n := range list {
		if list[n].c != nil && list[n].c.ID == c.ID {
			v.Booking = &list[n].booking
		}
	}
	v.NameOf = o.professional(tx)
	return nil
}

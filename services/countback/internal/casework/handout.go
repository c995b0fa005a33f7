package casework

import (
	"context"
	"encoding/json"
	"strings"

	"example.org/countback/pkg/fhir"
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

// professional gives the name of a professional by reference; empty: not known.
func (o *Office) professional(tx *store.Tx) func(reference string) string {
	read := func(reference string) (string, *fhir.Resource) {
		ref, err := fhir.ParseRef(reference, o.facility.Base)
		if err != nil || !ref.IsLocal() {
			return "", nil
		}
		typ, id, _ := strings.Cut(ref.Unversioned().String(), "/")
		if typ != "Practitioner" && typ != "PractitionerRole" {
			return "", nil
		}
		s, err := tx.Current(typ, id)
		if err != nil || s.Deleted {
			return "", nil // not held here: a name that nobody can read is none
		}
		r, err := o.parsed.get(s)
		if err != nil {
			return "", nil
		}
		return typ, r
	}
	return func(reference string) string {
		typ, r := read(reference)
		if typ == "PractitionerRole" {
			if name := strings.TrimSpace(r.String("practitioner", "display")); name != "" {
				return name
			}
			_, r = read(r.String("practitioner", "reference"))
		}
		if r == nil || r.String("resourceType") != "Practitioner" {
			return ""
		}
		return translate.SpokenName(r)
	}
}

package casework

import (
	"errors"
	"slices"
	"strings"

	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// noPerson is why a booking opens no case that names nobody who is known here.
const noPerson = "it names no patient who is known here"

// stranger is a booking that names nobody who is known here, or did.
type stranger struct{ name, booking string }

// strange remembers that what is noted of a booking must be looked at again, as
// it stands, or stood, under a name that is nobody's here.
func (r *receipt) strange(s store.Stored) {
	if s.Version > 0 && slices.Contains(booking, s.Type) && !strings.HasPrefix(s.Patient, "Patient/") {
		r.strangers = append(r.strangers, stranger{s.Patient, s.Type + "/" + s.ID})
	}
}

// keepStrangers notes the bookings of this delivery that wait for a person who is
// known here: nothing can be planned for them until then.
func (r *receipt) keepStrangers() error {
	for _, s := range r.strangers {
		if s.name == "" {
			if err := r.office.keepNameless(r.tx, s.booking); err != nil {
				return err
			}
			continue
		}
		list, err := r.office.strangers(r.tx, s.name)
		if err != nil {
			return err
		}
		if err := r.office.keep(r.tx, s.name, list); err != nil {
			return err
		}
	}
	return nil
}

// strangers are the bookings that wait under a name.
func (o *Office) strangers(tx *store.Tx, name string) ([]store.Unplanned, error) {
	records, err := o.records(tx, name)
	if err != nil {
		return nil, err
	}
	p, err := o.inForce(tx)
	if err != nil {
		return nil, err
	}
	kept := keeping{records: records, now: tx.Now}
	for _, b := range translate.Bookings(records, p, o.facility) {
		b.Patient = name
		kept.add(&b, nil, noPerson)
	}
	return kept.list, nil
}

// keepNameless notes a booking that names no patient at all, where it is one of a
// joint replacement.
func (o *Office) keepNameless(tx *store.Tx, ref string) error {
	typ, id, _ := strings.Cut(ref, "/")
	s, err := tx.Current(typ, id)
	if err != nil && !errors.Is(err, store.ErrNotFound) {
		return err
	}
	if err == nil && !s.Deleted && s.Patient == "" {
		r, err := o.parsed.get(s)
		if err != nil {
			return err
		}
		p, err := o.inForce(tx)
		if err != nil {
			return err
		}
		records := []*translate.Record{{Resource: r, Type: s.Type, ID: s.ID, Updated: s.Updated, First: s.Updated}}
		for _, b := range translate.Bookings(records, p, o.facility) {
			if b.Kept == translate.KeptJoint {
				kept := keeping{records: records}
				kept.add(&b, nil, noPerson)
				return tx.SaveUnplanned(kept.list[0])
			}
		}
	}
	return tx.DeleteUnplanned("", ref)
}

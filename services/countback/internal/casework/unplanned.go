package casework

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// noNumber is why a booking opens no case that nobody could tell apart later.
const noNumber = "no identifier to know it by"

// Unplanned is a booking that was kept and has no open case, with the reason.
type Unplanned struct{ Booking, Patient, Reason string }

// Unplanned lists the bookings of people known here that were kept and have no
// open case, by patient.
func (o *Office) Unplanned(ctx context.Context) ([]Unplanned, error) {
	var out []Unplanned
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		list, err := tx.AllUnplanned()
		for _, u := range list {
			if strings.HasPrefix(u.Patient, "Patient/") {
				out = append(out, Unplanned{Booking: u.Booking, Patient: u.Patient, Reason: u.Reason})
			}
		}
		return err
	})
	return out, err
}

// keeping gathers the bookings of one person that have no open case.
type keeping struct {
	records []*translate.Record
	now     time.Time
	list    []store.Unplanned
}

// add notes a booking; was is its case as it stood before, nil for none. It stands
// there since the last of its resources came, or since its case ended.
func (k *keeping) add(b *translate.Booking, was *store.Case, reason string) {
	u := store.Unplanned{Patient: b.Patient, Booking: b.Primary, Reason: reason, Kind: b.Kept, Day: b.Case.Day.String()}
	for _, m := range b.Members {
		for _, r := range k.records {
			if r.Ref() == m && r.Updated.After(u.Since) {
				u.Since = r.Updated
			}
		}
	}
	if was != nil && was.Open || u.Since.IsZero() {
		u.Since = k.now
	}
	k.list = append(k.list, u)
}

// keep writes which bookings of a person have no open case, where that differs.
func (o *Office) keep(tx *store.Tx, patient string, list []store.Unplanned) error {
	changed, gone, err := o.differing(tx, patient, list)
	if err != nil {
		return err
	}
	for _, u := range changed {
		if err := tx.SaveUnplanned(u); err != nil {
			return err
		}
	}
	for _, u := range gone {
		if err := tx.DeleteUnplanned(patient, u.Booking); err != nil {
			return err
		}
	}
	return nil
}

// differing are the bookings of a list that are not noted so, and those that are
// noted and not in it. For the same reason as before, a booking stands there as
// long as it did.
func (o *Office) differing(tx *store.Tx, patient string, list []store.Unplanned) (changed, gone []store.Unplanned, err error) {
	held, err := tx.UnplannedOf(patient)
	if err != nil {
		return nil, nil, err
	}
	for _, u := range list {
		n := slices.IndexFunc(held, func(h store.Unplanned) bool { return h.Booking == u.Booking })
		if n >= 0 && held[n].Reason == u.Reason {
			u.Since = held[n].Since
		}
		if n < 0 || !held[n].Same(u) {
			changed = append(changed, u)
		}
		if n >= 0 {
			held = slices.Delete(held, n, n+1)
		}
	}
	return changed, held, nil
}

// lookThrough notes, of everybody of whom a booking is held, which of them have no
// open case, unless that was done by the protocol in force already: before the
// first time nothing was noted, and another protocol plans for others. What it now
// plans for opens its case, unless its day is past. A person of whom that fails
// keeps nobody else from their turn. The error is one of the store.
func (o *Office) lookThrough(ctx context.Context, out *Caught) error {
	var canonical string
	done := false
	if err := o.db.Read(ctx, func(tx *store.Tx) error {
		f, err := tx.InForce()
		if err != nil {
			return err
		}
		canonical = f.Canonical()
		read, err := tx.UnplannedRead()
		done = read == canonical
		return err
	}); err != nil || done {
		return err
	}
	for after := ""; !done; {
		var some []string
		if err := o.db.Read(ctx, func(tx *store.Tx) (err error) {
			some, err = tx.Patients(after, catchUpBatch, booking...)
			return err
		}); err != nil {
			return err
		}
		for _, patient := range some {
			after = patient
			if err := o.lookAt(ctx, patient); err != nil && ofStore(ctx, err) {
				return err
			} else if err != nil {
				out.Sick = errors.Join(out.Sick, fmt.Errorf("bookings without a case of one person: %w", err))
			}
		}
		done = len(some) < catchUpBatch
	}
	return o.db.Write(ctx, func(tx *store.Tx) error { return tx.SetUnplannedRead(canonical) })
}

// lookAt notes which bookings of a person have no open case, and plans for the
// person where one would open one. Where nothing differs it only reads.
func (o *Office) lookAt(ctx context.Context, patient string) (err error) {
	defer func() {
		if v := recover(); v != nil { // one person must not end the service
			err = fmt.Errorf("panic of type %T\n%s", v, debug.Stack())
		}
	}()
	stands := false
	if err := o.db.Read(ctx, func(tx *store.Tx) error {
		list, opens, err := o.caseless(tx, patient)
		if err != nil {
			return err
		}
		changed, gone, err := o.differing(tx, patient, list)
		stands = !opens && len(changed)+len(gone) == 0
		return err
	}); err != nil || stands {
		return err
	}
	return o.db.Write(ctx, func(tx *store.Tx) error {
		list, opens, err := o.caseless(tx, patient)
		if err != nil {
			return err
		}
		if opens {
			return o.replan(tx, patient, cause{})
		}
		return o.keep(tx, patient, list)
	})
}

// caseless are the bookings of a person that have no open case, as replan notes
// them, and whether one has none yet that would open one.
func (o *Office) caseless(tx *store.Tx, patient string) (list []store.Unplanned, opens bool, err error) {
	if !strings.HasPrefix(patient, "Patient/") {
		list, err = o.strangers(tx, patient)
		return list, false, err
	}
	p, err := o.inForce(tx)
	if err != nil {
		return nil, false, err
	}
	records, err := o.records(tx, patient)
	if err != nil {
		return nil, false, err
	}
	all, err := o.standings(tx, p, patient, records)
	if err != nil {
		return nil, false, err
	}
	kept := keeping{records: records, now: tx.Now}
	for n := range all {
		s := &all[n]
		switch b := &s.booking; {
		case s.c != nil && (s.c.Open || b.Opens):
		case s.c == nil && s.reason == "":
			opens = opens || b.Case.Day >= o.facility.Today(tx.Now)
		case s.c == nil:
			kept.add(b, nil, s.reason)
		default:
			kept.add(b, s.c, b.Reason)
		}
	}
	return kept.list, opens, nil
}

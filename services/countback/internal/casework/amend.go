package casework

import (
	"encoding/json"
	"errors"
	"slices"
	"strings"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/search"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// amend turns a patch into the update that it makes of what is held. If-Match is
// judged first: a patch of another version need not fit this one.
func (r *receipt) amend(_ int, q *Request) error {
	cur, err := r.meant(q)
	switch {
	case err != nil:
		return err
	case cur.Version == 0:
		return Refuse(ErrNotFound, "not-found", q.path(""), "there is no such "+q.Type)
	case cur.Deleted:
		return Refuse(ErrGone, "deleted", q.path(""), "this "+q.Type+" was deleted")
	}
	if err := r.matches(q, cur); err != nil {
		return err
	}
	held, err := r.office.parsed.get(cur)
	if err != nil {
		return err
	}
	if q.Resource, err = patchedOf(q.Patch, held, q.path("")); err != nil {
		return err
	}
	q.ID, q.Query = cur.ID, ""
	return nil
}

// meant finds the resource that a patch or a deletion names, by its id or by a
// condition; Version 0 when there is none.
func (r *receipt) meant(q *Request) (store.Stored, error) {
	id := q.ID
	if q.Query != "" {
		ids, err := r.found(q, q.Query)
		switch {
		case err != nil || len(ids) == 0:
			return store.Stored{Type: q.Type}, err
		case len(ids) > 1:
			return store.Stored{}, q.several()
		}
		id = ids[0]
	}
	cur, err := r.tx.Current(q.Type, id)
	if errors.Is(err, store.ErrNotFound) {
		return store.Stored{Type: q.Type, ID: id}, nil
	}
	return cur, err
}

// patchedOf carries a patch out; at is where its sender finds it.
func patchedOf(p fhir.Amendment, held *fhir.Resource, at string) (*fhir.Resource, error) {
	body, issues := p.Apply(held)
	if len(issues) > 0 {
		for n := range issues {
			issues[n].Expression = at
		}
		return nil, &Refusal{Err: ErrInvalid, Issues: issues}
	}
	out, issues := fhir.Parse(body, 0)
	switch {
	case len(issues) > 0:
		return nil, &Refusal{Err: ErrInvalid, Issues: issues}
	case out.Type != held.Type:
		return nil, Refuse(ErrInvalid, "invariant", at, "a patch cannot make another type of a "+held.Type)
	case out.ID() != held.ID():
		return nil, Refuse(ErrInvalid, "invariant", at, "a patch cannot change "+held.Type+".id")
	}
	return out, nil
}

// erasure is what became of a deletion, and whose plans it may change.
type erasure struct {
	result Result
	people []string
}

// erase deletes what a request names, before anything else of its message is
// done. What is not there, or was deleted before, is deleted already.
func (r *receipt) erase(n int, q *Request) error {
	cur, err := r.meant(q)
	if err != nil {
		return err
	}
	r.targets[n] = target{current: cur, matched: true}
	if err := r.matches(q, cur); err != nil {
		return err
	}
	if cur.ID != "" {
		name := cur.Type + "/" + cur.ID
		if _, twice := r.claimed[name]; twice {
			return q.duplicate()
		}
		r.claimed[name] = n
	}
	if cur.Version == 0 || cur.Deleted {
		r.erased[n] = erasure{result: Result{Stored: cur, Deleted: true}}
		return nil
	}
	next := store.Stored{
		Type: cur.Type, ID: cur.ID, Version: cur.Version + 1, Updated: r.tx.Now, Deleted: true,
		Patient: cur.Patient, ReceivedID: r.received,
	}
	names, err := r.known(cur)
	if err != nil {
		return err
	}
	if err := r.tx.Save(next, names); err != nil {
		return err
	}
	r.sources = append(r.sources, versioned(next))
	r.strange(next)
	done := erasure{result: Result{Stored: next, Changed: true, Deleted: true}}
	if slices.Contains(planned, cur.Type) && strings.HasPrefix(cur.Patient, "Patient/") {
		done.people = []string{cur.Patient}
	}
	r.erased[n] = done
	return nil
}

// known are the identifiers by which what was deleted can still be recognised.
func (r *receipt) known(cur store.Stored) ([]search.Value, error) {
	res, err := r.office.parsed.get(cur)
	if err != nil {
		return nil, err
	}
	all := search.Index(res, r.office.facility.Base, r.office.facility.Calendar.Zone())
	return slices.DeleteFunc(all, func(v search.Value) bool { return v.Param != "identifier" }), nil
}

// buried finds what had one of the identifiers and was deleted. Sent again it is
// the same resource again, with its history; and a message from before the
// deletion, by its source's own order, does not bring it back. Version 0 when
// there is none, or this very message deletes it.
func (r *receipt) buried(typ string, ids ...fhir.Identifier) (store.Stored, error) {
	for _, id := range ids {
		found, err := r.tx.DeletedByIdentifier(typ, id.System, id.Value)
		if err != nil {
			return store.Stored{}, err
		}
		for _, one := range found {
			if _, claimed := r.claimed[typ+"/"+one]; !claimed {
				return r.tx.Current(typ, one)
			}
		}
	}
	return store.Stored{}, nil
}

// unneeded refuses the deletion of a person of whom something is still held:
// without the person it would be about nobody.
func (r *receipt) unneeded(n int, q *Request) error {
	gone := r.erased[n].result
	if q.Type != "Patient" || !gone.Changed {
		return nil
	}
	held, err := r.tx.OfPatient("Patient/" + gone.Stored.ID)
	if err != nil {
		return err
	}
	cases, err := r.tx.CasesOf("Patient/" + gone.Stored.ID)
	if err == nil && len(held)+len(cases) > 0 {
		err = Refuse(ErrConflict, "conflict", q.path(""), "the Patient cannot be deleted while something about the person is held here")
	}
	return err
}

// withdrawals say that what was deleted was never so: as entered in error, or,
// where R4 asks more of a resource that was, as cancelled.
var withdrawals = []string{"entered-in-error", "cancelled"}

// members are the resources that a person's cases were last made from.
func (o *Office) members(tx *store.Tx, patient string) (map[string]bool, error) {
	cases, err := tx.CasesOf(patient)
	out := map[string]bool{}
	for _, c := range cases {
		out[c.Key] = true
		var d caseData
		if err := json.Unmarshal(c.Data, &d); err != nil {
			return nil, err
		}
		for _, m := range d.Members {
			out[m] = true
		}
	}
	return out, err
}

// withdrawn are the deleted resources of bookings that have a case. A booking
// that vanished would leave a case that nobody ends; so it is read as it stood,
// and as withdrawn.
func (o *Office) withdrawn(tx *store.Tx, patient string) ([]*translate.Record, error) {
	gone, err := tx.DeletedOf(patient, booking...)
	if err != nil {
		return nil, err
	}
	if len(gone) == 0 {
		return nil, nil
	}
	members, err := o.members(tx, patient)
	if err != nil {
		return nil, err
	}
	var out []*translate.Record
	for _, s := range gone {
		if !members[s.Type+"/"+s.ID] {
			continue
		}
		last, issues := fhir.Parse(s.Body, len(s.Body)+1)
		if len(issues) > 0 {
			return nil, issues
		}
		first, err := tx.Version(s.Type, s.ID, 1)
		if err != nil {
			return nil, err
		}
		for _, status := range withdrawals {
			p, issues := fhir.ParseJSONPatch([]byte(`[{"op":"add","path":"/status","value":"`+status+`"}]`), 0)
			if len(issues) > 0 {
				return nil, issues
			}
			if r, err := patchedOf(p, last, s.Type); err == nil {
				out = append(out, &translate.Record{Resource: r, Type: s.Type, ID: s.ID, First: first.Updated, Updated: s.Updated})
				break
			}
		}
	}
	return out, nil
}

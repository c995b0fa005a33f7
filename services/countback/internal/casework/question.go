package casework

import (
	"context"
	"errors"
	"slices"
	"strconv"
	"strings"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// Question asks for a plan that nobody stores.
type Question struct {
	translate.Question
	Canonical               string // of the protocol, where it is not named by its id
	Subject                 string // reference to a Patient held here
	Booking                 string // reference to an Appointment, Procedure or ServiceRequest held here; empty: the only one
	Encounter, Practitioner string // references to what is held here, in whose context it is asked; empty: none
	Inline                  []Inline
	At                      map[string]string // name of a parameter → where it was sent
}

// Inline is a resource that came with a question, about its subject.
type Inline struct {
	At       string // where it was sent
	Resource *fhir.Resource
}

// refuse names a parameter of the question.
func (q *Question) refuse(err error, code, name, text string) *Refusal {
	return Refuse(err, code, q.At[name], name+": "+text)
}

// object is an objection as a refusal; by is the parameter that the booking was
// named by.
func (q *Question) object(o *translate.Objection, by string) error {
	if o == nil {
		return nil
	}
	name, class := o.Name, ErrInvalid
	if name == "" {
		name = by
	}
	if o.Code == fhir.CodeValue {
		class = ErrMalformed
	}
	return q.refuse(class, o.Code, name, o.Text)
}

// Apply gives the plan that the protocol with the id (or the question's
// canonical, for an empty one) leads to for the subject, as a CarePlan. It reads
// one snapshot and stores nothing.
func (o *Office) Apply(ctx context.Context, id string, q Question) ([]byte, error) {
	p := o.Protocol()
	switch url, version := cutCanonical(q.Canonical); {
	case id != "" && id != p.ID:
		return nil, Refuse(ErrNotFound, "not-found", "", "no PlanDefinition with this id is in force")
	case id == "" && (url != p.URL || version != "" && version != p.Version):
		return nil, q.refuse(ErrNotFound, "not-found", "planDefinition", "no PlanDefinition with this canonical url (and version) is in force")
	}
	var out []byte
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		a := asking{office: o, tx: tx, q: &q, p: p}
		var err error
		out, err = a.answer()
		return err
	})
	return out, err
}

// asking is one question within its snapshot.
type asking struct {
	office  *Office
	tx      *store.Tx
	q       *Question
	p       *translate.Protocol
	patient string
	inline  map[string]bool // Type/id of what came with the question
}

func (a *asking) answer() ([]byte, error) {
	o, q := a.office, a.q
	supposed, objection := o.facility.Suppose(q.Question, a.p, a.tx.Now)
	if objection != nil {
		return nil, q.object(objection, "")
	}
	if err := a.context(); err != nil {
		return nil, err
	}
	records, err := o.records(a.tx, a.patient)
	if err != nil {
		return nil, err
	}
	if records, err = a.overlay(records); err != nil {
		return nil, err
	}
	list, err := o.standings(a.tx, a.p, a.patient, records)
	if err != nil {
		return nil, err
	}
	s, by, err := a.choose(list)
	if err != nil {
		return nil, err
	}
	stands, err := s.plan(o, a.tx, a.p)
	if err != nil {
		return nil, err
	}
	was := s.booking.Case
	if err := q.object(o.facility.SupposeOf(&s.booking, supposed, stands, s.c != nil), by); err != nil {
		return nil, err
	}
	if !supposed.Day.IsZero() {
		s.held = false // there is a date now
	}
	c := &s.booking.Case
	view := translate.AppliedView{
		Booking: &s.booking, Encounter: q.Encounter, Practitioner: q.Practitioner, Now: a.tx.Now,
		Plan: s.replan(),
	}
	view.Holds = s.w.held
	if !supposed.Day.IsZero() && !view.Plan.State.Begun() {
		view.Presses = view.Plan.Pressing(c, &was, a.p.Protocol, o.facility.Calendar, a.tx.Now)
	}
	view.Other = o.facility.AskOtherDays(c, view.Plan, a.p, a.tx.Now)
	for _, m := range s.booking.Members {
		if !a.inline[m] {
			view.Held = append(view.Held, m)
		}
	}
	return o.facility.Applied(view, a.p)
}

// context finds the subject and what else the question names; each becomes a
// relative reference.
func (a *asking) context() error {
	q := a.q
	if q.Subject == "" {
		return q.refuse(ErrMalformed, fhir.CodeRequired, "subject", "is missing: Patient/id of a patient held here")
	}
	for _, r := range []struct {
		ref             *string
		name            string
		types           []string
		ofSubject, need bool
	}{
		{&q.Subject, "subject", []string{"Patient"}, false, true},
		{&q.Encounter, "encounter", []string{"Encounter"}, true, false},
		{&q.Practitioner, "practitioner", []string{"Practitioner"}, false, false},
		{&q.Booking, "booking", []string{"Appointment", "Procedure", "ServiceRequest"}, true, false},
	} {
		if *r.ref == "" {
			continue
		}
		held, err := a.held(*r.ref, r.name, r.types)
		if err != nil {
			return err
		}
		*r.ref = held.Type + "/" + held.ID
		if r.need {
			a.patient = *r.ref
		}
		if r.ofSubject && held.Patient != a.patient {
			return q.refuse(ErrInvalid, fhir.CodeBusinessRule, r.name, "is not about the subject")
		}
	}
	return nil
}

// held finds what a parameter refers to.
func (a *asking) held(sent, name string, types []string) (store.Stored, error) {
	ref, err := fhir.ParseRef(sent, a.office.facility.Base)
	if err != nil || !ref.IsLocal() || !slices.Contains(types, ref.Type) {
		return store.Stored{}, a.q.refuse(ErrMalformed, fhir.CodeValue, name, "is not a reference to a resource held here: "+strings.Join(types, ", ")+" and its id")
	}
	s, err := a.tx.Current(ref.Type, ref.ID)
	if errors.Is(err, store.ErrNotFound) || err == nil && s.Deleted {
		return s, a.q.refuse(ErrInvalid, "not-found", name, "no such "+ref.Type+" is held here")
	}
	return s, err
}

// overlay lays what came with the question over what is held, as if it had been
// sent now.
func (a *asking) overlay(records []*translate.Record) ([]*translate.Record, error) {
	a.inline = map[string]bool{}
	for n, in := range a.q.Inline {
		r := in.Resource
		if !slices.Contains(planned, r.Type) {
			return nil, Refuse(ErrInvalid, fhir.CodeNotSupported, in.At,
				"resource: a "+r.Type+" changes no plan: "+strings.Join(planned, ", ")+" do")
		}
		if err := a.about(in); err != nil {
			return nil, err
		}
		rec := &translate.Record{Resource: r, Type: r.Type, ID: r.ID(), First: a.tx.Now, Updated: a.tx.Now}
		if rec.ID == "" {
			rec.ID = "inline-" + strconv.Itoa(n+1)
		}
		sent := identifiers(r)
		held := slices.IndexFunc(records, func(h *translate.Record) bool {
			same := len(sent) > 0 && slices.Equal(identifiers(h.Resource), sent)
			return h.Type == rec.Type && (h.ID == rec.ID || same)
		})
		if held < 0 {
			records = append(records, rec)
		} else {
			rec.ID, rec.First = records[held].ID, records[held].First
			records[held] = rec
		}
		if a.inline[rec.Ref()] {
			return nil, Refuse(ErrInvalid, fhir.CodeDuplicate, in.At, "resource: it means the same "+r.Type+" as another one")
		}
		a.inline[rec.Ref()] = true
	}
	return records, nil
}

// about refuses a resource that names another patient than the subject.
func (a *asking) about(in Inline) error {
	ref, names := a.office.facility.PatientOf(in.Resource)
	for _, name := range names {
		ids, err := a.tx.ByIdentifier("Patient", name.System, name.Value)
		if err != nil {
			return err
		}
		if ref == "" && len(ids) == 1 {
			ref = "Patient/" + ids[0]
		}
	}
	if ref != "" && ref != a.patient {
		return Refuse(ErrInvalid, fhir.CodeBusinessRule, in.At, "resource: it is about another patient than the subject")
	}
	return nil
}

// choose finds the booking that is asked about, and the parameter that names it.
func (a *asking) choose(list []standing) (*standing, string, error) {
	by := "subject"
	var fit []*standing
	brought := slices.ContainsFunc(a.q.Inline, func(in Inline) bool { return slices.Contains(booking, in.Resource.Type) })
	switch {
	case a.q.Booking != "":
		by = "booking"
		if fit = those(list, func(s *standing) bool { return s.booking.Primary == a.q.Booking }); len(fit) == 0 {
			fit = those(list, func(s *standing) bool { return slices.Contains(s.booking.Members, a.q.Booking) })
		}
	case brought:
		by = "resource"
		fit = those(list, func(s *standing) bool {
			return slices.ContainsFunc(s.booking.Members, func(m string) bool { return a.inline[m] })
		})
	}
	if len(fit) != 1 && a.q.Booking == "" {
		if len(fit) == 0 {
			by, fit = "subject", those(list, func(*standing) bool { return true })
		}
		if live := livesOf(fit); len(live) > 0 || len(fit) > 1 {
			fit = live
		}
		if err := a.ahead(&fit); err != nil {
			return nil, by, err
		}
	}
	switch {
	case len(fit) == 1:
		return fit[0], by, nil
	case len(fit) > 1:
		refusal := a.q.refuse(ErrInvalid, fhir.CodeRequired, "booking", "the subject has several bookings; say which Appointment, Procedure or ServiceRequest is meant")
		refusal.Issues[0].Diagnostics = refs(fit)
		return nil, by, refusal
	}
	return nil, by, a.q.refuse(ErrInvalid, fhir.CodeBusinessRule, by, "no booking of an operation that is planned for here is known; send one with the parameter resource")
}

// ahead leaves out of several bookings those whose operation has begun or is
// over, when others remain: a question is rather about what is to come.
func (a *asking) ahead(fit *[]*standing) error {
	if len(*fit) < 2 {
		return nil
	}
	var out []*standing
	for _, s := range *fit {
		pl, err := s.plan(a.office, a.tx, a.p)
		if err != nil {
			return err
		}
		if !pl.State.Begun() {
			out = append(out, s)
		}
	}
	if len(out) > 0 {
		*fit = out
	}
	return nil
}

func those(list []standing, fits func(*standing) bool) []*standing {
	var out []*standing
	for n := range list {
		if fits(&list[n]) {
			out = append(out, &list[n])
		}
	}
	return out
}

func livesOf(list []*standing) []*standing {
	return slices.DeleteFunc(slices.Clone(list), func(s *standing) bool { return !s.live() })
}

func refs(list []*standing) string {
	var out []string
	for _, s := range list {
		out = append(out, s.booking.Primary)
	}
	return strings.Join(out, ", ")
}

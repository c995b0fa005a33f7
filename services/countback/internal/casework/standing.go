package casework

import (
	"context"
	"slices"
	"strings"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// standing is one booking of a person as it stands, read without changing it.
type standing struct {
	booking translate.Booking
	c       *store.Case // nil: it opened none
	reason  string      // why not
	records []*translate.Record
	w       *writing           // of its plan; nothing is written
	raised  []readiness.Raised // by the booking itself
	held    bool               // for want of a date
}

// standings reads the bookings of a person from records, with the cases that
// were opened for them, as replan pairs them.
func (o *Office) standings(tx *store.Tx, p *translate.Protocol, patient string, records []*translate.Record) ([]standing, error) {
	cases, err := tx.CasesOf(patient)
	if err != nil {
		return nil, err
	}
	taken := map[string]bool{}
	var out []standing
	for _, b := range translate.Bookings(records, p, o.facility) {
		b.Patient = patient
		s := standing{booking: b, c: caseOf(cases, &b, taken), records: records, raised: b.Case.Raised, held: b.Case.Held}
		switch {
		case s.c != nil:
			taken[s.c.ID] = true
		case !b.Opens:
			s.reason = b.Reason
		case nameless(records, &b):
			s.reason = noNumber
		}
		out = append(out, s)
	}
	return out, nil
}

// live reports whether the booking is one that a plan is, or could be, made for.
func (s *standing) live() bool {
	if s.c != nil {
		return s.c.Open
	}
	return s.booking.Meets && s.booking.Awaits && s.booking.Case.Ending == readiness.Running
}

// plan makes the plan of the booking as it stands, with people's entries and
// holds.
func (s *standing) plan(o *Office, tx *store.Tx, p *translate.Protocol) (*readiness.Plan, error) {
	s.w = &writing{office: o, tx: tx, protocol: p, records: s.records, c: s.c, b: &s.booking, fresh: s.c == nil}
	if s.c == nil {
		s.w.c = &store.Case{}
	}
	if err := s.w.load(); err != nil {
		return nil, err
	}
	return s.replan(), nil
}

// replan makes the plan again of what is now supposed of the booking: another
// day meets other grounds.
func (s *standing) replan() *readiness.Plan {
	s.booking.Case.Raised, s.booking.Case.Held = slices.Clone(s.raised), s.held
	return s.w.reckon()
}

// EarliestSafe answers "if not that day, when?" for the booking that an
// Appointment or a CarePlan stands for, as Parameters. It reads one snapshot and
// stores nothing.
func (o *Office) EarliestSafe(ctx context.Context, typ, id string) ([]byte, error) {
	var out []byte
	p := o.Protocol()
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		s, err := o.standingOf(tx, p, typ, id)
		if err != nil {
			return err
		}
		pl, err := s.plan(o, tx, p)
		if err != nil {
			return err
		}
		c := &s.booking.Case
		switch {
		case !s.booking.Meets:
			return nothingToDate(typ, "this is no operation that is planned for here: "+s.booking.Reason)
		case c.Ending != readiness.Running:
			return nothingToDate(typ, translate.EndingWords(&s.booking))
		case pl.State.Begun(), !s.booking.Awaits:
			return nothingToDate(typ, "the operation has begun or is over")
		}
		out, err = o.facility.SafeParameters(translate.SafeAnswer{
			Case: c, Plan: pl, Holds: s.w.held, Now: tx.Now,
			Safe: readiness.Earliest(c, p.Protocol, o.facility.Calendar, tx.Now), IfAsked: pl.EarliestIfAsked(c, p.Protocol, o.facility.Calendar, tx.Now),
		}, p)
		return err
	})
	return out, err
}

func nothingToDate(typ, why string) *Refusal {
	return Refuse(ErrInvalid, fhir.CodeBusinessRule, typ, "no day can be given: "+why)
}

// standingOf finds the booking of an Appointment or a CarePlan.
func (o *Office) standingOf(tx *store.Tx, p *translate.Protocol, typ, id string) (*standing, error) {
	var patient string
	var fits func(*standing) bool
	if typ == "CarePlan" {
		c, err := tx.Case(id)
		if err != nil {
			return nil, err
		}
		patient = c.Patient
		fits = func(s *standing) bool { return s.c != nil && s.c.ID == id }
	} else {
		held, err := tx.Current(typ, id)
		if err != nil {
			return nil, err
		}
		if held.Deleted {
			return nil, Refuse(ErrGone, "deleted", typ, "this "+typ+" was deleted")
		}
		patient = held.Patient
		fits = func(s *standing) bool { return slices.Contains(s.booking.Members, typ+"/"+id) }
	}
	if !strings.HasPrefix(patient, "Patient/") {
		return nil, nothingToDate(typ, "it opens no case: it names no patient who is known here")
	}
	records, err := o.records(tx, patient)
	if err != nil {
		return nil, err
	}
	list, err := o.standings(tx, p, patient, records)
	if err != nil {
		return nil, err
	}
	for n := range list {
		switch s := &list[n]; {
		case !fits(s):
		case s.c == nil:
			return nil, nothingToDate(typ, "it opens no case: "+s.reason)
		default:
			return s, nil
		}
	}
	return nil, nothingToDate(typ, "its booking now belongs to another plan or another person")
}

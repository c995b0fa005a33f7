package casework

import (
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// Lists of bookings without an open case.
const (
	CaselessJoint   = "joint"   // joint replacements, or revisions, of today or to come
	CaselessUnsaid  = "unsaid"  // operations of today or to come that may be any
	CaselessUndated = "undated" // joint replacements without a day
	CaselessAll     = "all"     // whatever was kept, past and called off as well
)

// Caseless is a booking without an open case, as staff look at it.
type Caseless struct {
	Booking string // reference
	Person  Person
	Day     calendar.Date // of surgery; zero: none
	Says    string        // what it says of the operation; empty: nothing
	Reason  string        // why it has no case
	Since   time.Time     // for this reason
}

// CaselessQuery narrows a list of bookings without an open case.
type CaselessQuery struct {
	List  string               // one of the Caseless constants
	Words string               // of a name, or an identifier as it is written; empty: everybody
	News  time.Time            // those that stand there since then come first; not with After
	After store.UnplannedPlace // the place of the last one of the page before
	Limit int
}

// CaselessPage is one page of bookings without an open case, by day of surgery.
type CaselessPage struct {
	Lines []Caseless
	Total int64
	Next  store.UnplannedPlace // the place to go on from; zero: this is the last page
	Many  bool                 // more people have the name than are looked through
}

// Caseless lists bookings that were kept and have no open case.
func (o *Office) Caseless(ctx context.Context, q CaselessQuery) (*CaselessPage, error) {
	out := &CaselessPage{}
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		var patients []string
		if strings.TrimSpace(q.Words) != "" {
			var err error
			if patients, err = patientsNamed(tx, q.Words); err != nil {
				return err
			}
			out.Many = len(patients) >= mostPatients
		}
		r := newMorningReader(o, tx)
		return r.caseless(out, q, patients)
	})
	return out, err
}

// caseless reads one page; nil patients are all.
func (r *morningReader) caseless(out *CaselessPage, q CaselessQuery, patients []string) error {
	f := store.UnplannedFilter{Patients: patients, News: q.News, After: q.After, Limit: q.Limit + 1}
	today := r.o.facility.Today(r.tx.Now).String()
	switch q.List {
	case CaselessJoint:
		f.Kinds, f.From = []string{translate.KeptJoint}, today
	case CaselessUnsaid:
		f.Kinds, f.From = []string{translate.KeptUnsaid}, today
	case CaselessUndated:
		f.Kinds, f.Undated = []string{translate.KeptJoint}, true
	default:
		f.Kinds = []string{translate.KeptJoint, translate.KeptUnsaid, translate.KeptOther, translate.KeptOver}
	}
	var err error
	if out.Total, err = r.tx.CountUnplanned(f); err != nil || q.Limit == 0 {
		return err
	}
	found, err := r.tx.Unplanned(f)
	if err != nil {
		return err
	}
	if len(found) > q.Limit {
		found = found[:q.Limit]
		last := found[q.Limit-1]
		out.Next = store.UnplannedPlace{Day: last.Day, Booking: last.Booking}
	}
	for _, u := range found {
		line := Caseless{Booking: u.Booking, Day: translate.DayOf(u.Day), Reason: u.Reason, Since: u.Since.In(r.o.facility.Calendar.Zone())}
		if line.Person, err = r.whose(u.Patient); err != nil {
			return err
		}
		if line.Says, err = r.says(u.Booking); err != nil {
			return err
		}
		out.Lines = append(out.Lines, line)
	}
	return nil
}

// withoutPlan adds to the morning what was booked and not planned.
func (r *morningReader) withoutPlan(m *Morning, limit int) error {
	if err := r.caseless(&m.Without, CaselessQuery{List: CaselessJoint, News: m.Since, Limit: limit}, nil); err != nil {
		return err
	}
	for list, into := range map[string]*int64{CaselessUnsaid: &m.Unsaid, CaselessUndated: &m.Undated} {
		var counted CaselessPage
		if err := r.caseless(&counted, CaselessQuery{List: list}, nil); err != nil {
			return err
		}
		*into = counted.Total
	}
	return nil
}

// whose is the person of a booking, who may be nobody that is known here.
func (r *morningReader) whose(patient string) (Person, error) {
	if strings.HasPrefix(patient, "Patient/") {
		return r.person(patient)
	}
	p := Person{Ref: patient, Name: "Nobody who is known here"}
	if n := strings.LastIndexByte(patient, '|'); n >= 0 {
		p.Identifiers = []string{patient[n+1:]}
	}
	return p, nil
}

// says is what a held booking says of the operation, in its sender's words.
func (r *morningReader) says(booking string) (string, error) {
	typ, id, _ := strings.Cut(booking, "/")
	s, err := r.tx.Current(typ, id)
	if errors.Is(err, store.ErrNotFound) || err == nil && s.Deleted {
		return "", nil
	}
	if err != nil {
		return "", err
	}
	res, err := r.o.parsed.get(s)
	if err != nil {
		return "", err
	}
	return bookingWords(res), nil
}

// bookingWords are the first words that a booking has for the operation.
func bookingWords(r *fhir.Resource) string {
	if text := r.String("description"); text != "" {
		return text
	}
	for _, name := range []string{"code", "reasonCode", "serviceType"} {
		first := r.Get(name)
		if first.Kind() == fhir.Array {
			first = first.Item(0)
		}
		if text := first.String("text"); text != "" {
			return text
		}
		for _, c := range first.Get("coding").Items() {
			if text := c.String("display"); text != "" {
				return text
			}
		}
	}
	return ""
}

// HeldBooking is a booking as it was received.
type HeldBooking struct {
	Booking string
	Person  Person
	Says    string
	Updated time.Time // when it last came with a change
	Reason  string    // why it has no open case; empty: it has one, or belongs to one that has
	Body    []byte    // as it is held
}

// HeldBooking reads a booking. The error is a *Refusal with ErrNotFound or ErrGone
// where there is none.
func (o *Office) HeldBooking(ctx context.Context, typ, id string) (*HeldBooking, error) {
	out := &HeldBooking{Booking: typ + "/" + id}
	if !slices.Contains(booking, typ) {
		return nil, notFound("booking")
	}
	s, err := o.Get(ctx, typ, id)
	if err != nil {
		return nil, err
	}
	out.Updated, out.Body = s.Updated.In(o.facility.Calendar.Zone()), s.Body
	err = o.db.Read(ctx, func(tx *store.Tx) error {
		r := newMorningReader(o, tx)
		var err error
		if out.Person, err = r.whose(s.Patient); err != nil {
			return err
		}
		if out.Says, err = r.says(out.Booking); err != nil {
			return err
		}
		list, err := tx.UnplannedOf(s.Patient)
		for _, u := range list {
			if u.Booking == out.Booking {
				out.Reason = u.Reason
			}
		}
		return err
	})
	return out, err
}

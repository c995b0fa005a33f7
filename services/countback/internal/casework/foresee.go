package casework

import (
	"context"
	"errors"
	"slices"
	"strings"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// errForeseen undoes what was only tried.
var errForeseen = errors.New("tried, and undone")

// Try carries a delivery out as Receive does, and undoes it: the answer is the
// one that Receive would give now, and nothing is stored or sent.
func (o *Office) Try(ctx context.Context, d Delivery) ([]Result, error) {
	var out []Result
	err := o.try(ctx, d, func(_ *store.Tx, results []Result, _ string) error {
		out = results
		return nil
	})
	return out, err
}

// try gives look an id that all that the delivery made is younger than.
func (o *Office) try(ctx context.Context, d Delivery, look func(tx *store.Tx, results []Result, before string) error) error {
	err := o.db.Write(ctx, func(tx *store.Tx) error {
		before := tx.NewID()
		r := o.receipt(tx)
		out, err := r.run(d)
		if err != nil {
			return err
		}
		if err := look(tx, out, before); err != nil {
			return err
		}
		return errForeseen
	})
	if errors.Is(err, errForeseen) {
		return nil
	}
	return err
}

// TryWork judges people's entry on a Task as Work does, and undoes it.
func (o *Office) TryWork(ctx context.Context, t TaskWork) (Result, error) {
	var out Result
	err := o.db.Write(ctx, func(tx *store.Tx) error {
		var err error
		if out, err = o.work(tx, t); err != nil {
			return err
		}
		return errForeseen
	})
	if errors.Is(err, errForeseen) {
		err = nil
	}
	return out, err
}

// Foreseen is what would come of a delivery.
type Foreseen struct {
	Results  []Result
	Bookings []ForeseenBooking // of everybody whom the delivery is about
}

// ForeseenBooking is one booking as it would be read.
type ForeseenBooking struct {
	translate.Booking
	CaseID  string // of its case; empty: none
	Opens   bool   // the case would be opened by this delivery
	Why     string // there is none
	Day     string
	State   string         // of the case
	Tasks   map[string]int // how many Tasks, by status
	Matched []translate.Matched
	Missing []string // what must be known before it can be said whether a step applies
}

// Foresee says what would come of a delivery now, and stores nothing of it. The
// error is a *Refusal when it would be refused.
func (o *Office) Foresee(ctx context.Context, d Delivery) (Foreseen, error) {
	var out Foreseen
	err := o.try(ctx, d, func(tx *store.Tx, results []Result, before string) error {
		out.Results = results
		var people []string
		for _, r := range results {
			switch {
			case r.Stored.Type == "Patient":
				people = append(people, "Patient/"+r.Stored.ID)
			case strings.HasPrefix(r.Stored.Patient, "Patient/"):
				people = append(people, r.Stored.Patient)
			}
		}
		slices.Sort(people)
		for _, patient := range slices.Compact(people) {
			list, err := o.foreseen(tx, patient, before)
			if err != nil {
				return err
			}
			out.Bookings = append(out.Bookings, list...)
		}
		return nil
	})
	return out, err
}

// foreseen reads the bookings of a person within what was tried.
func (o *Office) foreseen(tx *store.Tx, patient, before string) ([]ForeseenBooking, error) {
	p, err := o.inForce(tx)
	if err != nil {
		return nil, err
	}
	records, err := o.records(tx, patient)
	if err != nil {
		return nil, err
	}
	list, err := o.standings(tx, p, patient, records)
	if err != nil {
		return nil, err
	}
	var out []ForeseenBooking
	for _, s := range list {
		b := ForeseenBooking{Booking: s.booking, Why: s.reason, Tasks: map[string]int{}}
		if !s.booking.Case.Day.IsZero() {
			b.Day = s.booking.Case.Day.String()
		}
		var members []*translate.Record
		for _, r := range records {
			if slices.Contains(s.booking.Members, r.Ref()) {
				members = append(members, r)
			}
		}
		b.Matched = p.Matched(members)
		if s.c != nil {
			b.CaseID, b.State, b.Opens = s.c.ID, s.c.State, s.c.ID > before
			items, err := tx.Items(s.c.ID)
			if err != nil {
				return nil, err
			}
			if err := b.count(items); err != nil {
				return nil, err
			}
		}
		out = append(out, b)
	}
	return out, nil
}

// count takes the items of the case in.
func (b *ForeseenBooking) count(items []store.Item) error {
	for _, i := range items {
		b.Tasks[i.Status]++
		row, err := translate.DecodeRow(i.Data)
		if err != nil {
			return err
		}
		if row.Applies != readiness.Unknown || !readiness.ItemState(i.State).Waiting() {
			continue
		}
		for _, need := range row.Needs {
			if !slices.Contains(b.Missing, need) {
				b.Missing = append(b.Missing, need)
			}
		}
	}
	return nil
}

// Parameters is what is foreseen as an operation answers it. at says where the
// sender finds a resource that has no id yet.
func (f Foreseen) Parameters(at map[string]string) *fhir.Parameters {
	out := fhir.NewParameters()
	for _, b := range f.Bookings {
		part := []fhir.Parameter{textPart("stands-for", placeOf(at, b.Primary)), {Name: "has-case", ValueBoolean: new(b.CaseID != "")}}
		add := func(name, value string) {
			if value != "" {
				part = append(part, textPart(name, value))
			}
		}
		if b.CaseID != "" {
			part = append(part, fhir.Parameter{Name: "opens-case", ValueBoolean: &b.Opens})
			add("state", b.State)
		}
		if b.CaseID != "" && !b.Opens {
			add("case", "CarePlan/"+b.CaseID)
		}
		add("why-not", b.Why)
		if b.Day != "" {
			part = append(part, fhir.Parameter{Name: "day", ValueDate: &b.Day})
		}
		for _, m := range b.Members {
			add("member", placeOf(at, m))
		}
		for _, m := range b.Candidates {
			add("may-belong", placeOf(at, m))
		}
		for _, l := range b.Links {
			part = append(part, fhir.Parameter{Name: "link", Part: []fhir.Parameter{
				textPart("from", placeOf(at, l.From)), textPart("to", placeOf(at, l.To)), textPart("rule", l.Rule)}})
		}
		for _, m := range b.Missing {
			add("missing", m)
		}
		part = append(part, codesOf(b.Matched, at)...)
		part = append(part, tasksOf(b.Tasks)...)
		out.Add(fhir.Parameter{Name: "booking", Part: part})
	}
	return out
}

func codesOf(list []translate.Matched, at map[string]string) []fhir.Parameter {
	var out []fhir.Parameter
	for _, m := range list {
		part := []fhir.Parameter{textPart("of", placeOf(at, m.Ref)), textPart("path", m.Path), textPart("means", m.Means)}
		for _, p := range []fhir.Parameter{textPart("system", m.System), textPart("code", m.Code), textPart("value-set", m.Set)} {
			if *p.ValueString != "" {
				part = append(part, p)
			}
		}
		out = append(out, fhir.Parameter{Name: "code", Part: part})
	}
	return out
}

func tasksOf(counts map[string]int) []fhir.Parameter {
	var out []fhir.Parameter
	for status, n := range counts {
		out = append(out, fhir.Parameter{Name: "tasks", Part: []fhir.Parameter{{Name: "status", ValueCode: &status}, {Name: "count", ValueInteger: &n}}})
	}
	slices.SortFunc(out, func(a, b fhir.Parameter) int { return strings.Compare(*a.Part[0].ValueCode, *b.Part[0].ValueCode) })
	return out
}

func placeOf(at map[string]string, ref string) string {
	if place := at[ref]; place != "" {
		return place
	}
	return ref
}

func textPart(name, value string) fhir.Parameter {
	return fhir.Parameter{Name: name, ValueString: &value}
}

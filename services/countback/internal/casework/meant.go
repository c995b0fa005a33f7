package casework

import (
	"encoding/json"
	"errors"
	"slices"
	"strings"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// answer writes down what a person said of the records of a booking, where the
// work on an item is an answer or takes one back: it counts for every plan of the
// person from then on.
func (o *Office) answer(tx *store.Tx, item store.Item, row *translate.Row, work *translate.Work) error {
	before, now := "", ""
	if row.Work != nil {
		before = row.Work.Meant
	}
	if work != nil {
		now = work.Meant
	}
	if before == now {
		return nil
	}
	if err := tx.DeleteSaid(item.TaskID()); err != nil || now == "" {
		return err
	}
	b, err := o.bookingOf(tx, item)
	if err != nil {
		return err
	}
	if b.Asks == nil || b.Asks.Key != row.Repeat || !slices.Equal(b.Asks.Choices, row.Among) {
		return Refuse(ErrVersion, "conflict", "Task", "what is asked has changed in the meantime: read the Task again")
	}
	for _, s := range b.Asks.Answer(b.Primary, now, tx.Now) {
		if err := tx.SaveSaid(item.Patient, item.TaskID(), store.Said{Booking: s.Booking, Record: s.Record, Belongs: s.Belongs, At: s.At}); err != nil {
			return err
		}
	}
	return nil
}

// said lays what people said of the records of bookings over the records.
func (o *Office) said(tx *store.Tx, patient string, records []*translate.Record) error {
	all, err := tx.SaidOf(patient)
	for _, s := range all {
		for _, r := range records {
			if r.Ref() != s.Booking {
				continue
			}
			last := translate.Said{Booking: s.Booking, Record: s.Record, Belongs: s.Belongs, At: s.At}
			if n := slices.IndexFunc(r.Said, func(o translate.Said) bool { return o.Record == s.Record }); n >= 0 {
				r.Said[n] = last
			} else {
				r.Said = append(r.Said, last)
			}
		}
	}
	return err
}

// answered raises again what a person was asked of the records of the booking and
// answered: the answer has done away with the question, and stays in the plan.
func (w *writing) answered() {
	var again []readiness.Raised
	for _, row := range w.rows {
		step := w.protocol.Step(row.Step)
		if row.Work == nil || row.Work.Meant == "" || step == nil || step.Trigger != translate.TriggerUnclear {
			continue
		}
		if !slices.ContainsFunc(w.b.Case.Raised, func(r readiness.Raised) bool { return r.Trigger == step.Trigger && r.Key == row.Repeat }) {
			i := row.Item(w.protocol, w.office.facility)
			i.Raised.Trigger = step.Trigger
			again = append(again, *i.Raised)
		}
	}
	slices.SortFunc(again, func(a, b readiness.Raised) int { return strings.Compare(a.Key, b.Key) })
	w.b.Case.Raised = append(w.b.Case.Raised, again...)
}

// choices says in words between which records a person is asked to choose.
func (o *Office) choices(tx *store.Tx, p *translate.Protocol, refs []string) ([]Choice, error) {
	var out []Choice
	for _, ref := range refs {
		typ, id, _ := strings.Cut(ref, "/")
		s, err := tx.Current(typ, id)
		if errors.Is(err, store.ErrNotFound) || err == nil && s.Deleted {
			out = append(out, Choice{ref, ref + ", which is no longer there"})
			continue
		}
		if err != nil {
			return nil, err
		}
		r, err := o.parsed.get(s)
		if err != nil {
			return nil, err
		}
		rec := &translate.Record{Resource: r, Type: s.Type, ID: s.ID, First: s.Updated, Updated: s.Updated}
		day := "no day"
		if d := translate.DayOf(o.facility.OnDay(rec)); !d.IsZero() {
			day = d.Format("Mon 2 Jan 2006")
		}
		words := []string{day, p.OperationOf(rec)}
		for _, more := range append([]string{bookingWords(r)}, numbersOf(r)...) {
			if more != "" && !slices.Contains(words, more) {
				words = append(words, more)
			}
		}
		out = append(out, Choice{ref, strings.Join(words, " · ")})
	}
	return out, nil
}

// numbersOf are the business identifiers of a record as they are written.
func numbersOf(r *fhir.Resource) []string {
	var out []string
	for _, id := range identifiers(r) {
		out = append(out, id.Value)
	}
	return out
}

// means writes on a Task which record is meant, or that it is none of them.
func means(t map[string]json.RawMessage, a *Act) error {
	if a.Means == "" {
		return nil
	}
	var outputs []json.RawMessage
	if raw := translate.Unsigned(t["output"]); raw != nil {
		if err := json.Unmarshal(raw, &outputs); err != nil {
			return err
		}
	}
	value := map[string]any{"type": codedAs(translate.SystemOutput, translate.OutputMeant), "valueReference": map[string]string{"reference": a.Means}}
	if a.Means == translate.MeantNone {
		value = map[string]any{"type": codedAs(translate.SystemOutput, translate.OutputNone), "valueBoolean": true}
	}
	raw, err := json.Marshal(value)
	if err != nil {
		return err
	}
	t["output"], err = json.Marshal(append(outputs, raw))
	return err
}

package casework

import (
	"context"
	"encoding/json"
	"errors"
	"io/fs"
	"slices"
	"strings"
	"time"

	"example.org/countback/api"
	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// MostReported is how many days one report may span: ten years.
const MostReported = 3660

// Programme is what the programme must report, counted over the operations whose
// day of surgery lies in a period.
type Programme struct {
	Now        time.Time
	From, To   calendar.Date // both included
	Operations int           // in the period, those cancelled among them
	Measures   []Measured
	Persons    map[string]Person // by case: of those that lack something
}

// Measured is one measure with what it counts in words.
type Measured struct {
	translate.MeasureWords
	readiness.Counted
}

// Programme counts every measure over a period.
func (o *Office) Programme(ctx context.Context, from, to calendar.Date) (*Programme, error) {
	out := &Programme{From: from, To: to}
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		out.Now = tx.Now
		list, err := o.operations(tx, from, to, true)
		if err != nil {
			return err
		}
		out.Operations = len(list)
		for _, i := range readiness.Indicators {
			words, err := measureWords(string(i))
			if err != nil {
				return err
			}
			m := Measured{words, readiness.Report(i, list, o.facility.Today(tx.Now))}
			out.Measures = append(out.Measures, m)
			if err := out.name(o, tx, m.Lacks); err != nil {
				return err
			}
		}
		return nil
	})
	return out, err
}

// mostNamed is how many of those that were not ready are named.
const mostNamed = 100

// name names the persons of the first cases that lack something.
func (p *Programme) name(o *Office, tx *store.Tx, lacks []readiness.Lack) error {
	for _, l := range lacks[max(0, len(lacks)-mostNamed):] {
		c, err := tx.Case(l.Case)
		if err != nil {
			return err
		}
		who, err := o.who(tx, c.Patient)
		if err != nil {
			return err
		}
		if p.Persons == nil {
			p.Persons = map[string]Person{}
		}
		p.Persons[l.Case] = who
	}
	return nil
}

// Period is a span of days of surgery as it was asked for, both ends included.
type Period struct {
	Start, End string            // 2006-01-02
	At         map[string]string // name of a parameter → where it was sent
}

// days reads the period; a *Refusal says what is wrong with it.
func (q *Period) days() (from, to calendar.Date, err error) {
	for _, p := range []struct {
		name, text string
		into       *calendar.Date
	}{{"periodStart", q.Start, &from}, {"periodEnd", q.End, &to}} {
		if p.text == "" {
			return 0, 0, Refuse(ErrMalformed, fhir.CodeRequired, "", p.name+": is missing: a date")
		}
		if *p.into, err = edge(p.text, p.into == &to); err != nil {
			return 0, 0, Refuse(ErrMalformed, fhir.CodeValue, q.At[p.name], p.name+": is no date, such as 2026-01-31")
		}
	}
	switch {
	case to < from:
		err = Refuse(ErrInvalid, fhir.CodeValue, q.At["periodEnd"], "periodEnd: lies before periodStart")
	case to.Sub(from) > MostReported:
		err = Refuse(ErrInvalid, fhir.CodeTooLong, q.At["periodEnd"], "periodEnd: lies more than ten years after periodStart")
	}
	return from, to, err
}

// edge reads an end of a period: a day, or the first or last one of a month or a
// year.
func edge(text string, last bool) (calendar.Date, error) {
	months := 0
	switch len(text) {
	case len("2006"):
		text, months = text+"-01-01", 12
	case len("2006-01"):
		text, months = text+"-01", 1
	}
	day, err := calendar.ParseDate(text)
	if last && months > 0 {
		day = day.AddMonths(months).Add(-1)
	}
	return day, err
}

// EvaluateMeasure counts one measure over a period, as a MeasureReport; nothing
// in it names a person. A *Refusal with ErrNotFound when there is no such measure.
func (o *Office) EvaluateMeasure(ctx context.Context, id string, q Period) ([]byte, error) {
	if !slices.Contains(readiness.Indicators, readiness.Indicator(id)) {
		return nil, notFound("Measure")
	}
	from, to, err := q.days()
	if err != nil {
		return nil, err
	}
	words, err := measureWords(id)
	if err != nil {
		return nil, err
	}
	var body []byte
	err = o.db.Read(ctx, func(tx *store.Tx) error {
		list, err := o.operations(tx, from, to, false)
		if err != nil {
			return err
		}
		body, err = o.facility.MeasureReport(translate.MeasureReportOptions{
			Measure: words, From: from, To: to, Now: tx.Now,
			Counted: readiness.Report(readiness.Indicator(id), list, o.facility.Today(tx.Now)),
		})
		return err
	})
	return body, err
}

func measureWords(id string) (translate.MeasureWords, error) {
	body, err := fs.ReadFile(api.FHIR, "fhir/Measure-"+id+".json")
	if err != nil {
		return translate.MeasureWords{}, err
	}
	r, issues := fhir.Parse(body, DefinitionLimit)
	if len(issues) > 0 {
		return translate.MeasureWords{}, issues
	}
	return translate.ReadMeasure(r), nil
}

// operationReader reads operations in one snapshot.
type operationReader struct {
	o     *Office
	tx    *store.Tx
	words bool // reasons in free text are wanted as they were written
	steps store.ReportSteps
	items map[string][]store.Item // by case
	again map[string]bool         // patients who have several cases, and appointments with several versions
}

// operations are those whose day of surgery lies in a period.
func (o *Office) operations(tx *store.Tx, from, to calendar.Date, words bool) ([]readiness.Operation, error) {
	r := operationReader{o: o, tx: tx, words: words}
	p, err := o.inForce(tx)
	if err != nil {
		return nil, err
	}
	for n := range p.Steps {
		switch s := &p.Steps[n]; {
		case s.ReportedAs != "":
			r.steps.Always = append(r.steps.Always, s.Code)
		case s.Need == readiness.Must && s.Trigger == "":
			r.steps.Undone = append(r.steps.Undone, s.Code)
		}
	}
	r.steps.Today = o.facility.Today(tx.Now).String()
	if r.items, err = tx.ReportedItems(from.String(), to.String(), r.steps); err != nil {
		return nil, err
	}
	if err := r.repeated(); err != nil {
		return nil, err
	}
	cases, err := tx.CasesWithSurgery(from.String(), to.String())
	if err != nil {
		return nil, err
	}
	out := make([]readiness.Operation, 0, len(cases))
	for _, c := range cases {
		op, err := r.operation(c)
		if err != nil {
			return nil, err
		}
		if op != nil {
			out = append(out, *op)
		}
	}
	return out, nil
}

// repeated notes once of whom and of what there is more than one: of ten thousand
// cases nearly all need no further look.
func (r *operationReader) repeated() error {
	r.again = map[string]bool{}
	patients, err := r.tx.PatientsWithSeveral()
	if err != nil {
		return err
	}
	for _, ref := range patients {
		r.again[ref] = true
	}
	appointments, err := r.tx.SentAgain("Appointment")
	for _, id := range appointments {
		r.again["Appointment/"+id] = true
	}
	return err
}

// operation reads one; nil where the case counts as none.
func (r *operationReader) operation(c store.Case) (*readiness.Operation, error) {
	var d caseData
	if err := json.Unmarshal(c.Data, &d); err != nil {
		return nil, err
	}
	day := r.o.facility.Today(r.o.noon(c.Surgery))
	op := &readiness.Operation{Case: c.ID, Day: day, Held: readiness.HeldAt(holdsOf(d.Holds), r.o.facility.Calendar.StartOf(day))}
	again, err := r.rebooked(c, d, op)
	if err != nil {
		return nil, err
	}
	if readiness.CaseState(c.State) == readiness.CaseCancelled {
		reason, off, err := r.calledOff(c, d)
		if err != nil || !off || again {
			return nil, err
		}
		op.Cancelled, op.Reason = true, reason
		return op, nil
	}
	moves, err := r.moves(c, d)
	if err != nil {
		return nil, err
	}
	r.askedFor(moves, d.Asks)
	op.Moves = append(op.Moves, moves...)
	return op, r.outturns(op, c)
}

// askedFor gives a move for which the booking names no reason the one for which
// its day was asked for. A request is met by one move, the first to its day.
func (r *operationReader) askedFor(moves []readiness.Move, asks []translate.AskRow) {
	used := map[int]bool{}
	for n := range moves {
		k := slices.IndexFunc(asks, func(a translate.AskRow) bool {
			return !used[a.N] && a.Met != "" && translate.DayOf(a.Day) == moves[n].To
		})
		if k < 0 {
			continue
		}
		used[asks[k].N] = true
		if moves[n].Reason == "" {
			moves[n].Reason = asks[k].Why(r.words)
		}
	}
}

func holdsOf(rows []translate.HoldRow) []readiness.Hold {
	out := make([]readiness.Hold, 0, len(rows))
	for n := range rows {
		out = append(out, rows[n].Hold())
	}
	return out
}

// rebooked looks at the person's other cases of the same operation: again, when
// a newer one took the place of this one; and what this one took the place of is
// a move.
func (r *operationReader) rebooked(c store.Case, d caseData, op *readiness.Operation) (again bool, err error) {
	if !r.again[c.Patient] {
		return false, nil
	}
	others, err := r.tx.CasesOf(c.Patient)
	if err != nil {
		return false, err
	}
	for _, other := range others { // the oldest first
		if other.ID == c.ID {
			continue
		}
		var od caseData
		if err := json.Unmarshal(other.Data, &od); err != nil {
			return false, err
		}
		if od.Details["procedure"] != d.Details["procedure"] || od.Details["side"] != d.Details["side"] {
			continue
		}
		cancelled := readiness.CaseState(other.State) == readiness.CaseCancelled
		if other.ID > c.ID {
			again = again || !cancelled
			continue
		}
		if !cancelled || other.Surgery == "" {
			continue
		}
		reason, off, err := r.calledOff(other, od)
		if err != nil {
			return false, err
		}
		if off {
			op.Moves = append(op.Moves, readiness.Move{From: r.o.facility.Today(r.o.noon(other.Surgery)), To: op.Day, Reason: reason})
		}
	}
	return again, nil
}

// calledOff says why a case was cancelled; off is false where it was not, but
// was entered in error, or is no operation of this kind any more.
func (r *operationReader) calledOff(c store.Case, d caseData) (reason string, off bool, err error) {
	for _, ref := range members(c, d) {
		typ, id, _ := strings.Cut(ref, "/")
		s, err := r.tx.Current(typ, id)
		if errors.Is(err, store.ErrNotFound) || err == nil && s.Deleted {
			continue
		}
		if err != nil {
			return "", false, err
		}
		res, err := r.o.parsed.get(s)
		if err != nil {
			return "", false, err
		}
		if why, is := translate.CalledOff(res, r.words); is {
			if why != "" || !off {
				reason, off = why, true
			}
			if reason != "" {
				return reason, true, nil
			}
		}
	}
	return reason, off, nil
}

// members are what a case is booked by, the one that stands for it first.
func members(c store.Case, d caseData) []string {
	out := []string{c.Key}
	for _, ref := range d.Members {
		if ref != c.Key {
			out = append(out, ref)
		}
	}
	return out
}

// moves reads the versions of the appointment.
func (r *operationReader) moves(c store.Case, d caseData) ([]readiness.Move, error) {
	for _, ref := range members(c, d) {
		typ, id, _ := strings.Cut(ref, "/")
		if typ != "Appointment" {
			continue
		}
		if !r.again[ref] {
			return nil, nil
		}
		stored, err := r.tx.Versions(typ, id)
		if err != nil {
			return nil, err
		}
		slices.Reverse(stored)
		var versions []*fhir.Resource
		for _, s := range stored {
			if s.Deleted {
				continue
			}
			res, issues := fhir.Parse(s.Body, len(s.Body)+1)
			if len(issues) > 0 {
				return nil, issues
			}
			versions = append(versions, res)
		}
		return r.o.facility.Moves(versions, r.words), nil
	}
	return nil, nil
}

// outturns reads what became of the items that count.
func (r *operationReader) outturns(op *readiness.Operation, c store.Case) error {
	for _, it := range r.items[c.ID] {
		row, err := rowOf(it)
		if err != nil {
			return err
		}
		p, err := r.o.protocolOf(r.tx, it.Protocol)
		if err != nil {
			return err
		}
		i := row.Item(p, r.o.facility)
		on := i.Entry.On
		if row.Record != "" {
			on, _ = calendar.ParseDate(row.RecordOn)
		}
		op.Done = append(op.Done, readiness.Outturn{
			Step: i.Step, Round: i.Key.Round, State: i.State, Applies: i.Applies, On: on, Due: i.Due.Day, Last: i.Last.Day,
		})
	}
	return nil
}

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

// Cases that a preview looks at: so many unless it is told otherwise, so many at
// most, and so many from one snapshot.
const (
	previewCases    = 1000
	previewMaxCases = 5000
	previewBatch    = 50
)

// Preview is what would follow from a protocol. It names no person.
type Preview struct {
	Protocol  string      // canonical|version; empty when it has faults
	InForce   string      // what it is compared with
	Issues    fhir.Issues // faults; what keeps it from being adopted, empty windows, and remarks, as warnings
	Adoptable bool

	Open     int // open cases
	Examined int // of these, looked at: spread evenly over all
	Changed  int // of these, those in which anything would change beside the protocol's name
	// Changed cases of which the booked day could no longer be met, could be met
	// again, and that would end, as no case is opened for such a booking.
	Infeasible, Feasible, Ended int

	Steps []StepPreview // those with a change, by code
}

// StepPreview counts what would become of the items of one step.
type StepPreview struct {
	Code                                              string
	Added, Moved, Reopened, Dropped, Turned, Reworded int
}

// Preview says what a PlanDefinition would change, looking at no more than limit
// open cases (0: a thousand). Each is planned by the protocol in force and by the
// new one, as of now, and the two are compared. Nothing is stored.
func (o *Office) Preview(ctx context.Context, r *fhir.Resource, limit int) (Preview, error) {
	if limit <= 0 {
		limit = previewCases
	}
	var out Preview
	var d *definition
	var old *translate.Protocol
	var ids []string
	err := o.db.Read(ctx, func(tx *store.Tx) (err error) {
		if d, err = o.judge(tx, r); err != nil && !errors.As(err, &out.Issues) {
			return err
		}
		f, err := tx.InForce()
		if err != nil {
			return err
		}
		out.InForce = f.Canonical()
		if err := o.remarks(tx, &out, f, d, r); err != nil {
			return err
		}
		if old, err = o.inForce(tx); err == nil {
			ids, err = tx.OpenIDs()
		}
		return err
	})
	out.Open = len(ids)
	if err != nil || d == nil {
		return out, err
	}
	out.Protocol = d.protocol.Canonical()
	out.Issues = append(out.Issues, o.facility.Warned(r, d.protocol)...)
	return out, o.compareAll(ctx, &out, comparison{old, d.protocol, old.Alike(d.protocol), map[string]*StepPreview{}}, spread(ids, min(limit, previewMaxCases)))
}

// remarks adds what keeps the definition from being adopted.
func (o *Office) remarks(tx *store.Tx, out *Preview, f store.InForce, d *definition, r *fhir.Resource) error {
	_, err := o.acceptable(tx, f, d, r, nil)
	var refused *Refusal
	if err != nil && !errors.As(err, &refused) {
		return err
	}
	out.Adoptable = d != nil && err == nil
	if refused != nil {
		for _, i := range refused.Issues {
			i.Severity = fhir.SeverityWarning
			out.Issues = append(out.Issues, i)
		}
	}
	if r.Get("experimental").Bool() {
		out.Issues = append(out.Issues, fhir.Issue{Severity: fhir.SeverityWarning, Code: fhir.CodeBusinessRule,
			Expression: "PlanDefinition.experimental", Text: "it says of itself that it is not meant for use"})
	}
	return nil
}

// spread takes n of the ids, evenly over all of them.
func spread(ids []string, n int) []string {
	if len(ids) <= n {
		return ids
	}
	out := make([]string, n)
	for i := range out {
		out[i] = ids[i*len(ids)/n]
	}
	return out
}

// comparison is that of two protocols over cases.
type comparison struct {
	old, now *translate.Protocol
	alike    map[string]bool // steps of which no Task would read differently
	steps    map[string]*StepPreview
}

func (o *Office) compareAll(ctx context.Context, out *Preview, by comparison, ids []string) error {
	for batch := range slices.Chunk(ids, previewBatch) {
		if err := o.db.Read(ctx, func(tx *store.Tx) error {
			for _, id := range batch {
				if err := o.compare(tx, out, by, id); err != nil {
					return err
				}
			}
			return nil
		}); err != nil {
			return err
		}
	}
	for _, s := range by.steps {
		out.Steps = append(out.Steps, *s)
	}
	slices.SortFunc(out.Steps, func(a, b StepPreview) int { return strings.Compare(a.Code, b.Code) })
	return nil
}

// compare plans one case by both protocols and counts what differs.
func (o *Office) compare(tx *store.Tx, out *Preview, by comparison, id string) error {
	c, err := tx.Case(id)
	if err != nil || !c.Open {
		return err
	}
	records, err := o.records(tx, c.Patient)
	if err != nil {
		return err
	}
	cases, err := tx.CasesOf(c.Patient)
	if err != nil {
		return err
	}
	w := &writing{office: o, tx: tx, c: &c}
	if err := w.load(); err != nil {
		return err
	}
	plan := func(p *translate.Protocol) *readiness.Plan {
		taken := map[string]bool{}
		for _, b := range translate.Bookings(records, p, o.facility) {
			held := caseOf(cases, &b, taken)
			if held == nil {
				continue
			}
			if taken[held.ID] = true; held.ID != id {
				continue
			}
			endUnlessMet(&b)
			w.protocol, w.b, w.records = p, &b, records
			return w.reckon()
		}
		return nil // no longer this person's: the protocol changes nothing in that
	}
	out.Examined++
	if before, after := plan(by.old), plan(by.now); before != nil && after != nil && by.count(before, after) {
		out.Changed++
		met, meets := len(before.Infeasible) == 0, len(after.Infeasible) == 0
		out.Infeasible += one(met && !meets)
		out.Feasible += one(meets && !met)
		out.Ended += one(over(after.State) && !over(before.State))
	}
	return nil
}

func one(b bool) int {
	if b {
		return 1
	}
	return 0
}

// count counts the changes of one case by step, and reports whether there are
// any.
func (by comparison) count(before, after *readiness.Plan) bool {
	differs := before.State != after.State
	step := func(code string) *StepPreview {
		differs = true
		if by.steps[code] == nil {
			by.steps[code] = &StepPreview{Code: code}
		}
		return by.steps[code]
	}
	changed := map[readiness.Key]bool{}
	for _, ch := range readiness.Replan(before.Items, after) {
		i := ch.New
		if i == nil {
			i = ch.Old
		}
		changed[i.Key] = true
		switch s := step(i.Key.Step); ch.Kind {
		case readiness.Added:
			s.Added++
		case readiness.Reopened:
			s.Reopened++
		case readiness.Moved:
			s.Moved++
		case readiness.Turned:
			s.Turned++
		case readiness.Dropped:
			s.Dropped++
		}
	}
	for n := range after.Items {
		if key := after.Items[n].Key; !changed[key] && !by.alike[key.Step] && by.old.Step(key.Step) != nil {
			step(key.Step).Reworded++
		}
	}
	return differs
}

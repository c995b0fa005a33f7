package casework

import (
	"context"
	"errors"
	"slices"
	"strings"
	"time"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
)

// Happened is what one change did to a plan, as its Provenance tells it.
type Happened struct {
	At    time.Time
	Why   string
	Items []HappenedItem
}

// HappenedItem is a version of a Task that the change made, and what changed.
type HappenedItem struct {
	Task string // Task/id/_history/n
	Text string
}

// Happenings lists what was changed in a plan since it was first made, the
// newest first, from its Provenance.
func (o *Office) Happenings(ctx context.Context, planID string) ([]Happened, error) {
	var out []Happened
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		c, err := tx.Case(planID)
		if err != nil {
			return err
		}
		held, err := tx.OfPatient(c.Patient, "Provenance")
		if err != nil {
			return err
		}
		for _, s := range held { // by id, which rises with time
			r, issues := fhir.Parse(s.Body, len(s.Body)+1)
			if len(issues) > 0 {
				return issues
			}
			if r.String("activity", "coding", "code") == "CREATE" || !about(r, planID) {
				continue
			}
			h := Happened{At: s.Updated, Why: r.String("reason", "text")}
			for _, t := range r.Get("target").Items() {
				for _, e := range t.Get("extension").Items() {
					if strings.HasSuffix(e.String("url"), "/change") {
						h.Items = append(h.Items, HappenedItem{Task: t.String("reference"), Text: e.String("valueString")})
					}
				}
			}
			out = append(out, h)
		}
		return nil
	})
	if errors.Is(err, store.ErrNotFound) {
		err = notFound("CarePlan")
	}
	slices.Reverse(out)
	return out, err
}

// about reports whether a Provenance is about what belongs to a plan.
func about(r *fhir.Resource, planID string) bool {
	for _, t := range r.Get("target").Items() {
		if ref := t.String("reference"); strings.HasPrefix(ref, "CarePlan/"+planID+"/") || strings.HasPrefix(ref, "Task/"+planID+".") {
			return true
		}
	}
	return false
}

// since says what is different about the booking since the case was last planned.
func (w *writing) since(before store.Case) ([]string, error) {
	was, err := w.office.caseBefore(before)
	if err != nil {
		return nil, err
	}
	if was.Ending == readiness.Running && before.State == string(readiness.CaseCancelled) {
		was.Ending = w.b.Case.Ending // as it ended before, which the row does not say
		if was.Ending == readiness.Running {
			was.Ending = readiness.Cancelled
		}
	}
	return w.b.Case.Since(&was), nil
}

// told says of each item that changed what changed, by its key.
func (w *writing) told() map[readiness.Key]string {
	out := map[readiness.Key]string{}
	for _, l := range w.protocol.Tell(w.changes) {
		out[l.Key] = l.Words()
	}
	for key, row := range w.written {
		if was := w.rows[key]; was != nil && was.Raised != row.Raised && out[key] == "" {
			out[key] = "what it is about: " + row.Raised
		}
	}
	return out
}

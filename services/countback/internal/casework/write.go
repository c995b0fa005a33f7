package casework

import (
	"encoding/json"
	"errors"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/search"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// make plans one case and writes what differs from what stood before.
func (w *writing) make() error {
	if err := w.load(); err != nil {
		return err
	}
	if err := w.handedOut(); err != nil {
		return err
	}
	if err := w.carry(); err != nil {
		return err
	}
	b, protocol := w.b, w.protocol
	w.plan = w.reckon()
	w.changes = readiness.Replan(w.oldItems, w.plan)
	if err := w.items(); err != nil {
		return err
	}
	carePlan, changed, err := w.carePlan()
	if err != nil {
		return err
	}
	if err := w.flags(); err != nil {
		return err
	}
	before, c := *w.c, w.c
	c.Key, c.Patient, c.Protocol = b.Primary, b.Patient, protocol.Canonical()
	c.State, c.NextAt = string(w.plan.State), w.plan.NextChange
	c.Open = !over(w.plan.State)
	if c.Data, err = json.Marshal(caseData{
		Day: w.plan.Day.String(), Members: b.Members, Created: w.created.Format(time.RFC3339Nano),
		Booked: b.Case.Booked, Start: b.Case.Start, Stay: b.Case.Stay, Facts: b.Case.Facts, Details: b.Case.Details,
		Holds: holdRows(w.held), Dated: w.dated, Asks: w.asks, Unreported: w.plan.Unreported,
	}); err != nil {
		return err
	}
	c.Surgery, c.Surgeon, c.Place = w.plan.Day.String(), b.Case.Details["surgeon"], w.place()
	if changed || len(w.saved) > 0 || len(w.flagged) > 0 {
		if err := w.provenance(carePlan, changed, before); err != nil {
			return err
		}
	}
	if err := w.events(carePlan, before.State); err != nil {
		return err
	}
	if w.fresh || !sameCase(before, *c) {
		c.Updated = w.tx.Now
		if err := w.tx.SaveCase(*c); err != nil {
			return err
		}
	}
	return w.tx.SaveItems(w.saved)
}

func sameCase(a, b store.Case) bool {
	return a.Key == b.Key && a.Patient == b.Patient && a.State == b.State && a.Sequence == b.Sequence &&
		a.NextAt.Equal(b.NextAt) && a.Open == b.Open && a.Protocol == b.Protocol && a.Surgery == b.Surgery && a.Surgeon == b.Surgeon && a.Place == b.Place &&
		string(a.Data) == string(b.Data)
}

// place is where the operation is booked, as the booking names it.
func (w *writing) place() string {
	for _, r := range w.records {
		if r.Ref() != w.b.Primary {
			continue
		}
		for _, p := range r.Get("participant").Items() {
			if at := p.String("actor", "reference"); strings.HasPrefix(at, "Location/") {
				return at
			}
		}
	}
	return ""
}

// carePlan writes the CarePlan when it differs, and gives the current one.
func (w *writing) carePlan() (store.Stored, bool, error) {
	ids := make([]string, 0, len(w.plan.Items))
	for n := range w.plan.Items {
		ids = append(ids, w.taskID(w.plan.Items[n].Key))
	}
	view := translate.PlanView{CaseID: w.c.ID, Booking: w.b, Plan: w.plan, Tasks: ids, Created: w.created, Holds: w.held}
	typ, id, _ := strings.Cut(w.b.Primary, "/")
	ordered, err := w.tx.Ordered(typ, id)
	if err != nil {
		return store.Stored{}, false, err
	}
	view.AsItArrives = !ordered
	if view.Other = w.office.facility.AskOtherDays(&w.b.Case, w.plan, w.protocol, w.tx.Now); view.Other.Safe != nil && !view.Other.Safe.Conditional() {
		w.safe = view.Other.Safe.Day.String()
	}
	body, err := w.office.facility.CarePlan(view, w.protocol)
	if err != nil {
		return store.Stored{}, false, err
	}
	return w.put("CarePlan", w.c.ID, body)
}

// put writes a resource of ours as a new version, unless it says what the
// current version says.
func (w *writing) put(typ, id string, body []byte) (store.Stored, bool, error) {
	cur, err := w.tx.Current(typ, id)
	if errors.Is(err, store.ErrNotFound) {
		cur, err = store.Stored{Type: typ, ID: id}, nil
	}
	if err != nil {
		return cur, false, err
	}
	f := w.office.facility
	r, issues := fhir.Parse(body, len(body)+1)
	if len(issues) > 0 {
		return cur, false, issues
	}
	if cur.Version > 0 {
		same := r.WithMeta(id, strconv.FormatInt(cur.Version, 10), cur.Updated.In(f.Calendar.Zone()))
		if string(same) == string(cur.Body) {
			return cur, false, nil
		}
	}
	next := store.Stored{Type: typ, ID: id, Version: cur.Version + 1, Updated: w.tx.Now, Patient: w.b.Patient}
	next.Body = r.WithMeta(id, strconv.FormatInt(next.Version, 10), next.Updated.In(f.Calendar.Zone()))
	return next, true, w.tx.Save(next, search.Index(r, f.Base, f.Calendar.Zone()))
}

// provenance records which resource versions and rules led to what was written.
// before is the case as it was planned before.
func (w *writing) provenance(carePlan store.Stored, changed bool, before store.Case) error {
	act := translate.Act{
		Activity: "UPDATE", At: w.tx.Now, Sources: w.why.sources,
		Protocol: w.protocol.Canonical(),
	}
	switch {
	case w.fresh:
		act.Activity = "CREATE"
	case w.plan.State == readiness.CaseCancelled:
		act.Activity = "CANCEL"
	}
	if err := w.reason(&act, before); err != nil {
		return err
	}
	for _, c := range w.carried {
		act.Sources = append(slices.Clone(act.Sources), "CarePlan/"+c)
		act.Why = strings.TrimPrefix(act.Why+"; what was done for a booking that was called off, and still counts, is carried over", "; ")
	}
	if changed {
		act.Targets = append(act.Targets, versioned(carePlan))
	}
	for _, s := range w.flagged { // it may be all that there is: the withdrawn ground of a case that is over
		act.Targets = append(act.Targets, versioned(s))
	}
	act.Told = map[string]translate.Told{}
	told := w.told()
	for _, i := range w.saved {
		ref := "Task/" + i.TaskID() + "/_history/" + strconv.FormatInt(i.Version, 10)
		act.Targets = append(act.Targets, ref)
		key := readiness.Key{Step: i.Step, Repeat: i.Repeat, Round: i.Round}
		if len(w.saved) <= translate.MostTold {
			row := w.written[key]
			by, err := w.office.protocolOf(w.tx, i.Protocol)
			if err != nil {
				return err
			}
			act.Told[ref] = w.office.facility.Tell(row, by)
		}
		if t := act.Told[ref]; !w.fresh {
			t.Change = told[key]
			act.Told[ref] = t
		}
	}
	body, err := w.office.facility.Provenance(act)
	if err != nil {
		return err
	}
	_, _, err = w.put("Provenance", w.tx.NewID(), body)
	return err
}

// reason says in words why there is anything to write: what is different about
// the booking, another protocol, or time.
func (w *writing) reason(act *translate.Act, before store.Case) error {
	switch {
	case w.fresh:
		return nil
	case before.Protocol != act.Protocol:
		f, err := w.tx.InForce()
		if err != nil {
			return err
		}
		act.Why = protocolChanged(before.Protocol, act.Protocol)
		act.Sources = append(slices.Clone(act.Sources), f.Resource)
	case w.why.timeOnly():
		act.Why = "time passed"
	case w.why.ask.of(w.c.ID):
		act.Why = w.why.ask.By + " asked for another day of surgery, " + w.why.ask.Day
	default:
		since, err := w.since(before)
		if err != nil {
			return err
		}
		act.Why = strings.Join(since, "; ")
	}
	return nil
}

// protocolChanged says which protocol gave way to which.
func protocolChanged(from, to string) string {
	oldURL, oldVersion := cutCanonical(from)
	newURL, newVersion := cutCanonical(to)
	if oldURL != newURL {
		return "the protocol changed from " + from + " to " + to
	}
	return "the protocol changed from version " + oldVersion + " to version " + newVersion
}

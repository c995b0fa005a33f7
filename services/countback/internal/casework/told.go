package casework

import (
	"cmp"
	"time"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
)

// mostTold is how many people who wait to be told of a changed day are ranked: more
// than a hospital moves in the weeks for which a feed can be silent.
const mostTold = 1000

// tells reports whether an item waits for somebody to tell the person of a changed
// day.
func tells(v *ItemView) bool {
	return v.Step.Trigger == readiness.TriggerTold && v.State.Waiting()
}

// toldWithin is how far ahead a telling can be due on the day it is raised: it is
// due on the next business day, and no hospital closes for longer.
const toldWithin = 30 * 24 * time.Hour

// tellings are the items of a list by which people are told of a changed day, each
// as near as the day that the person still goes by, or the new one if that is
// nearer. A day that is called off is none. They are wanted from the day they are
// raised, also where a weekend or a holiday lies before the day they are due.
func (r *morningReader) tellings(l *listSteps, out *PressList) ([]candidate, error) {
	if len(l.told) == 0 {
		return nil, nil
	}
	all, err := r.tx.OpenUntil(l.told, r.tx.Now.Add(toldWithin), mostTold)
	if err != nil {
		return nil, err
	}
	out.Due += int64(len(all))
	for _, state := range []readiness.ItemState{readiness.Late, readiness.Due} {
		items, err := r.tx.Pressing(store.PressFilter{State: string(state), Steps: l.told, Limit: mostTold})
		if err != nil {
			return nil, err
		}
		all = append(all, items...)
	}
	list := make([]candidate, 0, len(all))
	for _, it := range all {
		near, err := r.toldNear(it)
		if err != nil {
			return nil, err
		}
		list = append(list, candidate{item: it, near: near, told: true})
	}
	return list, nil
}

// toldNear sorts a telling by the day that it cannot wait for.
func (r *morningReader) toldNear(it store.Item) (string, error) {
	row, err := rowOf(it)
	if err != nil {
		return "", err
	}
	p, err := r.o.protocolOf(r.tx, it.Protocol)
	if err != nil {
		return "", err
	}
	c, err := r.caseRow(it.CaseID)
	if err != nil {
		return "", err
	}
	item, is := row.Item(p, r.o.facility), c.Surgery
	if c.State == string(readiness.CaseCancelled) {
		is = ""
	}
	told := item.GoesBy().String()
	if told != "" && is != "" {
		return min(told, is), nil
	}
	return cmp.Or(told, is, "~"), nil // nobody knows for when
}

// handedOut finds out whether a calendar was handed out for the day that stood,
// where that may not stand any more.
func (w *writing) handedOut() error {
	c := &w.b.Case
	if w.fresh || w.before.Day == c.Day.String() && (w.c.State == string(readiness.CaseCancelled)) == (c.Ending != readiness.Running) {
		return nil
	}
	links, err := w.tx.CalendarLinks(w.c.ID)
	w.handed = len(links) > 0
	return err
}

// Untold says what the person still goes by, where the day changed and nobody has
// told them; empty: they know.
func (v *CaseView) Untold() string {
	for n := range v.Items {
		if i := &v.Items[n]; i.Step.Trigger == readiness.TriggerTold && i.State.Waiting() && i.Raised != nil {
			return i.Raised.Why
		}
	}
	return ""
}

package casework

import "example.org/countback/pkg/readiness"

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

package casework

import (
	"encoding/json"
	"time"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
)

// A service that was down over the day of surgery plans a case when its hour has
// passed. What should have held the case meanwhile must hold it all the same: the
// rules carry its holds on over the moments that were slept through, by what was
// known before anything new is read (see readiness.CarryOn). A hold that comes of it
// says since when it should have stood; its Flag, its Provenance and its event are of
// the moment at which it was raised, because nobody could see it before.

// asleepSince is when time alone should have changed the case and nobody planned it.
// It is zero where there is no such moment, where there is anything new, which nobody
// knew then, and where another day stood.
func (w *writing) asleepSince() time.Time {
	if w.fresh || !w.why.timeOnly() || w.before.Day != w.b.Case.Day.String() {
		return time.Time{}
	}
	return w.c.NextAt
}

// awake makes the plan as if nothing held the case, with the holds carried on over
// what was slept through.
func (w *writing) awake(free *readiness.Case, grounds func(time.Time) []readiness.Ground, turns func(time.Time) time.Time) *readiness.Plan {
	p, cal, now := w.protocol.Protocol, w.office.facility.Calendar, w.tx.Now
	pl := readiness.Make(free, p, cal, now)
	b := readiness.Between{From: w.asleepSince(), Now: now, Grounds: grounds, Next: turns}
	holds, passed := free.CarryOn(b, pl, p, cal)
	if !passed {
		return pl
	}
	free.Holds, w.b.Case.Holds = holds, holds
	return readiness.Make(free, p, cal, now)
}

// timeOnly reports whether nothing but time leads to the plan.
func (c *cause) timeOnly() bool { return len(c.sources) == 0 && len(c.work) == 0 && c.ask == nil }

// wake plans the cases of a person whose hour was slept through, by what is known,
// before anything new about them is written.
func (o *Office) wake(tx *store.Tx, patient string) error {
	cases, err := tx.CasesOf(patient)
	if err != nil {
		return err
	}
	for n := range cases {
		late, err := o.overslept(&cases[n], tx.Now)
		if err != nil {
			return err
		}
		if late {
			return o.replan(tx, patient, cause{})
		}
	}
	return nil
}

// overslept reports whether the hour of the operation has passed since the case
// should have been planned.
func (o *Office) overslept(c *store.Case, now time.Time) (bool, error) {
	if !c.Open || c.NextAt.IsZero() || !c.NextAt.Before(now) {
		return false, nil
	}
	var d caseData
	if err := json.Unmarshal(c.Data, &d); err != nil {
		return false, err
	}
	booking := o.remembered(d)
	hour := booking.Hour(o.facility.Calendar)
	return c.NextAt.Before(hour) && !now.Before(hour), nil
}

// wakeAll does so for everybody whom a delivery is about, as far as that can be told
// before it is stored.
func (r *receipt) wakeAll() error {
	woken := map[string]bool{"": true}
	for n := range r.requests {
		people := []string{r.targets[n].current.Patient}
		if res := r.requests[n].Resource; res != nil {
			of, err := r.patient(res)
			if err != nil {
				return err
			}
			people = append(people, of)
		}
		for _, patient := range people {
			if woken[patient] {
				continue
			}
			woken[patient] = true
			if err := r.office.wake(r.tx, patient); err != nil {
				return err
			}
		}
	}
	return nil
}

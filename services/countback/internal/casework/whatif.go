package casework

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// WhatIf is what would change with the operation on another day. Nothing of it
// is stored.
type WhatIf struct {
	Case    *CaseView
	Day     readiness.Moment
	State   readiness.CaseState // that the case would have; holds stand as they do now
	Presses string              // what State does not say: musts that are late or soon due for that day; empty: none
	Changes []readiness.Change
	Rules   map[readiness.Key]string // of what changes, by the new day
	Causes  []string                 // what would be different about the booking, in words
	Lines   []readiness.Line         // Changes in words, each with its reason
	Kept    []readiness.Line         // what is done and would go on counting
	Cannot  []string                 // musts that could not be met
	Closed  string                   // why the day is no operating day here; empty: it is one
}

// WhatIf plans an open case again for another day of surgery (a date, or a
// dateTime with a zone, of the booking's start), in one snapshot. The error is a
// *Refusal where that cannot be asked.
func (o *Office) WhatIf(ctx context.Context, caseID, surgery string) (*WhatIf, error) {
	var out *WhatIf
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		v, err := o.view(tx, caseID)
		if err != nil {
			return err
		}
		out, err = o.whatIf(tx, v, surgery)
		return err
	})
	if errors.Is(err, store.ErrNotFound) {
		return nil, notFound("CarePlan")
	}
	return out, err
}

func (o *Office) whatIf(tx *store.Tx, v *CaseView, surgery string) (*WhatIf, error) {
	p, err := o.inForce(tx)
	if err != nil {
		return nil, err
	}
	supposed, objection := o.facility.Suppose(translate.Question{Surgery: surgery}, p, tx.Now)
	if objection != nil {
		return nil, Refuse(ErrInvalid, objection.Code, objection.Name, "the day "+objection.Text)
	}
	s, err := o.standingOf(tx, p, "CarePlan", v.ID)
	if err != nil {
		return nil, err
	}
	stands, err := s.plan(o, tx, p)
	if err != nil {
		return nil, err
	}
	old, was := slices.Clone(stands.Items), s.booking.Case
	if objection := o.facility.SupposeOf(&s.booking, supposed, stands, true); objection != nil {
		return nil, Refuse(ErrInvalid, objection.Code, objection.Name, objection.Text)
	}
	s.held = s.held && supposed.Day.IsZero()
	pl := s.replan()
	out := &WhatIf{Case: v, Day: readiness.Moment{Day: pl.Day, At: pl.Start}, State: pl.State, Rules: map[readiness.Key]string{}}
	out.Changes = readiness.Replan(old, pl)
	out.Presses = translate.PressesWords(pl.Pressing(&s.booking.Case, &was, p.Protocol, o.facility.Calendar, tx.Now))
	out.Causes, out.Lines, out.Kept = s.booking.Case.Since(&was), p.Tell(out.Changes), p.Kept(pl, out.Changes)
	for _, c := range out.Changes {
		if c.New != nil {
			out.Rules[c.New.Key] = p.Why(c.New)
		}
	}
	for _, r := range pl.Infeasible {
		out.Cannot = append(out.Cannot, translate.Infeasible(pl, r, p))
	}
	cal := o.facility.Calendar
	if !cal.IsOperatingDay(pl.Day) {
		out.Closed = fmt.Sprintf("%s is no operating day here.", pl.Day.Format("Mon 2 Jan 2006"))
		if name := cal.HolidayName(pl.Day); name != "" {
			out.Closed = fmt.Sprintf("%s is no operating day here: %s.", pl.Day.Format("Mon 2 Jan 2006"), name)
		}
	}
	return out, nil
}

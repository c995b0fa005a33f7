package translate

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"example.org/countback/pkg/readiness"
)

const dayWords = "Mon 2 Jan 2006"

// summary says, before surgery, what was booked too late for its usual time,
// what can no longer be done, and whether the booked day can still be met. It
// speaks of what was asked when the operation was booked, so that it stays the
// same while steps are being done.
func (f Facility) summary(v PlanView, p *Protocol) []string {
	pl := v.Plan
	if pl.Day.IsZero() || pl.State.Begun() {
		return nil
	}
	var out []string
	soon := f.bookedLate(v)
	if soon != "" {
		out = append(out, soon)
	}
	for n := range pl.Items {
		if words := f.lost(v, &pl.Items[n], p); words != "" {
			out = append(out, words)
		}
	}
	if len(pl.Infeasible) > 0 || pl.State == readiness.CaseHeld || f.closed(pl.Day) != "" {
		return out // told with its reasons
	}
	return append(out, canBeMet(pl, soon != "", p))
}

// canBeMet says that the day that stands can be met, and on what that rests.
func canBeMet(pl *readiness.Plan, late bool, p *Protocol) string {
	var only []string
	if late {
		only = append(only, "all that surgery needs is done in time")
	}
	if keys := pl.TooLateIfAsked; len(keys) > 0 {
		only = append(only, titles(keys, p)+" "+turn(keys)+" out not to apply")
	}
	switch {
	case only == nil:
		return "The booked day can be met."
	case len(pl.TooLateIfAsked) == 0:
		return "The booked day can still be met if " + only[0] + "."
	}
	return "The booked day can still be met only if " + strings.Join(only, ", and ") + "."
}

// bookedLate names what should have been done before the operation was booked,
// by the last day on which it still helps: first what surgery needs, then what
// going home needs, then what may be done without.
func (f Facility) bookedLate(v PlanView) string {
	var surgery, home, other []*readiness.Item
	for n := range v.Plan.Items {
		i := &v.Plan.Items[n]
		if !i.Compressed || i.Applies != readiness.Yes || i.Replaces > 0 || i.State == readiness.Missed {
			continue
		}
		switch i.Step.Need {
		case readiness.Must:
			surgery = append(surgery, i)
		case readiness.MustToLeave:
			home = append(home, i)
		default:
			other = append(other, i)
		}
	}
	steps := len(surgery) + len(home) + len(other)
	booked := f.Calendar.DateOf(v.Booking.Case.Booked)
	ahead := v.Plan.Day.Sub(booked)
	if steps == 0 || ahead < 0 { // recorded afterwards
		return ""
	}
	are := map[bool]string{true: "is later than usual and is", false: "are later than usual and are"}[steps == 1]
	text := fmt.Sprintf("Booked on %s, %s before surgery: %s %s asked for as soon as possible.",
		booked.Format(dayWords), counted(ahead, "day"), counted(steps, "step"), are)
	for _, group := range []struct {
		words string
		items []*readiness.Item
	}{{"Surgery needs", surgery}, {"Going home needs", home}, {"Wanted, though surgery may go ahead without:", other}} {
		if len(group.items) > 0 {
			text += " " + group.words + " " + f.byDay(group.items) + "."
		}
	}
	return text
}

// byDay names items by the last day on which they still help: "by Wed 25 Nov
// 2026 “A” and “B”; by Thu 26 Nov 2026 “C”".
func (f Facility) byDay(items []*readiness.Item) string {
	by := map[string][]string{}
	var order []readiness.Moment
	for _, i := range items {
		last := f.lastOpen(i)
		if by[last.Words()] == nil {
			order = append(order, last)
		}
		by[last.Words()] = append(by[last.Words()], "“"+i.Step.Title+"”")
	}
	slices.SortStableFunc(order, func(a, b readiness.Moment) int { return cmp.Compare(a.Day, b.Day) })
	parts := make([]string, len(order))
	for n, last := range order {
		when := "by " + last.Words()
		if last.IsZero() {
			when = "the sooner the better"
		}
		parts[n] = when + " " + listed(by[last.Words()])
	}
	return strings.Join(parts, "; ")
}

// lastOpen is the last moment at which the item still helps, or leaves time for
// what must follow it; of what staff do, the last day on which they are there.
func (f Facility) lastOpen(i *readiness.Item) readiness.Moment {
	last := i.Last
	if !i.LeaveBy.IsZero() {
		last = readiness.Moment{Day: i.LeaveBy}
	}
	if !last.IsZero() && last.At.IsZero() && i.Step.StaffStep() {
		last.Day = f.Calendar.OnOrBefore(last.Day)
	}
	return last
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// lost says that a step can no longer be done in time where that does not make
// the plan infeasible: it is no must, or it is not known whether it applies. Of a
// must that was booked too late for its usual days and that may apply, it says
// until when that can be found out.
func (f Facility) lost(v PlanView, i *readiness.Item, p *Protocol) string {
	pl := v.Plan
	if i.InDoubt() && i.Step.Need == readiness.Must && !i.Last.IsZero() && i.Last.Day <= pl.Day {
		return f.mustInDoubt(v, i, p)
	}
	gone := i.State == readiness.Missed || i.InDoubt() && i.TooLate
	if !gone || i.Applies == readiness.No || i.Entry.Outcome != readiness.NoOutcome || i.Last.Day > pl.Day {
		return ""
	}
	last := i.Last
	if i.TooLate {
		last = i.Due
	}
	what := fmt.Sprintf("“%s” can no longer be done: its last day was %s", i.Step.Title, lastWords(i, last, p))
	if n := f.Calendar.DateOf(v.Booking.Case.Booked).Sub(last.Day); i.TooLate && n > 0 {
		what += ", " + counted(n, "day") + " before it was booked"
	}
	switch {
	case i.Applies == readiness.Unknown:
		return fmt.Sprintf("%s, %s; ask %s.", capital(i.AppliesIf(&v.Booking.Case)), what, i.Asks())
	case i.Step.Need == readiness.Must && i.Step.Trigger == "":
		return "" // among the reasons why the plan cannot be met
	}
	if i.Step.Fixed {
		what += "; ask " + i.Asks()
	}
	return what + ". By the protocol surgery may go ahead without it."
}

// mustInDoubt says of a must that may apply until when it can be done, where it
// was booked too late for its usual days, and that it cannot any more.
func (f Facility) mustInDoubt(v PlanView, i *readiness.Item, p *Protocol) string {
	last, gone := f.lastOpen(i), slices.Contains(v.Plan.TooLateIfAsked, i.Key)
	if i.TooLate {
		last = i.Due
	}
	n := f.Calendar.DateOf(v.Booking.Case.Booked).Sub(last.Day)
	when := capital(i.AppliesIf(&v.Booking.Case))
	switch {
	case n > 0 && (gone || i.Compressed):
		return fmt.Sprintf("%s, the booked day cannot be met: the last day for “%s” was %s, %s before it was booked.",
			when, i.Step.Title, lastWords(i, last, p), counted(n, "day"))
	case gone:
		return fmt.Sprintf("%s, the booked day can no longer be met: the last day for “%s” was %s.", when, i.Step.Title, lastWords(i, last, p))
	case i.Compressed:
		return fmt.Sprintf("%s, “%s” must be done by %s; after that the booked day cannot be met.", when, i.Step.Title, lastWords(i, last, p))
	}
	return ""
}

func capital(text string) string { return strings.ToUpper(text[:1]) + text[1:] }

// lastWords says a last moment, and the rule that it comes from where it is the
// item's own.
func lastWords(i *readiness.Item, last readiness.Moment, p *Protocol) string {
	if rule := p.LastRule(i); rule != "" && last.Day == i.Last.Day && last.At.Equal(i.Last.At) {
		return last.Words() + " (" + rule + ")"
	}
	return last.Words()
}

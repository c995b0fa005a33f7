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
	switch {
	case len(pl.Infeasible) > 0 || pl.State == readiness.CaseHeld:
	case soon != "":
		out = append(out, "The booked day can still be met if all of this is done in time.")
	default:
		out = append(out, "The booked day can be met.")
	}
	return out
}

// bookedLate names what should have been done before the operation was booked,
// by the last day on which it still helps.
func (f Facility) bookedLate(v PlanView) string {
	by := map[string][]string{}
	var order []readiness.Moment
	steps := 0
	for n := range v.Plan.Items {
		i := &v.Plan.Items[n]
		if !i.Compressed || i.Applies != readiness.Yes || i.Replaces > 0 || i.State == readiness.Missed {
			continue
		}
		last := f.lastOpen(i)
		if by[last.Words()] == nil {
			order = append(order, last)
		}
		by[last.Words()] = append(by[last.Words()], "“"+i.Step.Title+"”")
		steps++
	}
	if steps == 0 {
		return ""
	}
	slices.SortStableFunc(order, func(a, b readiness.Moment) int { return cmp.Compare(a.Day, b.Day) })
	var parts []string
	for _, last := range order {
		when := "by " + last.Words()
		if last.IsZero() {
			when = "the sooner the better"
		}
		parts = append(parts, when+": "+strings.Join(by[last.Words()], ", "))
	}
	booked := f.Calendar.DateOf(v.Booking.Case.Booked)
	are := map[bool]string{true: "is later than usual and is", false: "are later than usual and are"}[steps == 1]
	ahead := v.Plan.Day.Sub(booked)
	if ahead < 0 {
		return "" // recorded afterwards
	}
	return fmt.Sprintf("Booked on %s, %s before surgery: %s %s asked for as soon as possible. %s.",
		booked.Format(dayWords), counted(ahead, "day"), counted(steps, "step"), are, sentences(parts))
}

func sentences(parts []string) string {
	text := strings.Join(parts, "; ")
	return strings.ToUpper(text[:1]) + text[1:]
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
	if i.InDoubt() && i.Compressed && i.Step.Need == readiness.Must && i.Last.Day <= pl.Day {
		last := f.lastOpen(i)
		if n := f.Calendar.DateOf(v.Booking.Case.Booked).Sub(last.Day); n > 0 {
			return fmt.Sprintf("Not known: %s. If so, the booked day cannot be met: the last day for “%s” was %s, %s before it was booked.",
				strings.Join(i.Needs, ", and "), i.Step.Title, lastWords(i, last, p), counted(n, "day"))
		}
		return fmt.Sprintf("Not known: %s. If so, “%s” must be done by %s; after that the booked day cannot be met.",
			strings.Join(i.Needs, ", and "), i.Step.Title, lastWords(i, last, p))
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
		return fmt.Sprintf("Not known: %s. If so, %s; ask %s.", strings.Join(i.Needs, ", and "), what, i.Asks())
	case i.Step.Need == readiness.Must && i.Step.Trigger == "":
		return "" // among the reasons why the plan cannot be met
	}
	if i.Step.Fixed {
		what += "; ask " + i.Asks()
	}
	return what + ". By the protocol surgery may go ahead without it."
}

// lastWords says a last moment, and the rule that it comes from where it is the
// item's own.
func lastWords(i *readiness.Item, last readiness.Moment, p *Protocol) string {
	if rule := p.LastRule(i); rule != "" && last.Day == i.Last.Day && last.At.Equal(i.Last.At) {
		return last.Words() + " (" + rule + ")"
	}
	return last.Words()
}

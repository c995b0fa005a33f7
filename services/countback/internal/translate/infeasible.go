package translate

import (
	"fmt"
	"slices"
	"strings"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// notMet says which musts cannot be met, and why; once the operation has begun,
// which were not done before as far as anybody recorded.
func notMet(pl *readiness.Plan, p *Protocol) []string {
	var out []string
	if len(pl.Infeasible) == 0 {
		return nil
	}
	if !pl.State.Begun() {
		out = append(out, "The booked day cannot be met.")
		for _, r := range pl.Infeasible {
			out = append(out, infeasible(pl, r, p))
		}
		return out
	}
	return notRecorded(pl, p)
}

// notRecorded says which musts nobody recorded as done in time, of an operation that
// has begun: those that it needed, and apart from them what was first asked since.
func notRecorded(pl *readiness.Plan, p *Protocol) (out []string) {
	var before, after []readiness.Key
	for _, r := range pl.Infeasible {
		i := itemOf(pl, r.Key)
		if i.Last.IsZero() && !i.Opens.IsZero() && i.Opens.Day >= pl.Day {
			after = append(after, r.Key)
			continue
		}
		before = append(before, r.Key)
	}
	if len(before) > 0 {
		out = append(out, "Needed before surgery, and nobody recorded in time that they were done: "+titles(before, p)+".")
	}
	if len(after) > 0 {
		out = append(out, "These were asked from the day of surgery on, and it is recorded that they could not be done: "+titles(after, p)+".")
	}
	return out
}

func itemOf(pl *readiness.Plan, k readiness.Key) *readiness.Item {
	return &pl.Items[slices.IndexFunc(pl.Items, func(i readiness.Item) bool { return i.Key == k })]
}

// infeasible says in one or two sentences why a must cannot be met: by which
// rule, and by how many days. It names the day that it is counted to, as a plan
// may be read on a later one.
func infeasible(pl *readiness.Plan, r readiness.Reason, p *Protocol) string {
	i := itemOf(pl, r.Key)
	switch {
	case i.Entry.Outcome == readiness.Failed:
		return fmt.Sprintf("“%s” was tried and could not be done.", i.Step.Title)
	case i.TooLate:
		return fmt.Sprintf("“%s” cannot be shortened, and its time, %s, had passed when the operation was booked, %s later; ask %s.",
			i.Step.Title, lastWords(i, r.Last, p), counted(r.DaysMissing, "day"), i.Asks())
	case len(r.Then) > 0:
		return fmt.Sprintf("“%s” had to be done by %s, so that %s%s.",
			i.Step.Title, r.Latest.Format(dayWords), thenWords(pl, i, r, p), lateWords(i, r))
	}
	return fmt.Sprintf("“%s” can no longer be done in time: its last day was %s%s.", i.Step.Title, lastWords(i, r.Last, p), lateWords(i, r))
}

// lateWords says how many days too late an item is, and on which day.
func lateWords(i *readiness.Item, r readiness.Reason) string {
	if r.DaysMissing == 0 {
		return ""
	}
	on := r.Latest.Add(r.DaysMissing)
	if i.Opens.Day == on && r.Latest < on {
		return fmt.Sprintf("; it cannot be done before %s, %s too late", on.Format(dayWords), counted(r.DaysMissing, "day"))
	}
	return fmt.Sprintf("; %s is %s too late", on.Format(dayWords), counted(r.DaysMissing, "day"))
}

// thenWords says what must still follow an item, and by which day: "“Further
// tests” and then “All results read” could follow by Tue 1 Dec 2026 (the day
// before surgery), 3 days later".
func thenWords(pl *readiness.Plan, i *readiness.Item, r readiness.Reason, p *Protocol) string {
	names := make([]string, len(r.Then))
	for n, code := range r.Then {
		names[n] = "“" + p.Step(code).Title + "”"
	}
	end := r.Latest.Add(r.Takes)
	by := end.Format(dayWords)
	if n := slices.IndexFunc(pl.Items, func(o readiness.Item) bool { return endsChain(&o, i, r, end) }); n >= 0 {
		last := &pl.Items[n]
		if by = lastWords(last, last.Last, p); last.Key.Repeat != "" && len(last.Advice) > 0 { // says which of the repeats
			by = last.Last.Words() + " (" + strings.TrimSuffix(last.Advice[0], ".") + ")"
		}
	}
	words := strings.Join(names, " and then ") + " could follow by " + by
	if r.Takes > 0 {
		words += ", " + counted(r.Takes, "day") + " later"
	}
	return words
}

// endsChain reports whether an item is the last of those that must follow i.
func endsChain(o, i *readiness.Item, r readiness.Reason, end calendar.Date) bool {
	return o.Key.Step == r.Then[len(r.Then)-1] && o.Last.Day == end && (o.Key.Repeat == i.Key.Repeat || i.Key.Repeat == "" || o.Key.Repeat == "")
}

package readiness

import (
	"maps"
	"strings"
	"time"

	"example.org/countback/pkg/calendar"
)

// When says in plain words what would make the condition hold, while that is
// unknown: "if the person has pets at home", "unless it is an emergency". It is
// empty where that is no matter of single facts.
func (c *Condition) When(known map[string]any) string {
	var missing []string
	for _, name := range c.uses {
		if _, ok := known[name]; !ok && c.facts[name].Default == nil {
			if c.facts[name].Type != "boolean" || !strings.HasPrefix(c.facts[name].Question, "whether ") {
				return ""
			}
			missing = append(missing, name)
		}
	}
	one, every := true, true // one fact is enough; every fact is needed
	for _, name := range missing {
		one = one && c.holdsWith(known, missing, func(n string) bool { return n == name })
		every = every && !c.holdsWith(known, missing, func(n string) bool { return n != name })
	}
	none := c.holdsWith(known, missing, func(string) bool { return false })
	all := c.holdsWith(known, missing, func(string) bool { return true })
	says := func(word, joined string) string {
		parts := make([]string, len(missing))
		for n, name := range missing {
			parts[n] = strings.TrimPrefix(c.facts[name].Question, "whether ")
		}
		return word + " " + strings.Join(parts, joined)
	}
	switch {
	case len(missing) == 1 && none && !all:
		return says("unless", "")
	case !all || none:
		return ""
	case every:
		return says("if", " and ")
	case one:
		return says("if", " or ")
	}
	return ""
}

// holdsWith evaluates the condition with the missing facts as is says.
func (c *Condition) holdsWith(known map[string]any, missing []string, is func(string) bool) bool {
	given := maps.Clone(known)
	if given == nil {
		given = map[string]any{}
	}
	for _, name := range missing {
		given[name] = is(name)
	}
	answer, _ := c.Holds(given)
	return answer == Yes
}

// AppliesIf says when an item in doubt applies, and that it is not known: "if the
// person has pets at home (not known yet)".
func (i *Item) AppliesIf(c *Case) string {
	if i.Step.Condition != nil {
		if text := i.Step.Condition.When(c.Facts); text != "" {
			return text + " (not known yet)"
		}
	}
	return "if it is found to apply (not known yet: " + strings.Join(i.Needs, ", and ") + ")"
}

// IfAsked is what becomes of the date if musts in doubt turn out to apply.
type IfAsked struct {
	Keys []Key // of the musts in doubt that are too late for the day that stands
	Safe Safe  // the earliest day if all of them apply
}

// EarliestIfAsked gives the earliest day that could be met if the musts in doubt
// that are too late for the day that stands turned out to apply; nil when none
// is, or nobody can ask for another day any more.
func (pl *Plan) EarliestIfAsked(c *Case, p *Protocol, cal *calendar.Calendar, now time.Time) *IfAsked {
	if len(pl.TooLateIfAsked) == 0 || pl.State.Begun() {
		return nil
	}
	asked := *c
	if asked.Entries = maps.Clone(c.Entries); asked.Entries == nil {
		asked.Entries = map[Key]Entry{}
	}
	for _, key := range pl.TooLateIfAsked {
		asked.Entries[key] = Entry{Outcome: Applies}
	}
	return &IfAsked{pl.TooLateIfAsked, Earliest(&asked, p, cal, now)}
}

// lateInDoubt lists the musts that are too late if they turn out to apply.
func (pl *Plan) lateInDoubt(cal *calendar.Calendar, at time.Time) []Key {
	var out []Key
	for n := range pl.Items {
		if i := &pl.Items[n]; pl.tooLateIfAsked(i, cal, at) {
			out = append(out, i.Key)
		}
	}
	return out
}

// tooLateIfAsked reports whether a must of the preparation that is in doubt could
// not be done in time any more if it were found to apply at an instant.
func (pl *Plan) tooLateIfAsked(i *Item, cal *calendar.Calendar, at time.Time) bool {
	if !i.InDoubt() || i.Step.Need != Must || i.Last.IsZero() || i.Last.Day > pl.Day {
		return false
	}
	return i.TooLate || !at.Before(i.Last.Ends(cal)) || i.Opens.Day > i.Last.Day
}

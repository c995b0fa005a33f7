package oracle

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"pgregory.net/rapid"

	"example.org/countback/pkg/readiness"
)

// Each question costs many plans, so that only one case in so many is asked.
const (
	askSpans    = 1
	askNext     = 4
	askReplan   = 8
	askEarliest = 20
)

// askMore asks so many times as often, in the search for planted faults.
var askMore = 1

// questions asks the code, and the oracle, more about a plan that they agree on;
// which of the questions depends on how many cases were tried before.
func (s situation) questions(t *rapid.T, plan Plan) string {
	c := caseOf(s.c)
	code := readiness.Make(&c, s.protocol, s.calendar, s.now)
	var out []string
	ask := func(every int, question func() (ours, theirs string)) {
		if !one(t, max(every/askMore, 1), "asked") {
			return
		}
		if ours, theirs := question(); ours != theirs {
			out = append(out, fmt.Sprintf("oracle  %s\ncode    %s\n", ours, theirs))
		}
	}
	ask(askSpans, func() (string, string) { return plan.spans(), s.spansOf(code) })
	ask(askNext, func() (string, string) { return s.next(t, plan, code) })
	ask(askReplan, func() (string, string) { return s.changes(t, plan, code) })
	ask(askEarliest, func() (string, string) {
		return Earliest(s.place, s.rules, s.c, s.now).words(s.place.zone),
			safeOf(readiness.Earliest(&c, s.protocol, s.calendar, s.now), s.place.zone)
	})
	if out == nil {
		return ""
	}
	text := strings.Join(out, "")
	return text + s.describe(text)
}

func (plan Plan) spans() string {
	text := "spans"
	for _, it := range plan.Items {
		if it.Span[0] != 0 {
			text += fmt.Sprintf("\n  %s from %s to %s", it.name(), it.Span[0], it.Span[1])
		}
	}
	return text
}

func (s situation) spansOf(plan *readiness.Plan) string {
	text := "spans"
	spans := plan.Network(s.protocol, s.calendar, s.now)
	for n := range plan.Items {
		if span, ok := spans[n]; ok {
			text += fmt.Sprintf("\n  %s from %s to %s", nameOf(&plan.Items[n]), span.Earliest, orDash(span.Latest))
		}
	}
	return text
}

func nameOf(i *readiness.Item) string {
	return fmt.Sprintf("%s/%s/%d", i.Key.Step, i.Key.Repeat, i.Key.Round)
}

// next tries what the code says of the next change: until then nothing changes,
// and then something does.
func (s situation) next(t *rapid.T, plan Plan, code *readiness.Plan) (ours, theirs string) {
	next := code.NextChange
	span := 500 * 24 * time.Hour
	if !next.IsZero() {
		if !next.After(s.now) {
			return "the next change is later than now", "next change " + next.String()
		}
		if span = next.Sub(s.now); s.standsAt(next) == plan.stands() {
			return "nothing changes then", "next change " + next.String()
		}
		if s.standsAt(next.Add(-1)) != plan.stands() {
			return "something has changed the instant before", "next change " + next.String()
		}
	}
	later := s.now.Add(time.Duration(rapid.Int64Range(0, int64(span)-1).Draw(t, "later")))
	if s.standsAt(later) != plan.stands() {
		return "something has changed by " + later.String(), "next change " + next.String()
	}
	return "", ""
}

func (s situation) standsAt(at time.Time) string { return Make(s.place, s.rules, s.c, at).stands() }

// changes compares what the plan alters in that of the same case on another day.
func (s situation) changes(t *rapid.T, plan Plan, code *readiness.Plan) (ours, theirs string) {
	other := s
	switch days := rapid.IntRange(-10, 10).Draw(t, "moved"); {
	case s.c.Surgery == 0:
		other.c.Surgery = walk(s.place.dateOf(s.now), 20+days)
	case days == 0:
		other.c.Surgery, other.c.Start = 0, time.Time{}
	default:
		other.c = s.c.on(s.place, walk(s.c.Surgery, days))
	}
	if one(t, 4, "dropped") {
		other.c.Repeats = map[string][]string{"medicine": {"b", "c"}}
	}
	c := caseOf(other.c)
	was := readiness.Make(&c, s.protocol, s.calendar, s.now)
	ours = strings.Join(Changes(Make(s.place, s.rules, other.c, s.now), plan), ", ")
	var list []string
	for _, change := range readiness.Replan(was.Items, code) {
		kind := []string{"added", "reopened", "moved", "turned", "dropped"}[change.Kind]
		item := change.New
		if item == nil {
			item = change.Old
		}
		list = append(list, kind+" "+nameOf(item))
	}
	return "changes: " + ours, "changes: " + strings.Join(list, ", ")
}

func (s Safe) words(zone *time.Location) string {
	text := fmt.Sprintf("earliest %s for %d until %s, in time %s %t", s.Day, s.Run, s.Fails, s.InTime, s.InDoubt)
	for _, o := range s.Obstacles {
		text += fmt.Sprintf(", %s/%s until %s", o.Code, o.Key, o.Clear)
	}
	for _, d := range s.Doubts {
		text += fmt.Sprintf(", doubt %s/%s by %s", d.Code, d.Key, d.By.words(zone))
	}
	for _, o := range s.Presses {
		text += fmt.Sprintf(", do %s/%s, due %s, over %t, by %s", o.Code, o.Key, o.Due.words(zone), o.Over, o.By.words(zone))
	}
	for _, o := range s.Whatever {
		text += fmt.Sprintf(", whatever the day %s/%s, due %s", o.Code, o.Key, o.Due.words(zone))
	}
	return text
}

func safeOf(s readiness.Safe, zone *time.Location) string {
	text := fmt.Sprintf("earliest %s for %d until %s, in time %s %t", orDash(s.Day), s.Run, orDash(s.Fails), orDash(s.InTime), s.InTimeDoubt)
	for _, o := range s.Obstacles {
		text += fmt.Sprintf(", %s/%s until %s", o.Key.Step, o.Key.Repeat, orDash(o.Clear))
	}
	for _, d := range s.Unknown {
		text += fmt.Sprintf(", doubt %s/%s by %s", d.Key.Step, d.Key.Repeat, wordsOf(d.By, zone))
	}
	for _, o := range s.Pressing {
		text += fmt.Sprintf(", do %s/%s, due %s, over %t, by %s", o.Key.Step, o.Key.Repeat, wordsOf(o.Due, zone), o.Over, wordsOf(o.By, zone))
	}
	for _, o := range s.Anyway {
		text += fmt.Sprintf(", whatever the day %s/%s, due %s", o.Key.Step, o.Key.Repeat, wordsOf(o.Due, zone))
	}
	return text
}

// asked counts what many small cases have to come by, or the questions prove
// little.
func (plan Plan) asked(met map[string]int) {
	for _, it := range plan.Items {
		if it.Record != "" && it.State == "done" {
			met["shown by a record"]++
		}
		if it.Record != "" && it.State == "expired" {
			met["a record that lapsed"]++
		}
		if it.LeaveFor != nil {
			met["leaves time"]++
		}
		if len(it.LeaveFor) > 1 {
			met["chain"]++
		}
	}
	met["late in doubt"] += len(plan.Doubtful)
	if plan.Unreported {
		met["unreported"]++
	}
	if slices.ContainsFunc(plan.Infeasible, func(m Missing) bool { return m.Then != nil }) {
		met["infeasible by what follows"]++
	}
}

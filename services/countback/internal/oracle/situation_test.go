package oracle

import (
	"fmt"
	"strings"
	"time"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// situation is a protocol, a case and a moment, for the oracle and for the code.
type situation struct {
	name     string // of the facility
	place    *Place
	calendar *calendar.Calendar
	rules    Rules
	protocol *readiness.Protocol
	c        Case
	now      time.Time
}

// compare has the code plan it too, and tells where the plans differ.
func (s situation) compare(plan Plan) string {
	c := caseOf(s.c)
	return s.difference(plan, readiness.Make(&c, s.protocol, s.calendar, s.now))
}

// describe tells all that the plans were made from; of a long protocol the
// steps that the lines are about.
func (s situation) describe(about string) string {
	var out strings.Builder
	at := func(t time.Time) string {
		if t.IsZero() {
			return "-"
		}
		return t.In(s.place.zone).Format("Mon 2006-01-02 15:04:05 -0700")
	}
	c := s.c
	fmt.Fprintf(&out, "facility %s, now %s\n", s.name, at(s.now))
	fmt.Fprintf(&out, "booked %s, surgery %s, start %s, stay %q, arrived %s, left %s, cancelled %t, held %t, spans %v\n",
		at(c.Booked), c.Surgery, at(c.Start), c.Stay, at(c.Arrived), at(c.Left), c.Cancelled, c.Held, c.Spans)
	fmt.Fprintf(&out, "facts %v, under %v, repeats %v, warning %d days\n", c.Facts, c.Under, c.Repeats, s.rules.WarningDays)
	for _, e := range c.Events {
		fmt.Fprintf(&out, "event %s/%s %s\n", e.Name, e.Key, at(e.At))
	}
	for _, e := range c.Entries {
		fmt.Fprintf(&out, "entry %s/%s/%d %s on %s until %s, for %s %s, under %v, against %q\n",
			e.Code, e.Key, e.Round, e.Kind, e.Done, e.Until, e.For, at(e.ForStart), e.Under, e.Against)
	}
	for _, r := range c.Records {
		fmt.Fprintf(&out, "record %s of %s/%s on %s until %s, in time only %t\n", r.Name, r.Code, r.Key, r.Done, r.Until, r.InTime)
	}
	for _, step := range s.rules.Steps {
		if len(s.rules.Steps) <= 8 || strings.Contains(about, step.Code+"/") {
			fmt.Fprintf(&out, "step %s\n", step.words())
		}
	}
	return out.String()
}

func (p Point) words() string {
	text := fmt.Sprintf("%s%+d %s", p.From, p.N, p.Unit)
	if p.At != nil {
		text += fmt.Sprintf(" at %02d:%02d", p.At.Hour, p.At.Minute)
	}
	return text
}

func (s Step) words() string {
	var parts []string
	for _, p := range s.Opens {
		parts = append(parts, "opens "+p.words())
	}
	for _, p := range s.Due {
		parts = append(parts, "due "+p.words())
	}
	if s.Last != nil {
		parts = append(parts, "last "+s.Last.words())
	}
	return fmt.Sprintf("%s: %s; need %s, staff %t, fixed %t, pauses %t, earliest %t, expiry %v, when %v, repeat %q, trigger %q",
		s.Code, strings.Join(parts, ", "), s.Need, s.Staff, s.Fixed, s.Pauses, s.OpensEarliest, s.Expiry, s.When, s.Repeat, s.Trigger)
}

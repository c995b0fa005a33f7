package histories

import (
	"bytes"
	"fmt"
	"slices"
	"strings"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/translate"
)

// state is which message of the catalogue counts of each resource, and whether
// it is disputed; a number is 0 for none and n+1 for the n-th.
type state struct {
	a, b, c  int
	disputed [3]bool
}

func (s *state) of(key string) (*int, *bool) {
	switch key {
	case "Appointment/a":
		return &s.a, &s.disputed[0]
	case "Appointment/b":
		return &s.b, &s.disputed[1]
	}
	return &s.c, &s.disputed[2]
}

// folder tells histories over the pure parts.
type folder struct {
	all      []sent
	facility translate.Facility
	protocol *translate.Protocol
	patient  *translate.Record
	plans    map[state]string
}

// take lets one message count, or not, as the product decides.
func (f *folder) take(s *state, n int) {
	m := &f.all[n]
	at, disputed := s.of(m.key)
	if *at == 0 {
		*at = n + 1
		return
	}
	held := f.all[*at-1].order
	if *disputed {
		held.Disputed = now
	}
	v := m.order.Against(held, false, now)
	if v.Noted {
		*disputed = !v.Order.Disputed.IsZero()
	}
	if !v.Behind {
		*at = n + 1
	}
}

// tell tells a whole history.
func (f *folder) tell(history []int) state {
	var s state
	for _, n := range history {
		f.take(&s, n)
	}
	return s
}

// rule is what counts in the end of a set of messages, by the documented rule
// alone, without order of arrival.
func (f *folder) rule(set []int) state {
	var s state
	for _, n := range set {
		m := &f.all[n]
		at, disputed := s.of(m.key)
		if *at == 0 {
			*at = n + 1
			continue
		}
		best := f.all[*at-1].order
		switch c := m.order.At.Compare(best.At); {
		case c > 0:
			*at, *disputed = n+1, false
		case c == 0:
			*disputed = true
			if bytes.Compare(m.order.Hash, best.Hash) > 0 {
				*at = n + 1
			}
		}
	}
	return s
}

// plan is the plans that a state leads to, in words that hold no ids.
func (f *folder) plan(s state) string {
	if text, ok := f.plans[s]; ok {
		return text
	}
	records := []*translate.Record{f.patient}
	for n, at := range []int{s.a, s.b, s.c} {
		if at == 0 {
			continue
		}
		m := f.all[at-1]
		r := &translate.Record{Resource: m.resource, Type: m.resource.Type, ID: m.resource.ID(), First: now, Updated: now}
		if s.disputed[n] {
			r.Disputed = now
		}
		records = append(records, r)
	}
	var out []string
	for _, b := range translate.Bookings(records, f.protocol, f.facility) {
		if b.Opens {
			out = append(out, f.planOf(records, b))
		}
	}
	slices.Sort(out)
	text := strings.Join(out, "\n")
	f.plans[s] = text
	return text
}

func (f *folder) planOf(records []*translate.Record, b translate.Booking) string {
	c, today := &b.Case, f.facility.Today(now)
	c.Grounds = f.protocol.Grounds(records, &b, f.facility, today)
	c.Holds = readiness.Holds(nil, c.Grounds, c, f.protocol.Protocol, now)
	for _, h := range c.Holds {
		if h.Open() {
			c.Held = true
			c.Raised = append(c.Raised, readiness.Raised{Trigger: readiness.TriggerHold, Key: h.Key, At: h.Raised, Role: f.protocol.Kind(h.Kind).ReleasedBy})
		}
	}
	plan := readiness.Make(c, f.protocol.Protocol, f.facility.Calendar, now)
	rows := make([]translate.Row, 0, len(plan.Items))
	for n := range plan.Items {
		rows = append(rows, f.facility.RowOf(&plan.Items[n]))
	}
	return written(string(plan.State), plan.Day.String(), rows)
}

// written is a plan in words: what is asked for, when, and in which state. What
// is not needed does not count: one history may have asked for it and taken it
// back, where another never did.
func written(state, day string, rows []translate.Row) string {
	var lines []string
	for _, r := range rows {
		if r.State != readiness.Needless {
			lines = append(lines, fmt.Sprintf("%s %d %s opens %s due %s last %s %s", r.Step, r.Round, r.State, r.Opens, r.Due, r.Last, r.Marks))
		}
	}
	slices.Sort(lines)
	return state + " " + day + "\n" + strings.Join(lines, "\n")
}

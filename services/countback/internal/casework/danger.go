package casework

import (
	"cmp"
	"slices"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
)

// firstDay sorts before every day of surgery, and after a case without one.
const firstDay = "0"

// grave are the states of an operation in danger, the gravest first.
var grave = []string{string(readiness.CaseInfeasible), string(readiness.CaseHeld), string(readiness.CaseBehind)}

// danger reads the cases whose operation is in danger: those whose day is today or
// to come, the nearest first and of one day the gravest, then those without a
// day. Those whose day has passed while they stood so are a question of their
// own, the latest day first: nobody can prepare them any more.
func (r *morningReader) danger(m *Morning, rows func(name string) int) error {
	today := r.o.facility.Today(r.tx.Now)
	var err error
	coming := store.CaseFilter{From: today.String(), Limit: rows("danger")}
	if m.Danger, err = r.gravest(coming); err != nil {
		return err
	}
	undated := store.CaseFilter{NoDate: true, Limit: rows("danger") - len(m.Danger.Cases)}
	rest, err := r.gravest(undated)
	if err != nil {
		return err
	}
	m.Danger.Cases, m.Danger.Total = append(m.Danger.Cases, rest.Cases...), m.Danger.Total+rest.Total
	m.Passed, err = r.gravest(store.CaseFilter{From: firstDay, To: today.Add(-1).String(), Limit: rows("passed")})
	slices.SortStableFunc(m.Passed.Cases, func(a, b CaseLine) int { return int(b.Surgery.Day - a.Surgery.Day) })
	return err
}

// gravest reads the head of what is in danger by day and gravity: of each state
// as many as are asked for, so that the index serves each.
func (r *morningReader) gravest(f store.CaseFilter) (out CaseList, err error) {
	f.States = grave
	if out.Total, err = r.tx.CountCases(f); err != nil || f.Limit < 1 {
		return out, err
	}
	var all []store.Case
	for _, state := range grave {
		f.States = []string{state}
		found, err := r.tx.CasesBySurgery(f)
		if err != nil {
			return out, err
		}
		all = append(all, found...)
	}
	slices.SortStableFunc(all, func(a, b store.Case) int {
		return cmp.Or(cmp.Compare(a.Surgery, b.Surgery), cmp.Compare(slices.Index(grave, a.State), slices.Index(grave, b.State)), cmp.Compare(a.ID, b.ID))
	})
	out.Cases, err = r.lines(all[:min(len(all), f.Limit)])
	return out, err
}

// mostPassed is how many cases whose day has passed are looked through.
const mostPassed = 500

// passedCases are the cases whose day has passed while their operation was in
// danger. Whether it was done is not known, so that nobody is sent after what
// follows it; what waits for a decision stays with the decisions.
type passedCases struct {
	cases map[string]bool
	press map[store.StepCount]int64 // how many of their items are due or late; N is 0
	items int
}

// count is how many of their items a list would have in a state.
func (p *passedCases) count(l listSteps, state readiness.ItemState) (n int64) {
	for _, group := range l.groups {
		for _, step := range group {
			n += p.press[store.StepCount{Step: step, State: string(state)}]
		}
	}
	return n
}

// setAside finds them.
func (r *morningReader) setAside() error {
	r.passed = passedCases{cases: map[string]bool{}, press: map[store.StepCount]int64{}}
	yesterday := r.o.facility.Today(r.tx.Now).Add(-1).String()
	cases, err := r.tx.CasesBySurgery(store.CaseFilter{From: firstDay, To: yesterday, States: grave, Limit: mostPassed})
	if err != nil {
		return err
	}
	for _, c := range cases {
		r.passed.cases[c.ID] = true
		items, err := r.tx.Items(c.ID)
		if err != nil {
			return err
		}
		for _, it := range items {
			if it.State == string(readiness.Late) || it.State == string(readiness.Due) {
				r.passed.press[store.StepCount{Step: it.Step, State: it.State}]++
				r.passed.items++
			}
		}
	}
	return nil
}

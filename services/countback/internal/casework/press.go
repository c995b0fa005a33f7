package casework

import (
	"cmp"
	"slices"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
)

// listSteps are the steps of a list, in groups of which the first is asked for first.
type listSteps struct {
	name   string
	groups [][]string
	flat   bool // surgery past or to come makes no difference
	// told are steps by which people are told of a changed day: each is wanted
	// whatever became of the operation, and ranked by the day they still go by.
	told []string
}

// group is where a step stands in the list; -1: it does not.
func (l *listSteps) group(step string) int {
	if slices.Contains(l.told, step) {
		return 0
	}
	return slices.IndexFunc(l.groups, func(g []string) bool { return slices.Contains(g, step) })
}

func (r *morningReader) lists() []listSteps {
	out := []listSteps{
		{name: ListNow, groups: make([][]string, 1), flat: true},
		{name: ListDecisions, groups: make([][]string, 6), flat: true},
		{name: ListCalls, groups: make([][]string, 2)},
		{name: ListChase, groups: make([][]string, 1)},
		{name: ListRest, groups: make([][]string, 2)},
	}
	for n := range r.p.Steps {
		s := &r.p.Steps[n]
		must := 1
		if s.Need == readiness.Must || s.Need == readiness.MustToLeave {
			must = 0
		}
		list, group := 4, must
		switch {
		case atOnce(s):
			list, group = 0, 0
		case s.Trigger == readiness.TriggerTold: // they may fast and wash for the old day
			out[2].told = append(out[2].told, s.Code)
			continue
		case s.Trigger != "":
			list, group = 1, urgency(s)
		case s.Kind == stepKindCall:
			list = 2
		case s.StaffStep() && must == 0:
			list, group = 3, 0
		}
		out[list].groups[group] = append(out[list].groups[group], s.Code)
	}
	return out
}

// urgency orders what waits for a decision: by its priority, and what is not
// urgent by what happens without it.
func urgency(s *readiness.Step) int {
	if n := slices.Index([]string{priorityAtOnce, "asap", "urgent"}, s.Priority); n >= 0 {
		return n
	}
	switch s.Need {
	case readiness.Should:
		return 4
	case readiness.Could:
		return 5
	}
	return 3
}

// list reads the head of one list.
func (r *morningReader) list(l listSteps, counts []store.StepCount, limit int) (PressList, error) {
	out := PressList{Name: l.name}
	for _, c := range counts {
		switch {
		case l.group(c.Step) < 0:
		case c.State == string(readiness.Late):
			out.Late += c.N
		default:
			out.Due += c.N
		}
	}
	if !l.flat {
		out.Late, out.Due = out.Late-r.passed.count(l, readiness.Late), out.Due-r.passed.count(l, readiness.Due)
	}
	head, err := r.head(l, limit, &out)
	if err != nil {
		return out, err
	}
	for _, c := range head[:min(len(head), limit)] {
		line, err := r.line(c.item)
		if err != nil {
			return out, err
		}
		out.Items = append(out.Items, line)
	}
	return out, nil
}

// head finds the items of a list, ranked: those of operations to come before
// those of operations past, but in a flat list all together.
func (r *morningReader) head(l listSteps, limit int, out *PressList) ([]candidate, error) {
	today := r.o.facility.Today(r.tx.Now).String()
	coming, err := r.candidates(l, store.PressFilter{From: today, Limit: limit})
	if err != nil {
		return nil, err
	}
	told, err := r.tellings(&l, out)
	coming = append(coming, told...)
	if err != nil || !l.flat && len(coming) >= limit {
		return r.ranked(coming), err
	}
	past, err := r.candidates(l, store.PressFilter{To: today, Limit: limit + r.passed.items})
	if err != nil || !l.flat {
		return append(r.ranked(coming), r.ranked(past)...), err
	}
	holds, err := r.openHolds(l, limit, out)
	return r.ranked(slices.Concat(coming, past, holds)), err
}

// countedMost is how far what nobody has found out is counted.
const countedMost = 1000

// findOut are musts whose due day is over and of which nobody knows yet whether
// they apply: a case may be behind without a sign of it. Nearest surgery first.
func (r *morningReader) findOut(limit int) (PressList, error) {
	out := PressList{Name: ListFindOut}
	steps := stepsToFind(r.p)
	if len(steps) == 0 {
		return out, nil
	}
	items, total, err := r.tx.Undone(steps, r.o.facility.Today(r.tx.Now).String(), r.tx.Now, limit, countedMost)
	if err != nil {
		return out, err
	}
	for _, it := range items {
		line, err := r.line(it)
		if err != nil {
			return out, err
		}
		if !line.InDoubt() { // it only waits for another step
			total--
			continue
		}
		out.Items = append(out.Items, line)
	}
	out.Late = total
	return out, nil
}

// candidate is an item that may stand in a list.
type candidate struct {
	item  store.Item
	group int
	near  string // sorts by the nearness of surgery
	told  bool   // it stands before the person's other items
}

func (r *morningReader) candidate(l *listSteps, it store.Item) (candidate, error) {
	c, err := r.caseRow(it.CaseID)
	if err != nil {
		return candidate{}, err
	}
	out := candidate{item: it, group: l.group(it.Step), near: c.Surgery}
	if c.Surgery == "" || r.passed.cases[it.CaseID] { // nobody knows for when
		out.near = "~" + c.Surgery
	}
	return out, nil
}

// candidates are what is due or late in a span of days of surgery: of each group
// and state as many as are asked for, so that the index serves each.
func (r *morningReader) candidates(l listSteps, f store.PressFilter) ([]candidate, error) {
	var out []candidate
	if f.Limit < 1 {
		return nil, nil
	}
	for _, steps := range l.groups {
		if len(out) >= f.Limit { // what needs it less would stand behind these
			break
		}
		for _, state := range []readiness.ItemState{readiness.Late, readiness.Due} {
			if len(steps) == 0 {
				continue
			}
			f.State, f.Steps = string(state), steps
			items, err := r.tx.Pressing(f)
			if err != nil {
				return nil, err
			}
			for _, it := range items {
				if !l.flat && r.passed.cases[it.CaseID] {
					continue
				}
				c, err := r.candidate(&l, it)
				if err != nil {
					return nil, err
				}
				out = append(out, c)
			}
		}
	}
	return out, nil
}

// openHolds are what releases a hold and is not due yet: the case stands still
// all the same.
func (r *morningReader) openHolds(l listSteps, limit int, out *PressList) ([]candidate, error) {
	var steps []string
	for n := range r.p.Steps {
		if s := &r.p.Steps[n]; s.Trigger == readiness.TriggerHold && l.group(s.Code) >= 0 {
			steps = append(steps, s.Code)
		}
	}
	if len(steps) == 0 {
		return nil, nil
	}
	items, total, err := r.tx.Quiet(steps, string(readiness.CaseHeld), limit)
	out.Open = total
	var list []candidate
	for _, it := range items {
		c, err := r.candidate(&l, it)
		if err != nil {
			return nil, err
		}
		list = append(list, c)
	}
	return list, err
}

// ranked orders the items of a list by need and by the nearness of surgery, late
// before due. One person's items stand together, where the first of them stands.
func (r *morningReader) ranked(list []candidate) []candidate {
	first, near := map[string]int{}, map[string]string{}
	for _, c := range list {
		if g, seen := first[c.item.CaseID]; !seen || c.group < g {
			first[c.item.CaseID] = c.group
		}
		if n, seen := near[c.item.CaseID]; !seen || c.near < n {
			near[c.item.CaseID] = c.near
		}
	}
	order := func(first bool) int {
		if first {
			return 0
		}
		return 1
	}
	late := func(c candidate) int { return order(c.item.State == string(readiness.Late)) }
	slices.SortStableFunc(list, func(a, b candidate) int {
		return cmp.Or(
			cmp.Compare(first[a.item.CaseID], first[b.item.CaseID]), cmp.Compare(near[a.item.CaseID], near[b.item.CaseID]), cmp.Compare(a.item.CaseID, b.item.CaseID),
			order(a.told)-order(b.told), cmp.Compare(a.group, b.group), cmp.Compare(late(a), late(b)), a.item.DueFrom.Compare(b.item.DueFrom), cmp.Compare(a.item.N, b.item.N),
		)
	})
	return list
}

package casework

import (
	"time"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/translate"
)

// asksFirst reports whether a step is a must of which somebody may have to find out
// first whether it applies.
func asksFirst(s *readiness.Step) bool {
	return s.Condition != nil && s.Trigger == "" && (s.Need == readiness.Must || s.Need == readiness.MustToLeave)
}

func stepsToFind(p *translate.Protocol) (out []string) {
	for n := range p.Steps {
		if s := &p.Steps[n]; asksFirst(s) {
			out = append(out, s.Code)
		}
	}
	return out
}

// findsOut are how many musts past their due day nobody knows whether they apply,
// by case, of the open cases of a span of days from today on.
func (r *morningReader) findsOut(from, to calendar.Date) (map[string]int, error) {
	out := map[string]int{}
	steps := stepsToFind(r.p)
	if from = max(from, r.o.facility.Today(r.tx.Now)); to < from || len(steps) == 0 {
		return out, nil
	}
	items, err := r.tx.UndoneOn(steps, from.String(), to.String(), r.tx.Now)
	for _, it := range items {
		row, err := rowOf(it)
		if err != nil {
			return nil, err
		}
		if row.Applies == readiness.Unknown { // else it only waits for another step
			out[it.CaseID]++
		}
	}
	return out, err
}

// findsOutOf is that of one case; a day is read once.
func (r *morningReader) findsOutOf(caseID string, state readiness.CaseState, day calendar.Date) (int, error) {
	if state.Begun() || day.IsZero() {
		return 0, nil
	}
	if r.finds == nil {
		r.finds = map[calendar.Date]map[string]int{}
	}
	if r.finds[day] == nil {
		found, err := r.findsOut(day, day)
		if err != nil {
			return 0, err
		}
		r.finds[day] = found
	}
	return r.finds[day][caseID], nil
}

// FindsOut is how many musts past their due day nobody knows whether they apply.
// The state does not say so: a case may be behind without a sign of it.
func (v *CaseView) FindsOut(cal *calendar.Calendar) (n int) {
	if !v.Open || readiness.CaseState(v.State).Begun() || v.Surgery.Day < cal.DateOf(v.Now) {
		return 0
	}
	for k := range v.Items {
		if i := &v.Items[k]; asksFirst(i.Step) && i.InDoubt() && overdue(i.Due, cal, v.Now) {
			n++
		}
	}
	return n
}

func overdue(due readiness.Moment, cal *calendar.Calendar, now time.Time) bool {
	return !due.IsZero() && !now.Before(due.Ends(cal))
}

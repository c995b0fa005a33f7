package casework

import (
	"cmp"
	"context"
	"slices"
	"time"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
)

const (
	mostDanger = 50 // cases in danger that are listed; all are counted
	mostTight  = 50 // of the others, those with the nearest surgery, whose room is worked out
)

// Weeks is what the next weeks ask for.
type Weeks struct {
	Now       time.Time
	Roles     []string // display names, by how much they have to do
	Days      []WeekDay
	Tight     []CaseLine // likely to miss their day, the nearest first
	Danger    int64      // cases of these weeks that are held, behind, or not to be met
	Listed    int64      // of these, in Tight
	Others    int64      // of these weeks, neither in danger nor begun
	FindsOut  int64      // of the others, see WeekDay.FindsOut
	Looked    int64      // of the others, those with the nearest surgery whose room was worked out
	Undecided int64      // items of steps that apply only to some people
}

// WeekDay is one day of these weeks.
type WeekDay struct {
	Day       readiness.Moment
	Operating bool
	Closed    string         // name of the holiday or closure
	Items     map[string]int // due, by role
	Surgeries int
	Danger    int // of these, held, behind, or not to be met
	FindsOut  int // of the others, with musts past their due day of which nobody knows whether they apply
}

// WeeksOptions say how far ahead, and what counts as tight.
type WeeksOptions struct {
	Days int // from today on
	Room int // a case with no more days of room than this is tight
}

// Weeks reads the workload of the next days. An item counts on the day it is
// due, for the first who is asked to do it.
func (o *Office) Weeks(ctx context.Context, opt WeeksOptions) (*Weeks, error) {
	w := &Weeks{}
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		w.Now = tx.Now
		r := newMorningReader(o, tx)
		var err error
		if r.p, err = o.inForce(tx); err != nil {
			return err
		}
		w.days(o, opt.Days)
		if err := w.workload(&r); err != nil {
			return err
		}
		if err := w.surgeries(&r); err != nil {
			return err
		}
		return w.tight(&r, opt.Room)
	})
	return w, err
}

func (w *Weeks) days(o *Office, n int) {
	cal := o.facility.Calendar
	for k := range n {
		day := cal.DateOf(w.Now).Add(k)
		w.Days = append(w.Days, WeekDay{
			Day: readiness.Moment{Day: day}, Operating: cal.IsOperatingDay(day), Closed: cal.HolidayName(day), Items: map[string]int{},
		})
	}
}

func (w *Weeks) workload(r *morningReader) error {
	cal := r.o.facility.Calendar
	first := w.Days[0].Day.Day
	counts, err := r.tx.DueCounts(cal.StartOf(first), cal.EndOf(w.Days[len(w.Days)-1].Day.Day))
	if err != nil {
		return err
	}
	total := map[string]int{}
	for _, c := range counts {
		s := r.p.Step(c.Step)
		if s == nil || len(s.Performers) == 0 {
			continue
		}
		if s.Condition != nil {
			w.Undecided += c.N
		}
		role := s.Performers[0].Display
		w.Days[cal.DateOf(c.Due).Sub(first)].Items[role] += int(c.N)
		if total[role] == 0 {
			w.Roles = append(w.Roles, role)
		}
		total[role] += int(c.N)
	}
	slices.SortFunc(w.Roles, func(a, b string) int { return cmp.Or(total[b]-total[a], cmp.Compare(a, b)) })
	return nil
}

func (w *Weeks) surgeries(r *morningReader) error {
	first, last := w.Days[0].Day.Day, w.Days[len(w.Days)-1].Day.Day
	counts, err := r.tx.SurgeryCounts(first.String(), last.String())
	if err != nil {
		return err
	}
	for _, c := range counts {
		day := &w.Days[r.o.facility.Today(r.o.noon(c.Surgery)).Sub(first)]
		day.Surgeries += int(c.N)
		switch {
		case inDanger(c.State):
			day.Danger += int(c.N)
			w.Danger += c.N
		case !readiness.CaseState(c.State).Begun():
			w.Others += c.N
		}
	}
	return w.findsOut(r, first, last)
}

// findsOut counts the cases that nothing is wrong with as far as anybody knows.
func (w *Weeks) findsOut(r *morningReader, first, last calendar.Date) error {
	found, err := r.findsOut(first, last)
	if err != nil {
		return err
	}
	for id := range found {
		c, err := r.caseRow(id)
		if err != nil {
			return err
		}
		if !inDanger(c.State) && !readiness.CaseState(c.State).Begun() {
			w.Days[r.o.facility.Today(r.o.noon(c.Surgery)).Sub(first)].FindsOut++
			w.FindsOut++
		}
	}
	return nil
}

func inDanger(state string) bool {
	switch readiness.CaseState(state) {
	case readiness.CaseHeld, readiness.CaseInfeasible, readiness.CaseBehind:
		return true
	}
	return false
}

// tight lists the cases in danger, and of the others those that have little room.
// The room of a case takes all its items to work out, and is not asked of more
// than mostTight.
func (w *Weeks) tight(r *morningReader, room int) error {
	span := store.CaseFilter{From: w.Days[0].Day.Day.String(), To: w.Days[len(w.Days)-1].Day.Day.String()}
	danger, others := span, span
	danger.States, danger.Limit = stateNames(readiness.CaseHeld, readiness.CaseInfeasible, readiness.CaseBehind), mostDanger
	others.States, others.Limit = stateNames(readiness.CaseOnTrack, readiness.CaseReady), mostTight
	found, err := r.tx.CasesBySurgery(danger)
	if err != nil {
		return err
	}
	w.Listed = int64(len(found))
	if w.Tight, err = r.lines(found); err != nil {
		return err
	}
	if found, err = r.tx.CasesBySurgery(others); err != nil {
		return err
	}
	w.Looked = int64(len(found))
	for _, c := range found {
		l, err := r.caseLine(c)
		if err != nil {
			return err
		}
		if l.HasRoom && l.Room <= room {
			w.Tight = append(w.Tight, l)
		}
	}
	slices.SortStableFunc(w.Tight, func(a, b CaseLine) int { return cmp.Compare(a.Surgery.Day, b.Surgery.Day) })
	return nil
}

func stateNames(states ...readiness.CaseState) []string {
	out := make([]string, 0, len(states))
	for _, s := range states {
		out = append(out, string(s))
	}
	return out
}

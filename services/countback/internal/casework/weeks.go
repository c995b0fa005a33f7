package casework

import (
	"cmp"
	"context"
	"slices"
	"time"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
)

// mostTight is how many cases are looked through for those that are tight.
const mostTight = 200

// Weeks is what the next weeks ask for.
type Weeks struct {
	Now       time.Time
	Roles     []string // display names, by how much they have to do
	Days      []WeekDay
	Tight     []CaseLine // likely to miss their day, the nearest first
	Looked    int        // cases that were looked through for them
	Upcoming  int64      // cases with surgery in these weeks
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
		r := morningReader{o: o, tx: tx, cases: map[string]*store.Case{}, people: map[string]Person{}}
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
		w.Upcoming += c.N
		if inDanger(c.State) {
			day.Danger += int(c.N)
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

func (w *Weeks) tight(r *morningReader, room int) error {
	found, err := r.tx.CasesBySurgery(store.CaseFilter{
		From: w.Days[0].Day.Day.String(), To: w.Days[len(w.Days)-1].Day.Day.String(), Limit: mostTight,
	})
	if err != nil {
		return err
	}
	w.Looked = len(found)
	for _, c := range found {
		if readiness.CaseState(c.State).Begun() {
			continue
		}
		l, err := r.caseLine(c)
		if err != nil {
			return err
		}
		if inDanger(c.State) || l.HasRoom && l.Room <= room {
			w.Tight = append(w.Tight, l)
		}
	}
	return nil
}

package readiness

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"example.org/countback/pkg/calendar"
)

// bound is a number of days from the day of surgery, where there is one.
type bound struct {
	day   int
	known bool
}

func (b *bound) raise(day int) bool {
	if b.known && day <= b.day {
		return false
	}
	*b = bound{day, true}
	return true
}

const (
	minutesPerDay = 24 * 60
	// changeOfClocks is more than any change of clocks within some days moves what
	// is counted in elapsed time, in minutes.
	changeOfClocks = 2 * 60
)

// monthDays gives the least and the most days that so many months have.
func monthDays(n int) (least, most int) {
	for d := calendar.NewDate(2024, 1, 1); d < calendar.NewDate(2028, 1, 1); d++ {
		is := d.AddMonths(n).Sub(d)
		if d == calendar.NewDate(2024, 1, 1) {
			least, most = is, is
		}
		least, most = min(least, is), max(most, is)
	}
	return least, most
}

// soonest is the first day on which a point can lie, whatever the calendar, the
// start of anaesthesia and the stay.
func (pt Point) soonest() bound {
	if pt.Anchor != AnchorSurgery && pt.Anchor != AnchorDischarge {
		return bound{}
	}
	n := pt.Offset.N
	switch pt.Offset.Unit {
	case BusinessDays:
		return bound{n, n >= 0}
	case Months:
		n, _ = monthDays(n)
	case Minutes:
		if n != 0 {
			n = floor(n-changeOfClocks, minutesPerDay)
		}
	}
	return bound{n, true}
}

// latest is the last day on which a point can lie.
func (pt Point) latest() bound {
	if pt.Anchor != AnchorSurgery {
		return bound{}
	}
	n := pt.Offset.N
	switch pt.Offset.Unit {
	case BusinessDays:
		return bound{n, n <= 0}
	case Months:
		_, n = monthDays(n)
	case Minutes:
		if n != 0 {
			n = floor(n+changeOfClocks+minutesPerDay-1, minutesPerDay)
		}
	}
	return bound{n, true}
}

func floor(n, by int) int {
	if n < 0 {
		n -= by - 1
	}
	return n / by
}

// least is the fewest days that a flow asks for.
func (f *flow) least() int {
	if f.gap.Unit != Months {
		return f.gap.N
	}
	ahead, _ := monthDays(f.gap.N)
	_, behind := monthDays(-f.gap.N)
	return min(ahead, -behind)
}

// holds reports whether a flow holds up the step after it, whatever the case.
func (p *Protocol) holds(f *flow) bool {
	w := p.Steps[f.after].Window
	return f.asks || !w.OpensEarliest || len(w.Opens) == 1
}

// soonest is the first day on which the window of a step can open by itself.
func (w Window) soonest() bound {
	var out bound
	for n, pt := range w.Opens {
		is := pt.soonest()
		switch {
		case !w.OpensEarliest:
			if is.known {
				out.raise(is.day)
			}
		case !is.known:
			return bound{}
		case n == 0 || is.day < out.day:
			out = is
		}
	}
	return out
}

// emptyFaults names the steps that can never be done in time, in any calendar,
// because of all that they come after.
func (p *Protocol) emptyFaults() []string {
	soonest, from := make([]bound, len(p.Steps)), make([]int, len(p.Steps))
	for n := range p.Steps {
		soonest[n], from[n] = p.Steps[n].Window.soonest(), -1
	}
	for n := range p.flows {
		f := &p.flows[n]
		if p.holds(f) && soonest[f.before].known && soonest[f.after].raise(soonest[f.before].day+f.least()) {
			from[f.after] = f.before
		}
	}
	var out []string
	bad := make([]bool, len(p.Steps))
	for n := range p.Steps {
		s := &p.Steps[n]
		if !soonest[n].known {
			continue
		}
		by, word := s.Window.Due, "due"
		if s.Last != nil {
			by = append(slices.Clone(by), *s.Last)
		}
		for k, pt := range by {
			if k == len(s.Window.Due) {
				word = "of no use after"
			}
			if is := pt.latest(); is.known && soonest[n].day > is.day {
				bad[n] = true
				out = append(out, fmt.Sprintf("%s is %s %s, but %sopens %s at the earliest, in every calendar",
					s.Code, word, p.words(pt), p.comesAfter(n, from), p.words(Point{Anchor: AnchorSurgery, Offset: Offset{N: soonest[n].day}})))
				break
			}
		}
	}
	return out
}

// comesAfter names the steps that a step comes after: "after a → b it ".
func (p *Protocol) comesAfter(n int, from []int) string {
	var codes []string
	for n = from[n]; n >= 0; n = from[n] {
		codes = append([]string{p.Steps[n].Code}, codes...)
	}
	if codes == nil {
		return ""
	}
	return "after " + strings.Join(codes, " → ") + " it "
}

// Warnings names the steps whose window is empty for some dates of surgery,
// because of weekends, holidays, closures or the length of months, with one such
// date. It tries eleven years of dates with each of the holidays that are known
// here and then with own, the facility's calendar unless that is nil. It takes
// some tenths of a second: it is for whoever loads a protocol.
func (p *Protocol) Warnings(own *calendar.Calendar) []string {
	turns := p.turning()
	found := make([]string, len(p.Steps))
	for _, name := range []string{"none", "us-federal", "england"} {
		holidays, err := calendar.Holidays(name)
		if err != nil {
			return []string{err.Error()}
		}
		cal, err := calendar.New(calendar.Options{Zone: time.UTC, Holidays: holidays})
		if err != nil {
			return []string{err.Error()}
		}
		p.emptyIn(cal, fmt.Sprintf("the holidays %q", name), turns, found)
	}
	if own != nil {
		p.emptyIn(own, "this facility's closed days", turns, found)
	}
	var out []string
	for _, text := range found {
		if text != "" {
			out = append(out, text)
		}
	}
	return out
}

// emptyIn notes the steps in question whose window is empty for some date.
func (p *Protocol) emptyIn(cal *calendar.Calendar, name string, turns []bool, found []string) {
	if !slices.Contains(turns, true) {
		return
	}
	for day := calendar.NewDate(2024, 1, 1); day < calendar.NewDate(2035, 1, 1); day++ {
		if cal.IsOperatingDay(day) {
			p.emptyOn(day, cal, name, turns, found)
		}
	}
}

// turning marks the steps whose window depends on the calendar: by their own
// points or by those of what they come after.
func (p *Protocol) turning() []bool {
	depends := func(o Offset) bool { return o.N != 0 && (o.Unit == BusinessDays || o.Unit == Months) }
	out := make([]bool, len(p.Steps))
	for n := range p.Steps {
		out[n] = slices.ContainsFunc(p.Steps[n].points(), func(pt Point) bool { return depends(pt.Offset) })
	}
	for n := range p.flows {
		f := &p.flows[n]
		out[f.after] = out[f.after] || p.holds(f) && (out[f.before] || depends(f.gap))
	}
	return out
}

// emptyOn notes the steps in question whose window is empty for one date.
func (p *Protocol) emptyOn(day calendar.Date, cal *calendar.Calendar, name string, turns []bool, found []string) {
	d := &dating{cal: cal, surgery: Moment{Day: day, At: cal.At(day, 12, 0)}, followed: map[Key]progress{}}
	opens := make([]Moment, len(p.Steps))
	from := make([]int, len(p.Steps))
	for n := range p.Steps {
		opens[n], _ = d.opensOn(p.Steps[n].Window)
		from[n] = -1
	}
	for n := range p.flows {
		f := &p.flows[n]
		if !p.holds(f) || opens[f.before].IsZero() {
			continue
		}
		if to := f.later(opens[f.before].Day, cal); to > opens[f.after].Day {
			opens[f.after], from[f.after] = Moment{Day: to}, f.before
		}
	}
	for n := range p.Steps {
		s := &p.Steps[n]
		if !turns[n] || found[n] != "" || opens[n].IsZero() {
			continue
		}
		due := d.dueOn(s, opens[n])
		by, word := due, "be due"
		if last := d.lastOn(s, due); due.IsZero() || !last.IsZero() && last.sooner(due) {
			by, word = last, "be of no use after"
		}
		if !by.IsZero() && !opens[n].Begins(cal).Before(by.Ends(cal)) {
			found[n] = fmt.Sprintf("%s has an empty window for some dates: with surgery on %s and %s, %sit would open %s and %s %s",
				s.Code, day.Format(dayLayout), name, strings.TrimSuffix(p.comesAfter(n, from), "it "), opens[n].Words(), word, by.Words())
		}
	}
}

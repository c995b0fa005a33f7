package desk

import (
	"fmt"
	"slices"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/casework"
)

// Measures of the picture of a plan, in its own units.
const (
	axisHead  = 46 // above the rows
	axisFoot  = 8
	dayBefore = 60 // how far before surgery it reaches
	dayAfter  = 21 // and how far after
)

// axisScale is how a picture is drawn.
type axisScale struct {
	labels, days int // width of the names, and of the days
	row          int // height of a row
	most         int // rows of one picture; 0: all
	paper        int // number of the first picture on paper; 0: on the screen
}

// On paper the picture is narrow, so that its letters (9.9 units, see desk.css)
// are more than 8 pt high on A4 and Letter, and goes over as many pages as it needs.
var (
	onScreen = axisScale{labels: 230, days: 760, row: 18}
	onPaper  = axisScale{labels: 200, days: 410, row: 13, most: 48, paper: 1}
)

// axis is the picture of a plan on a line of days: what the table beside it
// says, at one look.
type axis struct {
	Width, Height, Top, Bottom, Labels int
	Rows                               []bar
	Ticks                              []tick
	Today, Surgery                     *tick
	Spans                              []span // holds
	Left                               string // what lies outside, in words
	Paper                              int    // number of the picture on paper; 0: on the screen
	Part                               string // which of several; empty: the only one
}

type bar struct {
	Title, Says, Kind  string
	Y, TextY, X, W     int
	Hollow             bool // nobody knows yet whether it applies
	DoneX              int  // where it was done; 0: it was not
	EndX               int  // of the due day
	BeforeIt, AfterIt  bool // goes on outside the picture
	MidY, BarY, Height int
}

type tick struct {
	X     int
	Label string
	Week  bool
}

type span struct {
	X, W, LabelX int
	Label        string
}

// newAxes place the items of a case. None when there is nothing to show.
func newAxes(v *casework.CaseView, cal *calendar.Calendar, scale axisScale) []*axis {
	today := cal.DateOf(v.Now)
	from, to := reach(v, cal, today)
	x := func(d calendar.Date) int {
		n := min(max(d.Sub(from), 0), to.Sub(from)+1)
		return scale.labels + n*scale.days/(to.Sub(from)+1)
	}
	items := slices.Clone(v.Items)
	slices.SortStableFunc(items, func(p, q casework.ItemView) int { return int(dueDay(&p)) - int(dueDay(&q)) })
	outside := 0
	var rows []bar
	for n := range items {
		i := &items[n]
		b, ok := newBar(i, from, to, x)
		if ok {
			rows = append(rows, b)
		} else if i.State != readiness.Needless && i.State != readiness.StateWaived {
			outside++
		}
	}
	var out []*axis
	most := scale.most
	if most == 0 {
		most = max(len(rows), 1)
	}
	for part := range slices.Chunk(rows, most) {
		a := &axis{Width: scale.labels + scale.days, Top: axisHead, Labels: scale.labels, Rows: part}
		if scale.paper > 0 {
			a.Paper = scale.paper + len(out)
		}
		a.place(scale.row)
		a.ticks(from, to, today, v.Surgery.Day, x)
		a.holds(v, cal, to, x)
		out = append(out, a)
	}
	for n, a := range out {
		if len(out) > 1 {
			a.Part = fmt.Sprintf("part %d of %d", n+1, len(out))
		}
	}
	if outside > 0 && len(out) > 0 {
		out[len(out)-1].Left = count(outside, "item") + " without a date, or outside these days, " + map[bool]string{true: "is", false: "are"}[outside == 1] + " in the table only."
	}
	return out
}

// place puts the rows below each other.
func (a *axis) place(row int) {
	for n := range a.Rows {
		b := &a.Rows[n]
		b.Y = axisHead + n*row
		b.TextY, b.BarY, b.MidY, b.Height = b.Y+row/2+4, b.Y+row/4, b.Y+row/2, row-2*(row/4)
	}
	a.Bottom = axisHead + len(a.Rows)*row
	a.Height = a.Bottom + axisFoot
}

// reach is the first and the last day of the picture.
func reach(v *casework.CaseView, cal *calendar.Calendar, today calendar.Date) (from, to calendar.Date) {
	d0 := v.Surgery.Day
	if d0.IsZero() {
		d0 = today
	}
	from, to = min(d0, today), max(d0.Add(dayAfter), today.Add(7))
	if booked := cal.DateOf(v.Booked); !booked.IsZero() {
		from = min(from, booked)
	}
	from = max(from, d0.Add(-dayBefore))
	return min(from, today).Add(-1), to
}

func newBar(i *casework.ItemView, from, to calendar.Date, x func(calendar.Date) int) (bar, bool) {
	m := markOf(&i.Item)
	if i.State == readiness.Needless || i.State == readiness.StateWaived || i.Due.IsZero() && i.Opens.IsZero() {
		return bar{}, false
	}
	first, last := i.Opens.Day, i.Due.Day
	if i.Opens.IsZero() {
		first = last
	}
	if i.Due.IsZero() || last < first {
		last = max(first, i.UsefulUntil().Day)
	}
	if first > to || last < from {
		return bar{}, false
	}
	b := bar{Title: clipped(i.Step.Title), Kind: m.Kind, Hollow: i.InDoubt(), X: x(first), BeforeIt: first < from, AfterIt: last > to}
	b.EndX = x(last.Add(1))
	b.W = max(b.EndX-b.X, 4)
	b.Says = i.Step.Title + ": " + m.Word + ", " + first.Format("2 Jan") + " to " + last.Format("2 Jan")
	if on := i.Entry.On; !on.IsZero() && on >= from && on <= to && (i.State == readiness.StateDone || i.State == readiness.Expired) {
		b.DoneX = (x(on) + x(on.Add(1))) / 2
		b.Says += ", done " + on.Format("2 Jan")
	}
	return b, true
}

// clipped keeps a name within its column.
func clipped(s string) string {
	const most = 34
	if r := []rune(s); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return s
}

// ticks marks the Mondays, today, and the day of surgery.
func (a *axis) ticks(from, to, today, d0 calendar.Date, x func(calendar.Date) int) {
	every := 7
	if to.Sub(from) > 120 {
		every = 28
	}
	last := -100
	for d := from; d <= to; d = d.Add(1) {
		if d.Weekday() != 1 || d.Sub(from)%every >= 7 {
			continue
		}
		t := tick{X: x(d)}
		if t.X-last >= 52 && t.X < a.Width-40 {
			t.Label, last = d.Format("2 Jan"), t.X
		}
		a.Ticks = append(a.Ticks, t)
	}
	middle := func(d calendar.Date) int { return (x(d) + x(d.Add(1))) / 2 }
	if today >= from && today <= to {
		a.Today = &tick{X: middle(today), Label: "today"}
	}
	if !d0.IsZero() && d0 >= from && d0 <= to {
		a.Surgery = &tick{X: middle(d0), Label: "surgery"}
	}
}

// holds shades the days of each hold: until it ended, else until the day from
// which surgery may be, else on and on.
func (a *axis) holds(v *casework.CaseView, cal *calendar.Calendar, to calendar.Date, x func(calendar.Date) int) {
	day := func(s string) calendar.Date {
		if len(s) < 10 {
			return 0
		}
		d, err := calendar.ParseDate(s[:10])
		if err != nil {
			return 0
		}
		return d
	}
	for _, h := range v.Holds {
		first, last := day(h.Since), to
		switch until, earliest := day(h.Until), day(h.Earliest); {
		case !until.IsZero():
			last = until
		case !earliest.IsZero():
			last = earliest.Add(-1)
		}
		if first.IsZero() || first > to || last < first {
			continue
		}
		s := span{X: x(first), Label: "hold"}
		s.W = max(x(last.Add(1))-s.X, 3)
		s.LabelX = s.X + s.W/2
		a.Spans = append(a.Spans, s)
	}
}

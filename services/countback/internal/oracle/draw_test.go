package oracle

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

var zones = []string{
	"America/Chicago", "America/St_Johns", "Europe/London", "Pacific/Kiritimati", "Australia/Lord_Howe", "UTC",
}

// facility is one place, as the oracle and as the code know it.
type facility struct {
	name     string
	place    *Place
	calendar *calendar.Calendar
	// Days about which something is out of the ordinary: changes of clocks,
	// holidays and closures, ends of months.
	clocks, closed, monthEnds []Day
}

// world is what all cases share: conditions and calendars are slow to make.
type world struct {
	facilities []facility
	conditions []drawnCondition
}

type drawnCondition struct {
	rule Condition
	code *readiness.Condition
}

// theWorld is made by the first test that asks for it.
func theWorld(t *testing.T) *world {
	once.Do(func() { shared = newWorld(t) })
	require.NotNil(t, shared)
	return shared
}

var (
	once   sync.Once
	shared *world
)

func newWorld(t *testing.T) *world {
	w := &world{}
	extra := extraClosures()
	sets := []struct {
		name string
		days []Day
	}{{"us-federal", Federal()}, {"england", England()}, {"none", nil}}
	for _, zone := range zones {
		loc, err := time.LoadLocation(zone)
		require.NoError(t, err)
		clocks := changes(NewPlace(loc))
		for _, set := range sets {
			for _, extra := range [][]Day{nil, extra} {
				f := newFacility(t, loc, set.name, set.days, extra)
				f.clocks = clocks
				w.facilities = append(w.facilities, f)
			}
		}
	}
	w.conditions = drawnConditions(t)
	return w
}

// extraClosures close single days, and now and then a stretch.
func extraClosures() []Day {
	var list []Day
	for d := DayOf(2023, 6, 1); d < DayOf(2039, 1, 1); d += 23 {
		list = append(list, d)
		if d%5 == 0 {
			list = append(list, d+1, d+2, d+3)
		}
	}
	return list
}

func newFacility(t *testing.T, zone *time.Location, holidays string, closed, extra []Day) facility {
	file := "include " + holidays + "\n"
	for _, d := range extra {
		file += d.String() + " Closed\n"
	}
	set, err := calendar.ParseHolidays(strings.NewReader(file))
	require.NoError(t, err)
	cal, err := calendar.New(calendar.Options{Zone: zone, Holidays: set})
	require.NoError(t, err)
	f := facility{
		name: fmt.Sprintf("%s, %s, %d closures", zone, holidays, len(extra)), place: NewPlace(zone, closed, extra),
		calendar: cal, closed: slices.Concat(closed, extra),
	}
	for d := DayOf(2024, 1, 1); d < DayOf(2038, 1, 1); d++ {
		if days[d+1].day == 1 {
			f.monthEnds = append(f.monthEnds, d)
		}
	}
	return f
}

// changes are the days that have not 24 hours.
func changes(p *Place) []Day {
	var list []Day
	for d := DayOf(2024, 1, 1); d < DayOf(2038, 1, 1); d++ {
		if p.reaches(wall{d + 1, 0}).Sub(p.reaches(wall{d, 0})) != 24*time.Hour {
			list = append(list, d)
		}
	}
	return list
}

func drawnConditions(t *testing.T) []drawnCondition {
	compiler, err := readiness.NewConditions([]readiness.Fact{
		{Name: "pets", Type: "boolean"}, {Name: "asks", Type: "boolean"},
		{Name: "stay", Type: "string"}, {Name: "clearance", Type: "number"},
		{Name: "urgent", Type: "boolean", Default: false},
	})
	require.NoError(t, err)
	list := []drawnCondition{{Condition{Op: "always"}, nil}}
	for _, text := range []string{
		"pets", "!asks", "pets && asks", "pets || asks", "pets && !asks", "!(pets || urgent)", "urgent || pets && asks",
		"stay == 'overnight'", "stay == 'overnight' && pets", "clearance <= 50.0", "clearance <= 50.0 || pets",
	} {
		code, err := compiler.Compile(text, text)
		require.NoError(t, err)
		list = append(list, drawnCondition{parseCondition(text), code})
	}
	return list
}

func one(t *rapid.T, of int, label string) bool {
	return rapid.IntRange(0, of-1).Draw(t, label) == of-1
}

// draw makes a situation out of 3 to 8 steps.
func (w *world) draw(t *rapid.T) situation {
	f := rapid.SampledFrom(w.facilities).Draw(t, "facility")
	s := situation{name: f.name, place: f.place, calendar: f.calendar}
	s.rules.Stays = []Stay{{"same-day", 0, Clock{15, 0}, false}, {"overnight", 1, Clock{11, 0}, true}}
	s.rules.WarningDays = rapid.IntRange(0, 5).Draw(t, "warning")
	var conditions []*readiness.Condition
	for n := range rapid.IntRange(3, 8).Draw(t, "steps") {
		step, condition := w.step(t, n)
		s.rules.Steps = append(s.rules.Steps, step)
		conditions = append(conditions, condition)
	}
	if one(t, 2, "backwards") { // the order of the steps is free
		slices.Reverse(s.rules.Steps)
		slices.Reverse(conditions)
	}
	var err error
	s.rules.Horizon = rapid.IntRange(1, 25).Draw(t, "horizon")
	if s.protocol, err = protocolOf(s.rules, conditions); err != nil {
		s.refused(t, err)
	}
	s.c = drawCase(t, f)
	facts(t, &s.c)
	s.c.Repeats = map[string][]string{"medicine": []string{"a", "b"}[:rapid.IntRange(0, 2).Draw(t, "medicines")]}
	for n := range rapid.IntRange(0, 2).Draw(t, "events") {
		at := f.instant(t, walk(dayOr(s.c.Surgery, f, s.c.Booked), -rapid.IntRange(-20, 30).Draw(t, "raised")))
		s.c.Events = append(s.c.Events, Event{Name: "event", Key: fmt.Sprint("e", n), At: at})
	}
	drawEntries(t, &s, rapid.SampledFrom([]int{2, 2, 5}).Draw(t, "one entry in"))
	drawRecords(t, &s, rapid.SampledFrom([]int{2, 4, 12}).Draw(t, "one record in"))
	s.now = drawNow(t, s)
	return s
}

func dayOr(d Day, f facility, otherwise time.Time) Day {
	if d == 0 {
		return f.place.dateOf(otherwise)
	}
	return d
}

func facts(t *rapid.T, c *Case) {
	c.Facts = map[string]any{"urgent": one(t, 2, "urgent")}
	for _, name := range []string{"pets", "asks"} {
		if v := rapid.IntRange(0, 2).Draw(t, name); v > 0 {
			c.Facts[name] = v == 2
		}
	}
	if one(t, 2, "clearance known") {
		c.Facts["clearance"] = rapid.SampledFrom([]float64{20, 50, 50.1, 90}).Draw(t, "clearance")
	}
	if c.Stay != "" {
		c.Facts["stay"] = c.Stay
	}
}

// instant is some second of a day.
func (f facility) instant(t *rapid.T, d Day) time.Time {
	at := f.place.reaches(wall{d, 0})
	return at.Add(time.Duration(rapid.IntRange(0, 86399).Draw(t, "second")) * time.Second)
}

// surgeryDay lies anywhere from 2024 to 2037, or about a day out of the ordinary.
func (f facility) surgeryDay(t *rapid.T) Day {
	first, last := DayOf(2024, 1, 10), DayOf(2037, 12, 20)
	about := [][]Day{nil, f.clocks, f.closed, f.monthEnds}[rapid.IntRange(0, 3).Draw(t, "about")]
	if len(about) == 0 {
		return Day(rapid.IntRange(int(first), int(last)).Draw(t, "day"))
	}
	d := rapid.SampledFrom(about).Draw(t, "day") + Day(rapid.IntRange(-8, 8).Draw(t, "off"))
	return min(max(d, first), last)
}

func drawCase(t *rapid.T, f facility) Case {
	c := Case{Surgery: f.surgeryDay(t)}
	c.Booked = f.instant(t, walk(c.Surgery, -rapid.IntRange(0, 110).Draw(t, "booked days before")))
	c.Start = f.place.reaches(wall{c.Surgery, rapid.SampledFrom([]int{0, 90, 150, 450, 450, 780, 1380}).Draw(t, "start")})
	c.Stay = rapid.SampledFrom([]string{"", "same-day", "overnight"}).Draw(t, "stay")
	c.Under = map[string]string{"side": rapid.SampledFrom([]string{"left", "right"}).Draw(t, "side")}
	c.Held = one(t, 5, "held")
	switch rapid.IntRange(0, 11).Draw(t, "variant") {
	case 11:
		c.Start = time.Time{}
	case 10:
		c.Surgery, c.Start = 0, time.Time{}
	case 9:
		c.Cancelled = true
	case 8:
		c.Arrived = f.instant(t, c.Surgery)
		c.Left = f.instant(t, walk(c.Surgery, rapid.IntRange(0, 3).Draw(t, "left")))
	case 7:
		c.Arrived = f.instant(t, walk(c.Surgery, -rapid.IntRange(0, 1).Draw(t, "arrived")))
	}
	c.Spans = drawSpans(t, c)
	return c
}

// drawSpans are holds that began or ended about the hour of the operation.
func drawSpans(t *rapid.T, c Case) (out []Span) {
	about := c.Start
	if about.IsZero() {
		about = c.Booked
	}
	near := func(label string) time.Time {
		return about.Add(time.Duration(rapid.SampledFrom([]int{-90000, -3600, -1, 0, 0, 1, 3600, 90000}).Draw(t, label)) * time.Second)
	}
	for range rapid.SampledFrom([]int{0, 0, 0, 1, 2}).Draw(t, "spans") {
		s := Span{From: near("from"), Until: near("until")}
		if one(t, 3, "stands") {
			s.Until = about.AddDate(1, 0, 0)
		}
		out = append(out, s)
	}
	return out
}

// drawNow is most often a moment at which something may turn, or a second off.
func drawNow(t *rapid.T, s situation) time.Time {
	base := s.c.Booked
	if s.c.Surgery != 0 && one(t, 2, "from surgery") {
		base = s.place.reaches(wall{s.c.Surgery, 0})
	}
	now := base.Add(time.Duration(rapid.IntRange(-3*24*3600, 120*24*3600).Draw(t, "now")) * time.Second)
	if !one(t, 3, "at a turn") {
		return now
	}
	p := &planner{s.place, s.rules, s.c, now, map[string][]Item{}}
	turns := []time.Time{s.c.Booked}
	for _, it := range Make(s.place, s.rules, s.c, now).Items {
		for _, m := range []Moment{it.Opens, it.Due, it.Last} {
			if !m.none() {
				warning := p.place.reaches(wall{walk(m.Day, -s.rules.WarningDays), 0})
				turns = append(turns, p.starts(m), p.ends(m), warning)
			}
		}
		if it.LeaveBy != 0 {
			turns = append(turns, p.ends(Moment{Day: it.LeaveBy}))
		}
	}
	return rapid.SampledFrom(turns).Draw(t, "turn").Add(time.Duration(rapid.IntRange(-1, 1).Draw(t, "off")) * time.Second)
}

// refused: the code does not take these rules. Where it says that a window is
// empty in every calendar, the oracle must find none that is not; where steps
// wait for each other in a circle, it must find the circle.
func (s situation) refused(t *rapid.T, err error) {
	var refusal *readiness.ProtocolError
	require.ErrorAs(t, err, &refusal)
	for _, fault := range refusal.Faults {
		code, _, _ := strings.Cut(fault, " ")
		if strings.Contains(fault, "wait for each other") {
			continue
		}
		require.Contains(t, fault, "in every calendar")
		require.False(t, s.everOpen(code), "%s\n%s", fault, s.describe(code+"/"))
	}
	t.Skip("refused: ", err)
}

// everOpen says whether the window of a step can ever be met, with each step
// that it comes after done on its first day.
func (s situation) everOpen(code string) bool {
	for _, d := range []Day{DayOf(2026, 6, 10), DayOf(2026, 7, 6), DayOf(2027, 3, 1), DayOf(2028, 12, 29), DayOf(2028, 3, 31)} {
		for _, minute := range []int{0, 23*60 + 59} {
			at := s.place.reaches(wall{d, minute})
			p := &planner{s.place, s.rules, Case{Surgery: d, Start: at, Left: at}, at, map[string][]Item{}}
			if p.fits(code) {
				return true
			}
		}
	}
	return false
}

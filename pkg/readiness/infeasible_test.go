package readiness_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/countback/pkg/readiness"
)

// reasonsOf writes each reason as "which, by which rule, how late".
func reasonsOf(pl *readiness.Plan) string {
	var out []string
	for _, r := range pl.Infeasible {
		rule := "own " + r.Latest.String()
		if r.Then != nil {
			rule = fmt.Sprintf("%s for %s which takes %d", r.Latest, strings.Join(r.Then, "+"), r.Takes)
		}
		out = append(out, fmt.Sprintf("%s: %s, %d late", r.Key.Step, rule, r.DaysMissing))
	}
	return strings.Join(out, "; ")
}

// Surgery is on Mon 30 Nov 2026, so the default last day is Sun 29 Nov.
func TestInfeasibleByWhatFollows(t *testing.T) {
	cal := chicago(t)
	swab := step("swab", before(30, 10))
	treat := after("treat", 2, days(surgery, -1), "swab")
	check := after("check", 1, days(surgery, -1), "treat")
	chain := []readiness.Step{check, treat, swab}
	for _, r := range []struct {
		name    string
		steps   []readiness.Step
		now     string
		entries map[string]readiness.Entry
		want    string
	}{
		{"on the last day that leaves time", chain, "2026-11-26 23:59", nil, ""},
		{"a day later only the first is a reason", chain, "2026-11-27 00:00", nil, "swab: 2026-11-26 for treat+check which takes 3, 1 late"},
		{"even when all of them are too late", chain, "2026-11-30 00:00", nil, "swab: 2026-11-26 for treat+check which takes 3, 4 late"},
		{"the first is done: the next has until the 28th", chain, "2026-11-28 12:00", map[string]readiness.Entry{"swab": {Outcome: readiness.Done, On: day(t, "2026-11-20")}}, ""},
		{"the next is the first that is left", chain, "2026-11-29 00:00", map[string]readiness.Entry{"swab": {Outcome: readiness.Done, On: day(t, "2026-11-20")}}, "treat: 2026-11-28 for check which takes 1, 1 late"},
		{"done so late that the next opens too late", chain, "2026-11-27 12:00", map[string]readiness.Entry{"swab": {Outcome: readiness.Done, On: day(t, "2026-11-27")}}, "treat: 2026-11-28 for check which takes 1, 1 late"},
		{"what failed is the reason, not what waits for it", chain, "2026-11-29 12:00", map[string]readiness.Entry{"swab": {Outcome: readiness.Failed}}, "swab: own 2026-11-29, 0 late"},
		{"a should in between may be waived", []readiness.Step{check, need(treat, readiness.Should), swab}, "2026-11-29 12:00", nil, ""},
		{"a should at the end stops nobody", []readiness.Step{need(check, readiness.Should), treat, swab}, "2026-11-27 12:00", nil, ""},
		{"a should at the start does not hold up a must", []readiness.Step{check, treat, need(swab, readiness.Should)}, "2026-11-28 12:00", nil, ""},
		{"one that opens too late in this calendar is a reason by itself", []readiness.Step{step("a", before(10, 1)),
			step("b", readiness.Window{Opens: points(days("a", 0), business(surgery, -1)), Due: points(days(surgery, -1))}), after("c", 1, days(surgery, -2), "b")},
			"2026-11-01 12:00", nil, ""}, // Fri 27, and c on Sat 28
		{"two chains, two reasons", []readiness.Step{swab, treat, step("visit", before(30, 7)), after("report", 3, days(surgery, -1), "visit")}, "2026-11-28 12:00", nil,
			"swab: 2026-11-27 for treat which takes 2, 1 late; visit: 2026-11-26 for report which takes 3, 2 late"},
		{"a common end", []readiness.Step{step("x", before(30, 7)), step("y", before(30, 7)), after("z", 4, days(surgery, -1), "x", "y")}, "2026-11-26 12:00", nil,
			"x: 2026-11-25 for z which takes 4, 1 late; y: 2026-11-25 for z which takes 4, 1 late"},
		{"its own last day comes first", []readiness.Step{lastDay(swab, days(surgery, -9)), treat}, "2026-11-22 12:00", nil, "swab: own 2026-11-21, 1 late"},
		{"business days: Thanksgiving and a weekend lie between", []readiness.Step{swab, step("b", readiness.Window{Opens: points(business("swab", 2)), Due: points(days(surgery, -1))})}, "2026-11-26 00:00", nil,
			"swab: 2026-11-24 for b which takes 5, 2 late"}, // of Wed 25 the second business day after is Mon 30, of Tue 24 it is Fri 27
		{"one that is due so long before another", []readiness.Step{step("sign", window(days(booking, 0), business("stop", -3))), fixed(step("stop", before(6, 6)))}, "2026-11-20 12:00", nil,
			"sign: 2026-11-19 for stop which takes 5, 1 late"},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := surgeryOn(t, cal, "2026-11-30")
			c.Entries = entries(r.entries)
			pl := readiness.Make(&c, protocol(t, r.steps...), cal, clock(t, cal, r.now))
			require.Equal(t, r.want, reasonsOf(pl))
			require.Equal(t, r.want != "", pl.State == readiness.CaseInfeasible, pl.State)
		})
	}
}

// On Tuesday 1 Dec the business day before is Monday: b opens a day too late for
// c, whatever is done about a.
func TestInfeasibleByItself(t *testing.T) {
	cal := chicago(t)
	b := step("b", readiness.Window{Opens: points(days("a", 0), business(surgery, -1)), Due: points(days(surgery, -1))})
	p := protocol(t, step("a", before(10, 1)), b, lastDay(after("c", 1, days(surgery, -1), "b"), days(surgery, -1)))
	c := surgeryOn(t, cal, "2026-12-01")
	pl := readiness.Make(&c, p, cal, clock(t, cal, "2026-11-20 09:00"))
	require.Equal(t, "b: 2026-11-29 for c which takes 1, 1 late", reasonsOf(pl))
	pl = readiness.Make(&c, p, cal, clock(t, cal, "2026-11-30 09:00"))
	require.Equal(t, "a: 2026-11-29 for b+c which takes 1, 1 late; b: 2026-11-29 for c which takes 1, 1 late", reasonsOf(pl))
}

// The plan turns infeasible at the end of the last day that leaves time, though
// no item changes its state then.
func TestNextChangeIsWhenTimeRunsOut(t *testing.T) {
	cal := chicago(t)
	p := protocol(t, step("swab", before(30, 1)), after("treat", 5, days(surgery, -1), "swab"))
	c := surgeryOn(t, cal, "2026-11-30")
	pl := readiness.Make(&c, p, cal, clock(t, cal, "2026-11-23 09:00"))
	require.Equal(t, clock(t, cal, "2026-11-25 00:00"), pl.NextChange)
	require.Equal(t, readiness.CaseOnTrack, pl.State)
	pl = readiness.Make(&c, p, cal, pl.NextChange)
	require.Equal(t, readiness.CaseInfeasible, pl.State)
	require.Equal(t, readiness.Open, item(t, pl, "swab").State)
}

// A hold waits for its release: what it pauses is no reason.
func TestPausedIsNoReason(t *testing.T) {
	cal := chicago(t)
	swab := step("swab", before(30, 1))
	swab.PausesOnHold = true
	c := surgeryOn(t, cal, "2026-11-30")
	c.Held = true
	pl := readiness.Make(&c, protocol(t, swab, after("treat", 5, days(surgery, -1), "swab")), cal, clock(t, cal, "2026-11-28 09:00"))
	require.Equal(t, readiness.Paused, item(t, pl, "swab").State)
	require.Empty(t, pl.Infeasible)
}

func TestLeaveBy(t *testing.T) {
	cal := chicago(t)
	swab := step("swab", before(30, 10))
	treat := after("treat", 2, days(surgery, -1), "swab")
	check := after("check", 1, days(surgery, -1), "treat")
	doubt := treat
	doubt.Condition = condition(t, "pets")
	every := func(s readiness.Step) readiness.Step { s.RepeatFor = "medicine"; return s }
	for _, r := range []struct {
		name  string
		steps []readiness.Step
		done  string
		want  string // of swab
	}{
		{"through a chain", []readiness.Step{check, treat, swab}, "", "2026-11-26 treat+check"},
		{"a could as well: it is advice", []readiness.Step{need(treat, readiness.Could), swab}, "", "2026-11-27 treat"},
		{"not for what is in doubt", []readiness.Step{doubt, swab}, "", ""},
		{"not where its own last day is as early", []readiness.Step{lastDay(swab, days(surgery, -3)), treat}, "", ""},
		{"not for what is done", []readiness.Step{treat, swab}, "treat", ""},
		{"the shorter chain for the same day", []readiness.Step{swab, after("a", 1, days(surgery, -1), "swab"), after("b", 1, days(surgery, -1), "a"), after("z", 2, days(surgery, -1), "swab")}, "", "2026-11-27 z"},
		{"each medicine its own", []readiness.Step{every(swab), every(treat)}, "", "2026-11-27 treat"},
	} {
		t.Run(r.name, func(t *testing.T) {
			p := protocol(t, r.steps...)
			c := surgeryOn(t, cal, "2026-11-30")
			c.Repeats = map[string][]string{"medicine": {"one", "two"}}
			if r.done != "" {
				c.Entries = entries(map[string]readiness.Entry{r.done: doneOn(day(t, "2026-11-20"), c)})
			}
			for _, now := range []string{"2026-09-01 09:00", "2026-11-24 09:00", "2026-11-29 23:59"} { // it is the same every day
				for _, i := range readiness.Make(&c, p, cal, clock(t, cal, now)).Items {
					if i.Key.Step == "swab" {
						require.Equal(t, r.want, strings.TrimSpace(i.LeaveBy.String()+" "+strings.Join(i.LeaveFor, "+")))
						require.Equal(t, r.want != "", strings.Contains(p.Why(&i), "can still follow"), p.Why(&i))
					}
				}
			}
		})
	}
}

// What has to leave time says so, and a change of it is a change of the item.
func TestLeaveByIsToldAndReplanned(t *testing.T) {
	cal := chicago(t)
	swab, treat := step("swab", before(30, 10)), after("treat", 2, days(surgery, -1), "swab")
	c := surgeryOn(t, cal, "2026-11-30")
	now := clock(t, cal, "2026-11-02 09:00")
	one := readiness.Make(&c, protocol(t, swab, treat), cal, now)
	p := protocol(t, swab, after("treat", 3, days(surgery, -1), "swab"))
	two := readiness.Make(&c, p, cal, now)
	changes := readiness.Replan(one.Items, two)
	require.Len(t, changes, 1, "treat itself stands as it was")
	require.Equal(t, readiness.Moved, changes[0].Kind)
	require.Equal(t, "swab", changes[0].New.Key.Step)
	require.Contains(t, p.Why(changes[0].New), "do it by Thu 26 Nov 2026, so that “Title of treat” can still follow")
}

// A must that was missed is a reason, or waits for one that is.
func TestMissedMustsAreAccountedFor(t *testing.T) {
	w := newWorld(t)
	rapid.Check(t, func(t *rapid.T) {
		s := w.draw(t)
		pl := s.plan(s.now)
		named := map[readiness.Key]bool{}
		for _, r := range pl.Infeasible {
			named[r.Key] = true
			require.GreaterOrEqual(t, r.DaysMissing, 0)
		}
		for _, i := range pl.Items {
			if named[i.Key] || i.State != readiness.Missed || i.Step.Need != readiness.Must || i.Applies != readiness.Yes || i.Last.Day > pl.Day || pl.State == readiness.CaseCancelled || pl.Day.IsZero() {
				continue
			}
			if i.Entry.Outcome == readiness.Failed {
				continue // for another date
			}
			require.NotEmpty(t, pl.Infeasible, "%v is missed, and nothing says so", i.Key)
		}
	})
}

package readiness_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// within is a protocol that looks 60 days ahead.
func within(t require.TestingT, steps ...readiness.Step) *readiness.Protocol {
	p, err := readiness.NewProtocol(readiness.Protocol{
		URL: "http://hospital.example/protocol", Version: "7", Stays: stays, Steps: steps, Horizon: 60,
	})
	require.NoError(t, err)
	return p
}

func lastDay(s readiness.Step, last readiness.Point) readiness.Step {
	s.Last = &last
	return s
}

func fixed(s readiness.Step) readiness.Step {
	s.Fixed = true
	return s
}

func need(s readiness.Step, n readiness.Need) readiness.Step {
	s.Need = n
	return s
}

const surgery0 = readiness.AnchorSurgery

func TestEarliest(t *testing.T) {
	cal := chicago(t)
	visit := step("visit", before(30, 7))
	tests := lastDay(step("tests", before(30, 14)), days(surgery0, -4))
	wash := fixed(step("wash", before(5, 5)))
	for _, r := range []struct {
		name    string
		steps   []readiness.Step
		done    map[string]string // step → day it was done for 30 November
		failed  string
		day     string
		run     int
		reasons string
	}{
		{"nothing to do", nil, nil, "", "2026-11-24", 40, ""}, // 44 weekdays less four federal holidays
		{"a last day of D-1 leaves tomorrow", []readiness.Step{visit}, nil, "", "2026-11-24", 40, ""},
		{"a last day of D-4", []readiness.Step{tests}, nil, "", "2026-11-27", 38, "tests 2026-11-27"},
		{"a fixed must on D-5, over a weekend", []readiness.Step{wash}, nil, "", "2026-11-30", 37, "wash 2026-11-30"},
		{"a fixed should holds up nothing", []readiness.Step{need(wash, readiness.Should)}, nil, "", "2026-11-24", 40, ""},
		{"the binding one first", []readiness.Step{tests, wash}, nil, "", "2026-11-30", 37, "wash 2026-11-30, tests 2026-11-27"},
		{"done for any date", []readiness.Step{tests}, map[string]string{"tests": "2026-11-20"}, "", "2026-11-24", 40, ""},
		{"failed for good", []readiness.Step{visit, tests}, nil, "visit", "", 0, "visit never, tests 2026-11-27"},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := surgeryOn(t, cal, "2026-11-30")
			list := map[string]readiness.Entry{}
			for code, on := range r.done {
				list[code] = doneOn(day(t, on), c)
			}
			if r.failed != "" {
				list[r.failed] = readiness.Entry{Outcome: readiness.Failed}
			}
			c.Entries = entries(list)
			safe := readiness.Earliest(&c, within(t, r.steps...), cal, clock(t, cal, "2026-11-23 09:00"))
			require.Equal(t, r.day, safe.Day.String())
			require.Equal(t, r.run, safe.Run)
			require.Equal(t, r.reasons, told(safe.Obstacles))
		})
	}
}

func told(list []readiness.Obstacle) string {
	out := ""
	for n, o := range list {
		if n > 0 {
			out += ", "
		}
		on := o.Clear.String()
		if on == "" {
			on = "never"
		}
		out += o.Key.Step + " " + on
	}
	return out
}

// What was done on a fixed day counts for its own date. The days after that one
// fail, because the fixed day before them is gone, until it can come again.
func TestEarliestIsNotMonotone(t *testing.T) {
	cal := chicago(t)
	wash := fixed(step("wash", before(5, 5)))
	wash.Expiry = readiness.Expiry{Kind: readiness.ThisDate}
	c := surgeryOn(t, cal, "2026-12-01")
	c.Entries = entries(map[string]readiness.Entry{"wash": doneOn(day(t, "2026-11-26"), c)})
	safe := readiness.Earliest(&c, within(t, wash), cal, clock(t, cal, "2026-11-29 09:00"))
	require.Equal(t, "2026-12-01", safe.Day.String())
	require.Equal(t, 1, safe.Run)
	require.Equal(t, "wash 2026-12-01", told(safe.Obstacles), "30 November fails: its day was the 25th")
}

func TestEarliestSaysWhatMustBeKnown(t *testing.T) {
	cal := chicago(t)
	asks := step("approval", before(30, 14))
	asks.Condition = condition(t, "asks")
	pets := need(step("pets", before(30, 7)), readiness.Could)
	pets.Condition = condition(t, "pets")
	c := surgeryOn(t, cal, "2026-11-30")
	now := clock(t, cal, "2026-11-23 09:00")
	safe := readiness.Earliest(&c, within(t, asks, pets), cal, now)
	require.Len(t, safe.Unknown, 1, "a could in doubt stands in nobody's way")
	require.Equal(t, []string{"whether the payer asks"}, safe.Unknown[0].Needs)
	require.Equal(t, "2026-11-23", show(safe.Unknown[0].By))
	c.Facts = map[string]any{"asks": false}
	require.Empty(t, readiness.Earliest(&c, within(t, asks, pets), cal, now).Unknown)
}

// The time of day is kept on the other side of a clock change.
func TestEarliestKeepsTheTimeOfDay(t *testing.T) {
	cal := chicago(t)
	fast := fixed(step("fast", window(hours(surgery0, -8), hours(surgery0, -8))))
	c := surgeryOn(t, cal, "2027-03-12") // the clocks change on the 14th
	now := clock(t, cal, "2027-03-14 23:29")
	require.Equal(t, "2027-03-15", readiness.Earliest(&c, within(t, fast), cal, now).Day.String())
	require.Equal(t, "2027-03-16", readiness.Earliest(&c, within(t, fast), cal, now.Add(time.Minute)).Day.String())
}

// The answer is what trying each day by hand gives, and the case stays as it was.
func TestEarliestIsTheFirstDayThatPasses(t *testing.T) {
	cal := chicago(t)
	rapid.Check(t, func(t *rapid.T) {
		var steps []readiness.Step
		for n := range rapid.IntRange(1, 4).Draw(t, "steps") {
			due := rapid.IntRange(0, 20).Draw(t, "due")
			s := step(string(rune('a'+n)), before(due+rapid.IntRange(0, 9).Draw(t, "length"), due))
			s.Fixed = rapid.Bool().Draw(t, "fixed")
			s.Need = rapid.SampledFrom([]readiness.Need{readiness.Must, readiness.Should}).Draw(t, "need")
			if rapid.Bool().Draw(t, "for this date") {
				s.Expiry = readiness.Expiry{Kind: readiness.ThisDate}
			}
			if rapid.Bool().Draw(t, "last") {
				s = lastDay(s, days(surgery0, -rapid.IntRange(0, due).Draw(t, "last day")))
			}
			if n > 0 && rapid.Bool().Draw(t, "counts from another step") {
				s = lastDay(s, days("a", rapid.IntRange(1, 20).Draw(t, "days after it")))
			}
			steps = append(steps, s)
		}
		p := within(t, steps...)
		c := surgeryOn(t, cal, "2026-11-30")
		if rapid.Bool().Draw(t, "done") {
			c.Entries = entries(map[string]readiness.Entry{"a": doneOn(day(t, "2026-11-10"), c)})
		}
		now := clock(t, cal, "2026-11-12 09:00").AddDate(0, 0, rapid.IntRange(0, 17).Draw(t, "days later"))
		before := c
		safe := readiness.Earliest(&c, p, cal, now)
		require.Equal(t, before, c)
		first, run := calendar.Date(0), 0
		for d := cal.DateOf(now).Add(1); d <= cal.DateOf(now).Add(60); d = d.Add(1) {
			if !cal.IsOperatingDay(d) {
				continue
			}
			try := c
			try.Day, try.Start = d, clock(t, cal, d.String()+" 07:30")
			if len(readiness.Make(&try, p, cal, now).Infeasible) == 0 {
				if run++; run == 1 {
					first = d
				}
			} else if run > 0 {
				break
			}
		}
		require.Equal(t, first, safe.Day)
		require.Equal(t, run, safe.Run)
		for _, o := range safe.Obstacles {
			require.True(t, safe.Day.IsZero() || o.Clear <= safe.Day, "each reason is out of the way by then")
		}
	})
}

func BenchmarkEarliest(b *testing.B) {
	cal := chicago(b)
	c := surgeryOn(b, cal, "2026-11-30")
	now := clock(b, cal, "2026-11-23 09:00")
	p := within(b, step("visit", before(30, 7)), lastDay(step("tests", before(30, 14)), days(surgery0, -4)))
	for b.Loop() {
		readiness.Earliest(&c, p, cal, now)
	}
}

// What in the records is too near to a day stands in its way by its own days,
// and a hold that somebody must release makes the answer conditional. Surgery
// was booked for Monday 30 November 2026 and it is the 20th; the 26th is
// Thanksgiving. Extraction and 21 days: American Academy of Orthopaedic
// Surgeons, November 2024 (published).
func TestEarliestWithGrounds(t *testing.T) {
	cal := chicago(t)
	release := step("clear", readiness.Window{})
	release.Trigger = readiness.TriggerHold
	p := protocol(t, step("s", before(3, 1)), release)
	p.Horizon = 60
	now := clock(t, cal, "2026-11-20 09:00")
	extraction := func(on string) readiness.Ground {
		return readiness.Ground{
			Kind: "teeth", Record: "Procedure/x", Says: "an extraction", Day: day(t, on),
			After: readiness.Offset{N: 21}, NotBefore: readiness.Offset{N: 3, Unit: readiness.Months},
		}
	}
	for _, r := range []struct {
		name   string
		ground readiness.Ground
		day    string
		run    int // at least, where the horizon ends it
		known  int // doubts
	}{
		{"done on the 12th", extraction("2026-11-12"), "2026-12-03", 2, 1},
		{"to come on 10 December: not before it and not soon after", extraction("2026-12-10"), "2026-12-31", 2, 1},
		{"to come in March: there is time before it, and then none", extraction("2027-03-01"), "2026-11-23", 6, 0},
		{"an infection that goes on: seven days after today at the earliest",
			readiness.Ground{Kind: "infection", Record: "Condition/c", Says: "an infection", Active: true, After: readiness.Offset{N: 7}}, "2026-11-27", 2, 2},
		{"an extraction without a day: 21 days after today at the earliest",
			readiness.Ground{Kind: "teeth", Record: "Procedure/x", Says: "an extraction", Active: true, After: readiness.Offset{N: 21}}, "2026-12-11", 2, 2},
		{"somebody decides", readiness.Ground{Kind: "infection", Record: "Condition/c", Says: "an infection", Active: true}, "2026-11-23", 2, 2},
		{"withdrawn", readiness.Ground{Kind: "infection", Record: "Condition/c", Active: true, Withdrawn: true, After: readiness.Offset{N: 7}}, "2026-11-23", 2, 0},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := surgeryOn(t, cal, theDay)
			c.Grounds = []readiness.Ground{r.ground}
			c.Holds = readiness.Holds(nil, c.Grounds, &c, p, now)
			safe := readiness.Earliest(&c, p, cal, now)
			require.Equal(t, r.day, safe.Day.String())
			if r.run == 6 { // Mon 23, Tue 24, Wed 25, Fri 27, Mon 30 November and Tue 1 December, three months to the day
				require.Equal(t, r.run, safe.Run)
			} else {
				require.GreaterOrEqual(t, safe.Run, r.run)
			}
			require.Len(t, safe.Unknown, r.known)
			require.Equal(t, r.known > 0, safe.Conditional())
			if undated := r.ground.Active && !r.ground.Withdrawn; undated {
				require.Equal(t, []string{"whether " + r.ground.Says + " was over by Fri 20 Nov 2026, as is counted here, which nobody has said"}, safe.Unknown[0].Needs)
				require.Equal(t, safe.Day.Add(-1), safe.Unknown[0].By.Day)
			}
			if len(safe.Obstacles) > 0 {
				require.Equal(t, readiness.Key{Step: "clear", Repeat: r.ground.Record}, safe.Obstacles[0].Key)
				require.Contains(t, safe.Obstacles[0].Ground, r.ground.Says)
				require.Equal(t, safe.Day, safe.Obstacles[0].Clear)
				require.Equal(t, r.ground.Day.IsZero(), safe.Obstacles[0].Assumed)
			}
		})
	}
}

package readiness_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// What is late or soon due has to be done for another day to hold, and the answer
// says which and by when. Surgery was booked for Monday 7 December 2026, and it is
// Friday 20 November. Days counted by hand.
func TestEarliestSaysWhatMustBeDone(t *testing.T) {
	cal := chicago(t)
	now := clock(t, cal, "2026-11-20 09:00")
	tests := lastDay(step("tests", before(30, 20)), days(surgery0, -4)) // due on 17 November for the day that is booked
	visit := step("visit", before(30, 1))
	wash := fixed(step("wash", before(25, 25))) // too late for the day that is booked, today for 15 December
	read := lastDay(after("read", 2, days(surgery0, -5), "tests"), days(surgery0, -5))
	asks := lastDay(step("approval", before(30, 20)), days(surgery0, -4))
	asks.Condition = condition(t, "asks")
	release := step("release", before(30, 20))
	release.Trigger = readiness.TriggerHold
	for _, r := range []struct {
		name  string
		steps []readiness.Step
		done  string // the step that was done on the 18th
		day   string
		want  string
	}{
		{"late for both days", []readiness.Step{tests}, "", "2026-11-24", "tests due 2026-11-04, over, by 2026-11-20"},
		{"late for the booked day, in good time for the other", []readiness.Step{tests, wash}, "", "2026-12-15", "tests due 2026-11-25, by 2026-12-11; wash due 2026-11-20, by 2026-11-20"},
		{"done", []readiness.Step{tests, wash}, "tests", "2026-12-15", "wash due 2026-11-20, by 2026-11-20"},
		{"no must", []readiness.Step{need(tests, readiness.Should)}, "", "2026-11-23", ""},
		{"soon due", []readiness.Step{visit}, "", "2026-11-23", "visit due 2026-11-22, by 2026-11-22"},
		{"due long after the warning", []readiness.Step{visit, wash}, "", "2026-12-15", "wash due 2026-11-20, by 2026-11-20"},
		{"what follows it needs time as well", []readiness.Step{tests, read}, "", "2026-11-27", "tests due 2026-11-07, over, by 2026-11-20; read due 2026-11-22, by 2026-11-22"},
		{"in doubt: that is asked, not done", []readiness.Step{asks}, "", "2026-11-23", ""},
		{"the release of a hold: that is asked", []readiness.Step{release}, "", "2026-11-23", ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := surgeryOn(t, cal, "2026-12-07")
			c.Raised = []readiness.Raised{{Trigger: readiness.TriggerHold, Key: "infection", At: now}}
			if r.done != "" {
				c.Entries = entries(map[string]readiness.Entry{r.done: doneOn(day(t, "2026-11-18"), c)})
			}
			p := within(t, r.steps...)
			p.DueWarning = 72 * time.Hour
			safe := readiness.Earliest(&c, p, cal, now)
			require.Equal(t, r.day, safe.Day.String())
			require.False(t, safe.Conditional() && r.name != "in doubt: that is asked, not done")
			require.Equal(t, r.want, presses(safe.Pressing))
			c.Held = true // what waits for a release is late all the same
			require.Equal(t, r.want, presses(readiness.Earliest(&c, p, cal, now).Pressing))
		})
	}
}

// The first day for which everything can be done in its usual time. Surgery was
// booked for Monday 7 December 2026, and it is Friday 20 November at nine; what is
// due by Monday 23 November is soon due. The 26th is Thanksgiving. Days counted by
// hand: due 20 days before means 14 December for 24 November, the first day not
// warned of.
func TestEverythingInItsUsualTime(t *testing.T) {
	cal := chicago(t)
	now := clock(t, cal, "2026-11-20 09:00")
	tests := lastDay(step("tests", before(30, 20)), days(surgery0, -4))
	call := step("call", window(days(readiness.AnchorBooking, 0), days(readiness.AnchorBooking, 3)))
	mark := step("mark", window(days(surgery0, 0), days(surgery0, 0)))
	asks := lastDay(step("approval", before(30, 20)), days(surgery0, -4))
	asks.Condition = condition(t, "asks")
	dental := readiness.Ground{Kind: "teeth", Record: "Procedure/x", Says: "an extraction", Day: day(t, "2027-03-01"), After: readiness.Offset{N: 21}, NotBefore: readiness.Offset{N: 3, Unit: readiness.Months}}
	for _, r := range []struct {
		name          string
		steps         []readiness.Step
		ground        *readiness.Ground
		day, from     string
		doubt         bool
		anyway, fails string
	}{
		{"twenty days and the warning", []readiness.Step{tests}, nil, "2026-11-24", "2026-12-14", false, "", ""},
		{"a should keeps nobody waiting", []readiness.Step{need(tests, readiness.Should)}, nil, "2026-11-23", "2026-11-23", false, "", ""},
		{"counted from the booking: its last day, the day before, is not soon", []readiness.Step{call}, nil, "2026-11-23", "2026-11-25", false, "call due 2026-08-06, over, by 2026-11-24", ""},
		{"done on the day of surgery", []readiness.Step{mark}, nil, "2026-11-23", "2026-11-23", false, "", ""},
		{"in doubt", []readiness.Step{asks}, nil, "2026-11-23", "2026-11-23", true, "", ""},
		{"nothing within the days in between", []readiness.Step{tests}, &dental, "2026-11-24", "", false, "", "2026-12-02"},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := surgeryOn(t, cal, "2026-12-07")
			if r.ground != nil {
				c.Grounds = []readiness.Ground{*r.ground}
			}
			p := within(t, r.steps...)
			p.DueWarning = 72 * time.Hour
			safe := readiness.Earliest(&c, p, cal, now)
			require.Equal(t, r.day, safe.Day.String())
			require.Equal(t, r.from, safe.InTime.String())
			require.Equal(t, r.doubt, safe.InTimeDoubt)
			require.Equal(t, r.anyway, presses(safe.Anyway))
			require.Equal(t, r.fails, safe.Fails.String())
			require.NotContains(t, presses(safe.Pressing), "mark")
		})
	}
}

func presses(list []readiness.Pressing) string {
	var out []string
	for _, o := range list {
		over := ""
		if o.Over {
			over = ", over"
		}
		out = append(out, fmt.Sprintf("%s due %s%s, by %s", o.Key.Step, show(o.Due), over, show(o.By)))
	}
	return strings.Join(out, "; ")
}

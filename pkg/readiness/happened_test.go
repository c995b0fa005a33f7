package readiness_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// When it is asked what became of an operation: of Monday 30 November 2026 at half
// past seven, home by the plan on Tuesday at eleven.
func TestWhenItIsAskedWhatHappened(t *testing.T) {
	cal := chicago(t)
	at := func(s string) time.Time { return clock(t, cal, s) }
	asking := step("confirm", window(days(readiness.AnchorRaised, 0), business(readiness.AnchorRaised, 1)))
	asking.Trigger, asking.Need = readiness.TriggerUnreported, readiness.Should
	p := protocol(t, asking)
	nothing := func(*readiness.Case) {}
	arrived := func(record string) func(*readiness.Case) {
		return func(c *readiness.Case) { c.Arrived, c.Seen = at("2026-11-30 06:00"), record }
	}
	for _, r := range []struct {
		name, now string
		held      bool
		change    func(*readiness.Case)
		keys      []string
		raised    string
	}{
		{"before they would be home", "2026-12-01 10:59", false, nothing, nil, ""},
		{"they would be home", "2026-12-01 11:00", false, nothing, []string{"2026-11-30"}, "2026-12-01 11:00"},
		{"and long after", "2027-06-01 09:00", false, nothing, []string{"2026-11-30"}, "2026-12-01 11:00"},
		{"held, before the hour", "2026-11-30 07:29", true, nothing, nil, ""},
		{"held, at the hour", "2026-11-30 07:30", true, nothing, []string{"2026-11-30"}, "2026-11-30 07:30"},
		{"held, and the booking names no hour", "2026-11-30 23:59", true, func(c *readiness.Case) { c.Start = time.Time{} }, nil, ""},
		{"held, and that day is over", "2026-12-01 00:00", true, func(c *readiness.Case) { c.Start = time.Time{} }, []string{"2026-11-30"}, "2026-12-01 00:00"},
		{"held for want of a date", "2027-06-01 09:00", true, func(c *readiness.Case) { c.Day, c.Start = 0, time.Time{} }, nil, ""},
		{"called off", "2027-06-01 09:00", false, func(c *readiness.Case) { c.Ending = readiness.Cancelled }, nil, ""},
		{"a record says that they came", "2026-12-02 09:00", false, arrived("Encounter/1"), nil, ""},
		{"a person says that they came", "2026-12-01 10:59", false, arrived(""), nil, ""},
		{"a person says that they came, and they would be home", "2026-12-01 11:00", false, arrived(""), []string{"2026-11-30-home"}, "2026-12-01 11:00"},
		{"they left", "2026-12-02 09:00", false, func(c *readiness.Case) { c.Left = at("2026-12-01 12:00") }, nil, ""},
		{"a record says that it was done", "2026-12-02 09:00", true, func(c *readiness.Case) { c.Operated, c.Seen = at("2026-11-30 08:00"), "Procedure/1" }, nil, ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := surgeryOn(t, cal, theDay)
			r.change(&c)
			known := c
			pl := readiness.Make(&c, p, cal, at(r.now))
			c.Held = r.held
			c.AskWhatHappened(nil, &known, pl, p, cal, at(r.now))
			var keys []string
			for _, raised := range c.Raised {
				require.True(t, at(r.raised).Equal(raised.At), "raised at %s", raised.At)
				keys = append(keys, raised.Key)
			}
			require.Equal(t, r.keys, keys)

			// It stays asked, once, and a record that answers it is its proof.
			if len(keys) == 0 {
				return
			}
			plan := readiness.Make(&c, p, cal, at(r.now))
			again := known
			again.Held, again.Raised = r.held, nil
			again.AskWhatHappened(plan.Items, &known, pl, p, cal, at(r.now).Add(time.Hour))
			require.Equal(t, c.Raised, again.Raised)
			known.Left, known.Seen = at(r.now), "Encounter/2"
			later := known
			later.AskWhatHappened(plan.Items, &known, pl, p, cal, at(r.now).Add(time.Hour))
			require.Equal(t, readiness.StateDone, item(t, readiness.Make(&later, p, cal, at(r.now).Add(time.Hour)), "confirm").State)
			known.Day++ // the operation moved: nothing is asked of the old day
			moved := known
			moved.AskWhatHappened(plan.Items, &known, pl, p, cal, at(r.now))
			require.Empty(t, moved.Raised)
		})
	}
}

// What a person reports fills in what no record says, and contradicts no record.
func TestWhatAPersonReports(t *testing.T) {
	cal := chicago(t)
	at := func(s string) time.Time { return clock(t, cal, s) }
	came, left := at("2026-11-30 06:00"), at("2026-12-01 12:00")
	for _, r := range []struct {
		name       string
		known      readiness.Case
		told       readiness.Happened
		came, left time.Time
		against    string
	}{
		{"both", readiness.Case{}, readiness.Happened{Came: came, Left: left}, came, left, ""},
		{"only that they left", readiness.Case{}, readiness.Happened{Left: left}, time.Time{}, left, ""},
		{"they came, which a record knows", readiness.Case{Arrived: at("2026-11-30 06:30")}, readiness.Happened{Came: came}, at("2026-11-30 06:30"), time.Time{}, ""},
		{"they left, and a record knows that they came", readiness.Case{Arrived: came}, readiness.Happened{Left: left}, came, left, ""},
		{"another hour of the same day", readiness.Case{Left: left}, readiness.Happened{Left: left.Add(time.Hour)}, time.Time{}, left, ""},
		{"another day", readiness.Case{Left: left}, readiness.Happened{Left: left.AddDate(0, 0, 1)}, time.Time{}, left, "went home on Wed 2 Dec 2026, and the record says Tue 1 Dec 2026"},
		{"they left before they came", readiness.Case{Arrived: left}, readiness.Happened{Left: came}, left, time.Time{}, "and the record says that they came on Tue 1 Dec 2026"},
		{"not done, and they came", readiness.Case{Arrived: came}, readiness.Happened{NotDone: true}, came, time.Time{}, "did not take place, and the record says that it did"},
		{"not done, and it was", readiness.Case{Operated: came}, readiness.Happened{NotDone: true}, time.Time{}, time.Time{}, "did not take place, and the record says that it did"},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := r.known
			c.Day = day(t, theDay)
			against := c.Reports(r.told, cal)
			require.Equal(t, []time.Time{r.came, r.left}, []time.Time{c.Arrived, c.Left})
			require.Equal(t, day(t, theDay), c.Day)
			if r.against == "" {
				require.Empty(t, against)
			} else {
				require.Contains(t, against, r.against)
			}
		})
	}
	c := surgeryOn(t, cal, theDay)
	require.Empty(t, c.Reports(readiness.Happened{NotDone: true}, cal))
	require.Equal(t, []any{true, true, true}, []any{c.Held, c.Day.IsZero(), c.Start.IsZero()}, "it waits for a date")
}

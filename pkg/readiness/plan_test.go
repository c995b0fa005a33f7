package readiness_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

func TestCompressedAndTooLate(t *testing.T) {
	cal := chicago(t)
	soft := step("s", before(42, 14)) // due 2026-11-16, last day 2026-11-29
	hard := with(step("s", before(15, 15)), func(st *readiness.Step) { st.Fixed = true })
	sooner := with(step("s", before(42, 14)), func(st *readiness.Step) {
		last := days(surgery, -10)
		st.Last = &last
	})
	waits := step("s", readiness.Window{Opens: points(days("first", 0)), Due: points(days(surgery, -14))})
	fasting := with(step("s", window(hours(surgery, -24), hours(surgery, -8))), func(st *readiness.Step) {
		last := hours(surgery, 0)
		st.Fixed, st.Last = true, &last
	})
	for _, r := range []struct {
		name, booked, now   string
		step                readiness.Step
		compressed, tooLate bool
		state               readiness.ItemState
	}{
		{"booked on the due day", "2026-11-16 23:59", "2026-11-16 23:59", soft, false, false, readiness.Due},
		{"booked the day after", "2026-11-17 00:00", "2026-11-17 00:00", soft, true, false, readiness.Due},
		{"stays due, never late", "2026-11-17 00:00", "2026-11-29 23:59", soft, true, false, readiness.Due},
		{"is missed after its last day", "2026-11-17 00:00", "2026-11-30 00:00", soft, true, false, readiness.Missed},
		{"booked after its last day", "2026-11-21 09:00", "2026-11-21 09:00", sooner, true, false, readiness.Missed},
		{"compressed but waiting", "2026-11-17 00:00", "2026-11-18 09:00", waits, true, false, readiness.Upcoming},
		{"fixed, booked on its day", "2026-11-15 18:00", "2026-11-15 18:00", hard, false, false, readiness.Due},
		{"fixed, booked the day after", "2026-11-16 00:00", "2026-11-16 00:00", hard, false, true, readiness.Missed},
		{"fasting, booked before it", "2026-11-29 23:00", "2026-11-29 23:29", fasting, false, false, readiness.Due},
		{"fasting, booked after midnight", "2026-11-30 00:10", "2026-11-30 00:10", fasting, false, true, readiness.Missed},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := surgeryOn(t, cal, theDay)
			c.Booked = clock(t, cal, r.booked)
			p := protocol(t, r.step, step("first", before(90, 20)))
			i := item(t, readiness.Make(&c, p, cal, clock(t, cal, r.now)), "s")
			require.Equal(t, r.compressed, i.Compressed, "compressed")
			require.Equal(t, r.tooLate, i.TooLate, "too late")
			require.Equal(t, r.state, i.State)
		})
	}
}

// A window keeps the days that the rule gives it, whatever the present is.
func TestWindowsAreNeverClipped(t *testing.T) {
	cal := chicago(t)
	c := surgeryOn(t, cal, theDay)
	p := protocol(t, step("s", before(42, 14)))
	for _, now := range []string{"2026-08-04 09:00", "2026-11-10 09:00", "2026-11-28 09:00", "2027-06-01 09:00"} {
		i := item(t, readiness.Make(&c, p, cal, clock(t, cal, now)), "s")
		require.Equal(t, []string{"2026-10-19", "2026-11-16", "2026-11-29"}, []string{show(i.Opens), show(i.Due), show(i.Last)}, now)
	}
}

func TestInfeasible(t *testing.T) {
	cal := chicago(t)
	must := step("s", before(20, 10))
	should := with(must, func(st *readiness.Step) { st.Need = readiness.Should })
	leaving := with(must, func(st *readiness.Step) { st.Need = readiness.MustToLeave })
	hard := with(step("s", before(15, 15)), func(st *readiness.Step) { st.Fixed = true })
	fasting := with(step("s", window(hours(surgery, -24), hours(surgery, -8))), func(st *readiness.Step) {
		last := hours(surgery, 0)
		st.Fixed, st.Last = true, &last
	})
	afterwards := with(step("s", window(days(surgery, 1), days(surgery, 2))), func(st *readiness.Step) {
		last := days(surgery, 3)
		st.Last = &last
	})
	failed := func(c *readiness.Case) {
		c.Entries = entries(map[string]readiness.Entry{"s": {Outcome: readiness.Failed, Reason: "no vein"}})
	}
	booked := func(at string) func(*readiness.Case) {
		return func(c *readiness.Case) { c.Booked = clock(t, cal, at) }
	}
	nothing := func(*readiness.Case) {}
	for _, r := range []struct {
		name, now string
		step      readiness.Step
		change    func(*readiness.Case)
		last      string // "": feasible; "-": infeasible without a date
		missing   int
	}{
		{"in time", "2026-11-29 23:59", must, nothing, "", 0},
		{"missed by a moment", "2026-11-30 00:00", must, nothing, "2026-11-29", 1},
		{"missed by three days", "2026-12-02 12:00", must, nothing, "2026-11-29", 3},
		{"a should missed", "2026-12-02 12:00", should, nothing, "", 0},
		{"a must before leaving missed", "2026-12-02 12:00", leaving, nothing, "", 0},
		{"fixed, booked too late", "2026-11-25 12:00", hard, booked("2026-11-17 09:00"), "2026-11-15", 2},
		{"fixed, missed on its day", "2026-11-17 00:00", hard, nothing, "2026-11-15", 2},
		{"fasting, booked after its time", "2026-11-30 00:20", fasting, booked("2026-11-30 00:10"), "2026-11-29T23:30:00-06:00", 1},
		{"failed before its last day", "2026-11-12 09:00", must, failed, "2026-11-29", 0},
		{"failed with no time known", "2026-11-12 09:00", fasting, func(c *readiness.Case) { failed(c); c.Start = time.Time{} }, "-", 0},
		{"missed after surgery", "2026-12-09 09:00", afterwards, nothing, "", 0},
		{"cancelled", "2026-12-02 12:00", must, func(c *readiness.Case) { c.Ending = readiness.Cancelled }, "", 0},
		{"postponed", "2026-12-02 12:00", must, moved0, "", 0},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := surgeryOn(t, cal, theDay)
			r.change(&c)
			pl := readiness.Make(&c, protocol(t, r.step), cal, clock(t, cal, r.now))
			if r.last == "" {
				require.Empty(t, pl.Infeasible)
				return
			}
			if r.last == "-" {
				r.last = ""
			}
			require.Len(t, pl.Infeasible, 1)
			got := pl.Infeasible[0]
			require.Equal(t, readiness.Key{Step: "s", Round: 1}, got.Key)
			require.Equal(t, r.last, show(got.Last))
			require.Equal(t, r.missing, got.DaysMissing)
		})
	}
}

func TestRepeatedAndTriggeredSteps(t *testing.T) {
	cal := chicago(t)
	now := clock(t, cal, "2026-11-20 09:00")
	p := protocol(t,
		with(step("each", before(6, 6)), func(st *readiness.Step) { st.RepeatFor = "medicine" }),
		with(byStaff(window(days(readiness.AnchorRaised, 0), business(readiness.AnchorRaised, 1))), func(st *readiness.Step) {
			st.Code, st.Trigger = "ask", "unclear"
		}),
		step("plain", before(6, 6)),
	)
	c := surgeryOn(t, cal, theDay)
	require.Len(t, readiness.Make(&c, p, cal, now).Items, 1, "neither repeated nor raised")

	c.Repeats = map[string][]string{"medicine": {"B", "A"}, "other": {"C"}}
	c.Raised = []readiness.Raised{
		{Trigger: "unclear", Key: "one", At: clock(t, cal, "2026-11-20 08:00"), Why: "two fit"},
		{Trigger: "something else", Key: "two", At: now},
		{Trigger: "unclear", Key: "three", At: clock(t, cal, "2026-11-25 08:00")},
	}
	c.Entries = map[readiness.Key]readiness.Entry{{Step: "each", Repeat: "A", Round: 1}: doneOn(day(t, "2026-11-19"), c)}
	pl := readiness.Make(&c, p, cal, now)
	var keys []string
	for _, i := range pl.Items {
		keys = append(keys, i.Key.Step+"/"+i.Key.Repeat+" "+show(i.Opens)+" "+show(i.Due)+" "+string(i.State))
	}
	require.Equal(t, []string{
		"each/B 2026-11-24 2026-11-24 upcoming",
		"each/A 2026-11-24 2026-11-24 done",
		"ask/one 2026-11-20 2026-11-23 open",
		"ask/three 2026-11-25 2026-11-27 upcoming", // over Thanksgiving
		"plain/ 2026-11-24 2026-11-24 upcoming",
	}, keys, "in the protocol's order, repeats and events in the case's")
	require.Equal(t, "two fit", pl.Items[2].Raised.Why)
	require.True(t, pl.Items[2].Last.IsZero(), "what an event raised is of use until it is done")
}

func TestPlanTellsItsProtocol(t *testing.T) {
	cal := chicago(t)
	c := surgeryOn(t, cal, theDay)
	pl := readiness.Make(&c, protocol(t), cal, clock(t, cal, "2026-11-20 09:00"))
	require.Equal(t, "http://hospital.example/protocol|7", pl.Protocol)
	require.False(t, pl.Approved)
	require.Equal(t, c.Day, pl.Day)
	require.Equal(t, c.Start, pl.Start)
	require.Empty(t, pl.Items)
}

package readiness_test

import (
	"maps"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// done plans one finished step with an expiry for a case that has changed since.
func done(t *testing.T, e readiness.Expiry, w readiness.Window, entry readiness.Entry, change func(*readiness.Case)) []readiness.Item {
	cal := chicago(t)
	c := surgeryOn(t, cal, theDay)
	if entry.For == nil {
		entry.For = c.Snapshot()
	}
	entry.Outcome = readiness.Done
	c.Entries = entries(map[string]readiness.Entry{"s": entry})
	change(&c)
	st := with(step("s", w), func(st *readiness.Step) { st.Expiry = e })
	return readiness.Make(&c, protocol(t, st), cal, clock(t, cal, "2026-11-20 09:00")).Items
}

func TestExpiry(t *testing.T) {
	cal := chicago(t)
	thirty := readiness.Expiry{Kind: readiness.ExpiresAfter, Days: 30}
	thisDate := readiness.Expiry{Kind: readiness.ThisDate}
	own := readiness.Expiry{Kind: readiness.OwnEndDate}
	sided := readiness.Expiry{VoidedBy: []string{"side", "surgeon"}}
	whole := before(42, 7)
	fasting := window(hours(surgery, -24), hours(surgery, -2))
	call := window(oclock(business(surgery, -1), 12, 0), oclock(business(surgery, -1), 17, 0))
	on := func(s string) readiness.Entry { return readiness.Entry{On: day(t, s)} }
	until := func(s string) readiness.Entry { return readiness.Entry{On: day(t, "2026-10-01"), Until: day(t, s)} }
	stays := func(*readiness.Case) {}
	moved := func(to string) func(*readiness.Case) {
		return func(c *readiness.Case) { c.Day, c.Start = day(t, to), clock(t, cal, to+" 07:30") }
	}
	later := func(c *readiness.Case) { c.Start = clock(t, cal, theDay+" 13:00") }
	detail := func(name, v string) func(*readiness.Case) {
		return func(c *readiness.Case) { c.Details = maps.Clone(c.Details); c.Details[name] = v }
	}
	for _, r := range []struct {
		name   string
		expiry readiness.Expiry
		window readiness.Window
		entry  readiness.Entry
		change func(*readiness.Case)
		counts bool
	}{
		{"never, however old", readiness.Expiry{}, whole, on("2019-01-01"), stays, true},
		{"30 days old", thirty, whole, on("2026-10-31"), stays, true},
		{"31 days old", thirty, whole, on("2026-10-30"), stays, false},
		{"30 days, moved by a day", thirty, whole, on("2026-10-31"), moved("2026-12-01"), false},
		{"no day recorded", thirty, whole, readiness.Entry{}, stays, true},
		{"ages, but there is no date to age to", thirty, whole, on("2026-01-01"), moved0, true},
		{"this date", thisDate, whole, on("2026-11-02"), stays, true},
		{"this date, moved", thisDate, whole, on("2026-11-02"), moved("2026-12-01"), false},
		{"this date, other time of a whole-day step", thisDate, whole, on("2026-11-02"), later, true},
		{"this date, other time of an hour rule", thisDate, fasting, on("2026-11-29"), later, false},
		{"this date, other time of a clock rule", thisDate, call, on("2026-11-27"), later, false},
		{"this date, due by a start that slips", thisDate, window(days(surgery, 0), hours(surgery, 0)), on("2026-11-30"), later, true},
		{"this date, opened by a start that slips", thisDate, window(hours(surgery, -48), days(surgery, 0)), on("2026-11-29"), later, true},
		{"this date, same time of an hour rule", thisDate, fasting, on("2026-11-29"), stays, true},
		{"this date, nothing recorded of it", thisDate, whole, readiness.Entry{For: map[string]string{}}, stays, false},
		{"own end date on the day", own, whole, until(theDay), stays, true},
		{"own end date the day before", own, whole, until("2026-11-29"), stays, false},
		{"own end date not recorded", own, whole, on("2026-10-01"), stays, true},
		{"own end date not recorded, moved", own, whole, on("2026-10-01"), moved("2026-12-01"), false},
		{"side stays", sided, whole, on("2026-11-02"), stays, true},
		{"side changes", sided, whole, on("2026-11-02"), detail("side", "right"), false},
		{"side changes, no date", sided, whole, on("2026-11-02"), func(c *readiness.Case) { moved0(c); detail("side", "right")(c) }, false},
		{"another detail changes", sided, whole, on("2026-11-02"), detail("stay", "overnight"), true},
		{"a detail that was not known then", sided, whole, on("2026-11-02"), detail("surgeon", "Practitioner/2"), true},
	} {
		t.Run(r.name, func(t *testing.T) {
			items := done(t, r.expiry, r.window, r.entry, r.change)
			if r.counts {
				require.Len(t, items, 1)
				require.Equal(t, readiness.StateDone, items[0].State)
				return
			}
			require.Len(t, items, 2)
			require.Equal(t, readiness.Expired, items[0].State)
			require.Equal(t, readiness.Key{Step: "s", Round: 2}, items[1].Key)
			require.Equal(t, 1, items[1].Replaces)
			require.Equal(t, readiness.NoOutcome, items[1].Entry.Outcome)
			require.Equal(t, items[0].Due, items[1].Due)
		})
	}
}

// moved0 takes the date away.
func moved0(c *readiness.Case) {
	var none readiness.Case
	c.Day, c.Start = none.Day, none.Start
}

// An expired item is replaced by a new round; when the date moves back, the
// first counts again and the new one is gone.
func TestRounds(t *testing.T) {
	cal := chicago(t)
	now := clock(t, cal, "2026-11-20 09:00")
	p := protocol(t, with(step("s", before(42, 7)), func(st *readiness.Step) {
		st.Expiry = readiness.Expiry{Kind: readiness.ThisDate}
	}))
	first := surgeryOn(t, cal, theDay)
	first.Entries = map[readiness.Key]readiness.Entry{{Step: "s", Round: 1}: doneOn(day(t, "2026-11-02"), first)}
	moved := surgeryOn(t, cal, "2027-01-04")
	moved.Entries = maps.Clone(first.Entries)

	states := func(c readiness.Case) (out []readiness.ItemState) {
		for _, i := range readiness.Make(&c, p, cal, now).Items {
			out = append(out, i.State)
		}
		return out
	}
	require.Equal(t, []readiness.ItemState{readiness.StateDone}, states(first))
	require.Equal(t, []readiness.ItemState{readiness.Expired, readiness.Upcoming}, states(moved))

	moved.Entries[readiness.Key{Step: "s", Round: 2}] = doneOn(day(t, "2026-11-24"), moved)
	require.Equal(t, []readiness.ItemState{readiness.Expired, readiness.StateDone}, states(moved))

	back := surgeryOn(t, cal, theDay)
	back.Entries = maps.Clone(first.Entries)
	require.Equal(t, []readiness.ItemState{readiness.StateDone}, states(back), "nobody did anything for the date between")
	back.Entries = moved.Entries
	require.Equal(t, []readiness.ItemState{readiness.Expired, readiness.Expired, readiness.Open}, states(back),
		"the person was told another date in between: asked again")

	third := surgeryOn(t, cal, "2027-02-01")
	third.Entries = moved.Entries
	require.Equal(t, []readiness.ItemState{readiness.Expired, readiness.Expired, readiness.Upcoming}, states(third))
}

// Followers wait for the new round, not for the expired one.
func TestFollowersOfAnExpiredStep(t *testing.T) {
	cal := chicago(t)
	c := surgeryOn(t, cal, "2027-01-04")
	old := surgeryOn(t, cal, theDay)
	c.Entries = entries(map[string]readiness.Entry{"s": doneOn(day(t, "2026-11-02"), old)})
	p := protocol(t,
		with(step("s", before(80, 7)), func(st *readiness.Step) { st.Expiry = readiness.Expiry{Kind: readiness.ThisDate} }),
		step("after", readiness.Window{Opens: points(days("s", 0)), Due: points(days(surgery, -2))}),
	)
	i := item(t, readiness.Make(&c, p, cal, clock(t, cal, "2026-11-20 09:00")), "after")
	require.Equal(t, []string{"s"}, i.Waits)
	require.True(t, i.Opens.IsZero())
}

// What is done before it can be done does not count, and is asked again: a wash
// before its day, a check before its window, a call before the person is home.
// What may be done early counts: a walker bought in summer.
func TestTooEarly(t *testing.T) {
	cal := chicago(t)
	thisDate := func(s readiness.Step) readiness.Step {
		s.Expiry = readiness.Expiry{Kind: readiness.ThisDate}
		return s
	}
	call := step("s", window(days(discharge, 0), business(discharge, 2)))
	for _, r := range []struct {
		name string
		step readiness.Step
		on   string
		want bool
	}{
		{"a walker, early", step("s", before(42, 7)), "2026-06-01", false},
		{"a fixed wash, the day before", with(step("s", before(2, 2)), func(s *readiness.Step) { s.Fixed = true }), "2026-11-27", true},
		{"a fixed wash, on its day", with(step("s", before(2, 2)), func(s *readiness.Step) { s.Fixed = true }), "2026-11-28", false},
		{"a check for this date, a day early", thisDate(step("s", before(3, 1))), "2026-11-26", true},
		{"a check for this date, on the first day", thisDate(step("s", before(3, 1))), "2026-11-27", false},
		{"a ride for this date, asked since the booking", thisDate(step("s", window(days(readiness.AnchorBooking, 0), days(surgery, -7)))), "2026-08-03", false},
		{"a call before discharge", call, "2026-11-30", true},
		{"a call on the day of discharge", call, "2026-12-01", false},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := surgeryOn(t, cal, theDay)
			c.Entries = entries(map[string]readiness.Entry{"s": doneOn(day(t, r.on), c)})
			items := readiness.Make(&c, protocol(t, r.step), cal, clock(t, cal, "2026-11-20 09:00")).Items
			require.Equal(t, r.want, items[0].TooEarly(day(t, r.on)))
			if !r.want {
				require.Equal(t, readiness.StateDone, items[0].State)
				return
			}
			require.Len(t, items, 2)
			require.Equal(t, readiness.Expired, items[0].State)
			require.Contains(t, items[1].Because, "before it can be done for this date")
		})
	}
}

// A must that failed for one date is asked again for another.
func TestFailedForAnotherDate(t *testing.T) {
	cal := chicago(t)
	p := protocol(t, step("s", before(30, 7)))
	c := surgeryOn(t, cal, theDay)
	c.Entries = entries(map[string]readiness.Entry{"s": {Outcome: readiness.Failed, For: c.Snapshot()}})
	now := clock(t, cal, "2026-11-20 09:00")
	require.Len(t, readiness.Make(&c, p, cal, now).Infeasible, 1)
	moved := surgeryOn(t, cal, "2027-02-08")
	moved.Entries = c.Entries
	pl := readiness.Make(&moved, p, cal, now)
	require.Empty(t, pl.Infeasible)
	require.Equal(t, readiness.Missed, pl.Items[0].State)
	require.Equal(t, readiness.Upcoming, pl.Items[1].State)
	require.Equal(t, "it could not be done for the operation on Mon 30 Nov 2026", pl.Items[1].Because)
}

// A person's answer that a step applies stands against the doubt.
func TestAnsweredThatItApplies(t *testing.T) {
	cal := chicago(t)
	s := step("s", before(30, 7))
	s.Condition = condition(t, "pets")
	p := protocol(t, s)
	c := surgeryOn(t, cal, theDay)
	c.Entries = entries(map[string]readiness.Entry{"s": {Outcome: readiness.Applies}})
	i := item(t, readiness.Make(&c, p, cal, clock(t, cal, "2026-11-10 09:00")), "s")
	require.Equal(t, readiness.Yes, i.Applies)
	require.Empty(t, i.Needs)
	require.Equal(t, readiness.Open, i.State)
}

// Who is still in hospital past the expected hour is not taken to be at home.
func TestStillInHospital(t *testing.T) {
	cal := chicago(t)
	p := protocol(t, step("teach", window(hours(surgery, 0), days(discharge, 0))), step("call", window(days(discharge, 0), business(discharge, 2))))
	c := surgeryOn(t, cal, theDay)
	c.Arrived = clock(t, cal, "2026-11-30 06:00")
	before := readiness.Make(&c, p, cal, clock(t, cal, "2026-12-01 10:59"))
	require.Equal(t, clock(t, cal, "2026-12-01 11:00"), before.NextChange)
	after := readiness.Make(&c, p, cal, clock(t, cal, "2026-12-03 09:00"))
	require.Equal(t, readiness.CaseArrived, after.State)
	require.Equal(t, readiness.Open, item(t, after, "teach").State)
	require.Equal(t, readiness.Upcoming, item(t, after, "call").State)
	c.Left = clock(t, cal, "2026-12-03 10:00")
	home := readiness.Make(&c, p, cal, clock(t, cal, "2026-12-03 10:00"))
	require.Equal(t, readiness.CaseHome, home.State)
	require.Equal(t, "2026-12-07", show(item(t, home, "call").Due))
}

// The last useful day is warned of even where the due day lies behind it.
func TestDueByTheLastDay(t *testing.T) {
	cal := chicago(t)
	p := protocol(t, step("s", window(days(readiness.AnchorBooking, 0), business(readiness.AnchorBooking, 3))))
	c := surgeryOn(t, cal, theDay)
	c.Booked = clock(t, cal, "2026-11-28 09:00")
	i := item(t, readiness.Make(&c, p, cal, clock(t, cal, "2026-11-29 09:00")), "s")
	require.Equal(t, "2026-12-02", show(i.Due))
	require.Equal(t, "2026-11-29", show(i.Last))
	require.Equal(t, readiness.Due, i.State)
}

package readiness_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// Edges at which a plain reading of the rules and this package once differed.

func TestCompressedIsDueOnlyOnceItOpens(t *testing.T) {
	cal := chicago(t)
	c := surgeryOn(t, cal, theDay)
	c.Booked = clock(t, cal, "2026-11-20 09:00")
	// Due on the 16th, before the booking, but opens two days after it.
	st := step("s", window(days(booking, 2), days(surgery, -14)))
	require.Equal(t, readiness.Upcoming, stateAt(t, c, st, clock(t, cal, "2026-11-21 23:59")))
	require.Equal(t, readiness.Due, stateAt(t, c, st, clock(t, cal, "2026-11-22 00:00")))
}

func TestNoLastDayAfterSurgery(t *testing.T) {
	cal := chicago(t)
	c := surgeryOn(t, cal, theDay)
	for _, r := range []struct {
		name string
		w    readiness.Window
		last string
	}{
		{"a window across surgery", window(days(surgery, -7), days(surgery, 3)), ""},
		{"hours after the start", window(hours(surgery, 0), hours(surgery, 5)), ""},
		{"at the start", window(days(surgery, 0), hours(surgery, 0)), "2026-11-30T07:30:00-06:00"},
		{"the day itself", window(days(surgery, -7), days(surgery, 0)), "2026-11-30"},
		{"before it", window(days(surgery, -7), days(surgery, -3)), "2026-11-29"},
	} {
		t.Run(r.name, func(t *testing.T) {
			pl := readiness.Make(&c, protocol(t, step("s", r.w)), cal, c.Booked)
			require.Equal(t, r.last, show(item(t, pl, "s").Last))
		})
	}
}

func TestNothingLeftToFollow(t *testing.T) {
	cal := chicago(t)
	c := surgeryOn(t, cal, theDay)
	c.Entries = entries(map[string]readiness.Entry{"first": {Outcome: readiness.Waived}})
	p := protocol(t, step("first", before(40, 20)), step("second", readiness.Window{Opens: points(days("first", 0))}))
	require.Equal(t, readiness.Open, item(t, readiness.Make(&c, p, cal, c.Booked), "second").State)
}

func TestStaffMoveAtATimeOfDay(t *testing.T) {
	cal := chicago(t)
	c := surgeryOn(t, cal, theDay) // D-1 is a Sunday, the Friday a business day
	for _, r := range []struct {
		name  string
		who   []readiness.Performer
		opens readiness.Point
		due   string
	}{
		{"staff", nurse, days(surgery, -7), "2026-11-27T10:00:00-06:00"},
		{"with the patient", patient, days(surgery, -7), "2026-11-29T10:00:00-06:00"},
		{"opens on the Friday before that time", nurse, oclock(days(surgery, -3), 10, 0), "2026-11-27T10:00:00-06:00"},
		{"opens on the Friday after that time", nurse, oclock(days(surgery, -3), 10, 1), "2026-11-29T10:00:00-06:00"},
	} {
		t.Run(r.name, func(t *testing.T) {
			st := step("s", window(r.opens, oclock(days(surgery, -1), 10, 0)))
			st.Performers = r.who
			require.Equal(t, r.due, show(item(t, readiness.Make(&c, protocol(t, st), cal, c.Booked), "s").Due))
		})
	}
}

func TestTheEarliestOpeningWaitsForNothingElse(t *testing.T) {
	cal := chicago(t)
	c := surgeryOn(t, cal, theDay)
	st := step("s", readiness.Window{Opens: points(days(surgery, -10), days("first", 0)), Due: points(days(surgery, -2)), OpensEarliest: true})
	p := protocol(t, step("first", before(40, 1)), st)
	i := item(t, readiness.Make(&c, p, cal, clock(t, cal, "2026-11-20 09:00")), "s")
	require.Equal(t, readiness.Open, i.State)
	require.Empty(t, i.Waits)
}

func TestOnlyTimesCountedFromSurgeryAreToldWithTheStart(t *testing.T) {
	cal := chicago(t)
	for _, r := range []struct {
		name string
		due  readiness.Point
		want readiness.ItemState
	}{
		{"hours from the start", hours(surgery, -8), readiness.Expired},
		{"a time of day before surgery", oclock(business(surgery, -1), 17, 0), readiness.Expired},
		{"hours from the booking", hours(booking, 48), readiness.StateDone},
		{"a time of day after the booking", oclock(days(booking, 2), 17, 0), readiness.StateDone},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := surgeryOn(t, cal, theDay)
			c.Entries = entries(map[string]readiness.Entry{"s": doneOn(day(t, "2026-11-29"), c)})
			c.Start = c.Start.Add(time.Hour)
			st := step("s", readiness.Window{Due: points(r.due)})
			st.Expiry.Kind = readiness.ThisDate
			require.Equal(t, r.want, readiness.Make(&c, protocol(t, st), cal, c.Booked).Items[0].State)
		})
	}
}

// One medicine is signed off: only that one's last dose may be told.
func TestARepeatFollowsItsOwn(t *testing.T) {
	cal := chicago(t)
	c := surgeryOn(t, cal, theDay)
	c.Repeats = map[string][]string{"medicine": {"a", "b"}}
	c.Entries = map[readiness.Key]readiness.Entry{{Step: "agreed", Repeat: "a", Round: 1}: doneOn(day(t, "2026-11-10"), c)}
	each := func(st *readiness.Step) { st.RepeatFor = "medicine" }
	p := protocol(t,
		with(step("agreed", before(40, 10)), each),
		with(step("stop", readiness.Window{Opens: points(days("agreed", 0)), Due: points(days(surgery, -5))}), each),
		step("summary", readiness.Window{Opens: points(days("agreed", 0)), Due: points(days(surgery, -5))}),
	)
	waits := map[string][]string{}
	for _, i := range readiness.Make(&c, p, cal, clock(t, cal, "2026-11-12 09:00")).Items {
		waits[i.Key.Step+i.Key.Repeat] = i.Waits
	}
	require.Empty(t, waits["stopa"])
	require.Equal(t, []string{"agreed"}, waits["stopb"])
	require.Equal(t, []string{"agreed"}, waits["summary"], "what is not repeated waits for all")
}

func TestWhatFailedForAnotherDateIsNotWaitedFor(t *testing.T) {
	cal := chicago(t)
	c := surgeryOn(t, cal, theDay)
	was := surgeryOn(t, cal, "2026-11-16")
	c.Entries = map[readiness.Key]readiness.Entry{
		{Step: "first", Round: 1}: {Outcome: readiness.Failed, On: day(t, "2026-11-10"), For: was.Snapshot()},
		{Step: "first", Round: 2}: doneOn(day(t, "2026-11-12"), c),
	}
	p := protocol(t, step("first", before(40, 10)), step("second", readiness.Window{Opens: points(days("first", 0)), Due: points(days(surgery, -5))}))
	require.Empty(t, item(t, readiness.Make(&c, p, cal, c.Booked), "second").Waits)
}

func TestAMustInDoubtThatFailedIsNotReady(t *testing.T) {
	cal := chicago(t)
	c := surgeryOn(t, cal, theDay)
	st := with(step("s", before(20, 10)), func(st *readiness.Step) { st.Condition = condition(t, "pets") })
	c.Entries = entries(map[string]readiness.Entry{"s": {Outcome: readiness.Failed, On: day(t, "2026-11-12"), For: c.Snapshot()}})
	pl := readiness.Make(&c, protocol(t, st), cal, clock(t, cal, "2026-11-13 09:00"))
	require.Equal(t, readiness.CaseOnTrack, pl.State)
	require.Empty(t, pl.Infeasible)
}

// The warning is two days of the calendar, 49 hours when clocks are put back.
func TestWarningAcrossAChangeOfClocks(t *testing.T) {
	cal := chicago(t)
	c := surgeryOn(t, cal, "2026-11-12")
	for _, r := range []struct {
		name string
		due  readiness.Point
		from string
	}{
		{"a day", days(surgery, -10), "2026-10-31 00:00"},
		{"a time of day", oclock(days(surgery, -10), 17, 0), "2026-10-31 17:00"},
	} {
		t.Run(r.name, func(t *testing.T) {
			st := step("s", window(days(surgery, -30), r.due))
			from := clock(t, cal, r.from)
			require.Equal(t, readiness.Open, stateAt(t, c, st, from.Add(-1)))
			require.Equal(t, readiness.Due, stateAt(t, c, st, from))
		})
	}
}

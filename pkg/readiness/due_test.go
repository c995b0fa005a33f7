package readiness_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// dates is one row: a step, and the window that follows for a case.
type dates struct {
	name             string
	on, start        string // day of surgery, start if not 07:30 ("-": unknown)
	booked           string
	step             readiness.Step
	opens, due, last string
}

func with(s readiness.Step, change func(*readiness.Step)) readiness.Step {
	change(&s)
	return s
}

func byStaff(w readiness.Window) readiness.Step {
	return with(step("s", w), func(s *readiness.Step) { s.Performers = nurse })
}

func check(t *testing.T, cal *calendar.Calendar, rows []dates) {
	t.Helper()
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			c := surgeryOn(t, cal, r.on)
			switch r.start {
			case "":
			case "-":
				c.Start = clock(t, cal, "")
			default:
				c.Start = clock(t, cal, r.start)
			}
			if r.booked != "" {
				c.Booked = clock(t, cal, r.booked)
			}
			pl := readiness.Make(&c, protocol(t, r.step), cal, clock(t, cal, "2026-08-03 12:00"))
			i := item(t, pl, "s")
			require.Equal(t, []string{r.opens, r.due, r.last}, []string{show(i.Opens), show(i.Due), show(i.Last)})
		})
	}
}

const (
	surgery   = readiness.AnchorSurgery
	booking   = readiness.AnchorBooking
	discharge = readiness.AnchorDischarge
)

// The days beside each row were counted by hand on a wall calendar.
func TestDayWindows(t *testing.T) {
	const s = "2026-11-30" // a Monday
	check(t, chicago(t), []dates{
		{name: "whole days before", on: s, step: step("s", before(42, 14)), opens: "2026-10-19", due: "2026-11-16", last: "2026-11-29"},
		{name: "over a leap day", on: "2028-03-01", step: step("s", before(2, 1)), opens: "2028-02-28", due: "2028-02-29", last: "2028-02-29"},
		{name: "over the new year", on: "2027-01-04", step: step("s", before(30, 4)), opens: "2026-12-05", due: "2026-12-31", last: "2027-01-03"},
		{name: "from the booking", on: s, booked: "2026-10-01 23:59", step: step("s", window(days(booking, 0), days(surgery, -14))), opens: "2026-10-01", due: "2026-11-16", last: "2026-11-29"},
		{name: "days after surgery", on: s, step: step("s", window(days(surgery, 10), days(surgery, 14))), opens: "2026-12-10", due: "2026-12-14"},
		{name: "months after, end of month", on: s, step: step("s", window(months(surgery, 3), months(surgery, 12))), opens: "2027-02-28", due: "2027-11-30"},
		{name: "month before, end of month", on: "2027-03-31", step: step("s", window(months(surgery, -1), days(surgery, -1))), opens: "2027-02-28", due: "2027-03-30", last: "2027-03-30"},
		{name: "opens on the latest", on: s, booked: "2026-11-02 09:00", step: step("s", readiness.Window{Opens: points(days(surgery, -42), days(booking, 0)), Due: points(days(surgery, -7))}), opens: "2026-11-02", due: "2026-11-23", last: "2026-11-29"},
		{name: "opens on the earliest", on: s, step: step("s", readiness.Window{OpensEarliest: true, Opens: points(days(surgery, -2), business(surgery, -1)), Due: points(days(surgery, -1))}), opens: "2026-11-27", due: "2026-11-29", last: "2026-11-29"},
		{name: "due on the earliest", on: s, booked: "2026-08-03 09:00", step: step("s", readiness.Window{Due: points(days(surgery, -7), days(booking, 5))}), due: "2026-08-08", last: "2026-11-29"},
		{name: "never ends", on: s, step: step("s", readiness.Window{Opens: points(days(surgery, 0))}), opens: "2026-11-30"},
	})
}

func TestBusinessDayPoints(t *testing.T) {
	const s = "2026-11-30"
	afternoon := func(zoneless readiness.Point) readiness.Window {
		return window(oclock(zoneless, 12, 0), oclock(zoneless, 17, 0))
	}
	check(t, chicago(t), []dates{
		{name: "the last business day before a Monday", on: s, step: byStaff(afternoon(business(surgery, -1))), opens: "2026-11-27T12:00:00-06:00", due: "2026-11-27T17:00:00-06:00", last: "2026-11-29"},
		{name: "before Monday after an observed holiday", on: "2026-07-06", booked: "2026-06-01 09:00", step: byStaff(afternoon(business(surgery, -1))), opens: "2026-07-02T12:00:00-05:00", due: "2026-07-02T17:00:00-05:00", last: "2026-07-05"},
		{name: "three after a Friday", on: s, booked: "2026-11-13 16:00", step: byStaff(window(days(booking, 0), business(booking, 3))), opens: "2026-11-13", due: "2026-11-18", last: "2026-11-29"},
		{name: "three over Thanksgiving", on: "2026-12-14", booked: "2026-11-23 08:00", step: byStaff(window(days(booking, 0), business(booking, 3))), opens: "2026-11-23", due: "2026-11-27", last: "2026-12-13"},
		{name: "two after discharge on a Friday", on: "2026-12-03", step: byStaff(window(days(discharge, 0), business(discharge, 2))), opens: "2026-12-04", due: "2026-12-08"},
	})
	check(t, facility(t, "Europe/London", "england"), []dates{
		{name: "England keeps Friday 3 July", on: "2026-07-06", booked: "2026-06-01 09:00", step: byStaff(afternoon(business(surgery, -1))), opens: "2026-07-03T12:00:00+01:00", due: "2026-07-03T17:00:00+01:00", last: "2026-07-05"},
		{name: "England after the Christmas substitute", on: "2026-12-29", step: byStaff(afternoon(business(surgery, -1))), opens: "2026-12-24T12:00:00Z", due: "2026-12-24T17:00:00Z", last: "2026-12-28"},
	})
}

// Hours are elapsed time: the wall clock shows one hour more or less across a
// change of clocks.
func TestClockPoints(t *testing.T) {
	fasting := func(n int) readiness.Step {
		return with(step("s", window(hours(surgery, -24), hours(surgery, -n))), func(s *readiness.Step) {
			s.Fixed = true
			last := hours(surgery, 0)
			s.Last = &last
		})
	}
	check(t, chicago(t), []dates{
		{name: "plain", on: "2026-11-30", step: fasting(2), opens: "2026-11-29T07:30:00-06:00", due: "2026-11-30T05:30:00-06:00", last: "2026-11-30T07:30:00-06:00"},
		{name: "clocks go forward", on: "2027-03-14", start: "2027-03-14 03:30", step: fasting(2), opens: "2027-03-13T02:30:00-06:00", due: "2027-03-14T00:30:00-06:00", last: "2027-03-14T03:30:00-05:00"},
		{name: "clocks go back", on: "2026-11-01", start: "2026-11-01 07:30", step: fasting(8), opens: "2026-10-31T08:30:00-05:00", due: "2026-11-01T00:30:00-05:00", last: "2026-11-01T07:30:00-06:00"},
		{name: "no start known", on: "2026-11-30", start: "-", step: fasting(2)},
		{name: "whole hours of the day before", on: "2026-11-30", step: fasting(8), opens: "2026-11-29T07:30:00-06:00", due: "2026-11-29T23:30:00-06:00", last: "2026-11-30T07:30:00-06:00"},
		{name: "a time in the hour that is skipped", on: "2027-03-14", start: "2027-03-14 07:30", step: step("s", readiness.Window{Due: points(oclock(days(surgery, 0), 2, 30))}), due: "2027-03-14T03:00:00-05:00", last: "2027-03-14T03:00:00-05:00"},
	})
	check(t, facility(t, "Pacific/Kiritimati", "none"), []dates{
		{name: "the first zone of the day", on: "2026-11-30", start: "2026-11-30 00:30", step: fasting(2), opens: "2026-11-29T00:30:00+14:00", due: "2026-11-29T22:30:00+14:00", last: "2026-11-30T00:30:00+14:00"},
	})
	check(t, facility(t, "America/St_Johns", "none"), []dates{
		{name: "a half-hour zone", on: "2026-11-30", step: fasting(2), opens: "2026-11-29T07:30:00-03:30", due: "2026-11-30T05:30:00-03:30", last: "2026-11-30T07:30:00-03:30"},
		{name: "a half-hour zone, clocks back", on: "2026-11-01", start: "2026-11-01 05:00", step: fasting(6), opens: "2026-10-31T06:00:00-02:30", due: "2026-11-01T00:00:00-02:30", last: "2026-11-01T05:00:00-03:30"},
	})
}

// A step of staff that falls due on a closed day moves to the business day
// before, inside its window; a patient's, a coach's and a fixed one do not.
func TestStaffDueOnClosedDays(t *testing.T) {
	const s = "2026-11-30"
	fixed := func(st *readiness.Step) { st.Fixed = true }
	check(t, chicago(t), []dates{
		{name: "Sunday to Friday", on: s, step: byStaff(before(20, 8)), opens: "2026-11-10", due: "2026-11-20", last: "2026-11-29"},
		{name: "holiday to the day before", on: s, step: byStaff(before(20, 4)), opens: "2026-11-10", due: "2026-11-25", last: "2026-11-29"},
		{name: "to the very opening", on: s, step: byStaff(before(10, 8)), opens: "2026-11-20", due: "2026-11-20", last: "2026-11-29"},
		{name: "not out of the window", on: s, step: byStaff(before(9, 8)), opens: "2026-11-21", due: "2026-11-22", last: "2026-11-29"},
		{name: "patient", on: s, step: step("s", before(20, 8)), opens: "2026-11-10", due: "2026-11-22", last: "2026-11-29"},
		{name: "coach", on: s, step: with(step("s", before(20, 8)), func(st *readiness.Step) { st.Performers = coach }), opens: "2026-11-10", due: "2026-11-22", last: "2026-11-29"},
		{name: "patient first, nurse second", on: s, step: with(step("s", before(20, 8)), func(st *readiness.Step) {
			st.Performers = append(append([]readiness.Performer{}, patient...), nurse...)
		}), opens: "2026-11-10", due: "2026-11-22", last: "2026-11-29"},
		{name: "fixed", on: s, step: with(byStaff(before(20, 8)), fixed), opens: "2026-11-10", due: "2026-11-22", last: "2026-11-22"},
		{name: "clock point", on: s, step: byStaff(window(hours(surgery, -48), oclock(days(surgery, -1), 18, 0))), opens: "2026-11-28T07:30:00-06:00", due: "2026-11-29T18:00:00-06:00", last: "2026-11-29"},
		{name: "after surgery", on: s, step: byStaff(window(days(surgery, 35), days(surgery, 49))), opens: "2027-01-04", due: "2027-01-15"},
	})
}

func TestLastDay(t *testing.T) {
	const s = "2026-11-30"
	last := func(p readiness.Point) func(*readiness.Step) {
		return func(st *readiness.Step) { st.Last = &p }
	}
	check(t, chicago(t), []dates{
		{name: "said in days", on: s, step: with(step("s", before(14, 5)), last(days(surgery, -2))), opens: "2026-11-16", due: "2026-11-25", last: "2026-11-28"},
		{name: "said as the start", on: s, step: with(step("s", before(30, 7)), last(hours(surgery, 0))), opens: "2026-10-31", due: "2026-11-23", last: "2026-11-30T07:30:00-06:00"},
		{name: "said as the discharge", on: s, step: with(step("s", before(30, 7)), last(days(discharge, 0))), opens: "2026-10-31", due: "2026-11-23", last: "2026-12-01"},
		{name: "said as the start, which is unknown", on: s, start: "-", step: with(step("s", before(30, 7)), last(hours(surgery, 0))), opens: "2026-10-31", due: "2026-11-23"},
		{name: "due by the hour, start unknown", on: s, start: "-", step: step("s", window(hours(surgery, -48), hours(surgery, 0)))},
		{name: "day of surgery, whole day", on: s, step: step("s", before(7, 0)), opens: "2026-11-23", due: "2026-11-30", last: "2026-11-30"},
		{name: "day of surgery, at the start", on: s, step: step("s", window(days(surgery, 0), hours(surgery, 0))), opens: "2026-11-30", due: "2026-11-30T07:30:00-06:00", last: "2026-11-30T07:30:00-06:00"},
		{name: "first walk, no last day", on: s, step: step("s", window(hours(surgery, 0), days(surgery, 0))), opens: "2026-11-30T07:30:00-06:00", due: "2026-11-30"},
		{name: "stay, no last day", on: s, step: step("s", window(hours(surgery, 0), days(discharge, 0))), opens: "2026-11-30T07:30:00-06:00", due: "2026-12-01"},
		{name: "from before surgery to discharge", on: s, step: step("s", window(days(surgery, -3), days(discharge, 0))), opens: "2026-11-27", due: "2026-12-01"},
		{name: "nothing but a booking", on: s, step: step("s", readiness.Window{Opens: points(days(booking, 0))}), opens: "2026-08-03", last: "2026-11-29"},
	})
}

func TestDischarge(t *testing.T) {
	cal := chicago(t)
	p := protocol(t, byStaff(window(days(discharge, 0), business(discharge, 2))))
	for _, r := range []struct{ name, stay, left, discharge, due string }{
		{"default stay", "", "", "2026-12-01T11:00:00-06:00", "2026-12-03"},
		{"same day", "same-day", "", "2026-11-30T15:00:00-06:00", "2026-12-02"},
		{"overnight", "overnight", "", "2026-12-01T11:00:00-06:00", "2026-12-03"},
		{"a stay that the protocol does not know", "long", "", "2026-12-01T11:00:00-06:00", "2026-12-03"},
		{"left on Friday", "overnight", "2026-12-04 16:00", "2026-12-04T16:00:00-06:00", "2026-12-08"},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := surgeryOn(t, cal, "2026-11-30")
			c.Stay, c.Left = r.stay, clock(t, cal, r.left)
			pl := readiness.Make(&c, p, cal, clock(t, cal, "2026-11-20 09:00"))
			require.Equal(t, r.discharge, show(pl.Discharge))
			require.Equal(t, r.due, show(item(t, pl, "s").Due))
		})
	}
}

// Times of receipt have fractions of a second; what is counted from them has none.
func TestWholeSeconds(t *testing.T) {
	cal := chicago(t)
	c := surgeryOn(t, cal, "2026-11-30")
	c.Left = clock(t, cal, "2026-12-01 10:40").Add(987654321)
	pl := readiness.Make(&c, protocol(t, step("s", window(hours(discharge, 1), hours(discharge, 48)))), cal, c.Left)
	i := item(t, pl, "s")
	require.Equal(t, "2026-12-01T11:40:00-06:00", i.Opens.At.Format("2006-01-02T15:04:05.999999999Z07:00"))
	require.Equal(t, "2026-12-03T10:40:00-06:00", i.Due.At.Format("2006-01-02T15:04:05.999999999Z07:00"))
}

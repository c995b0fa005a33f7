package readiness_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// facility is a calendar in a zone with one of the holiday sets.
func facility(t require.TestingT, zone, holidays string) *calendar.Calendar {
	loc, err := time.LoadLocation(zone)
	require.NoError(t, err)
	set, err := calendar.Holidays(holidays)
	require.NoError(t, err)
	cal, err := calendar.New(calendar.Options{Zone: loc, Holidays: set})
	require.NoError(t, err)
	return cal
}

func chicago(t require.TestingT) *calendar.Calendar {
	return facility(t, "America/Chicago", "us-federal")
}

func day(t require.TestingT, s string) calendar.Date {
	d, err := calendar.ParseDate(s)
	require.NoError(t, err)
	return d
}

// clock reads "2026-11-30 07:30" in the calendar's zone; empty is no time.
func clock(t require.TestingT, cal *calendar.Calendar, s string) time.Time {
	if s == "" {
		return time.Time{}
	}
	at, err := time.ParseInLocation("2006-01-02 15:04", s, cal.Zone())
	require.NoError(t, err)
	return at
}

func point(anchor string, n int, unit readiness.Unit) readiness.Point {
	return readiness.Point{Anchor: anchor, Offset: readiness.Offset{N: n, Unit: unit}}
}

func days(anchor string, n int) readiness.Point     { return point(anchor, n, readiness.Days) }
func business(anchor string, n int) readiness.Point { return point(anchor, n, readiness.BusinessDays) }
func hours(anchor string, n int) readiness.Point    { return point(anchor, 60*n, readiness.Minutes) }
func months(anchor string, n int) readiness.Point   { return point(anchor, n, readiness.Months) }

func oclock(p readiness.Point, hour, minute int) readiness.Point {
	p.Clock = &readiness.ClockTime{Hour: hour, Minute: minute}
	return p
}

func points(p ...readiness.Point) []readiness.Point { return p }

func window(opens, due readiness.Point) readiness.Window {
	return readiness.Window{Opens: points(opens), Due: points(due)}
}

// before is the window from so many to so many days before surgery.
func before(from, to int) readiness.Window {
	return window(days(readiness.AnchorSurgery, -from), days(readiness.AnchorSurgery, -to))
}

var (
	nurse   = []readiness.Performer{{Role: "nurse", Display: "Nurse"}}
	patient = []readiness.Performer{{Role: "patient", Display: "Patient", Kind: readiness.Patient}}
	coach   = []readiness.Performer{{Role: "coach", Display: "Coach", Kind: readiness.Related}}
)

// step is a must of the patient's, so that its days are those of the rule.
func step(code string, w readiness.Window) readiness.Step {
	return readiness.Step{Code: code, Title: "Title of " + code, Performers: patient, Window: w}
}

var stays = []readiness.Stay{
	{Code: "same-day", Days: 0, At: readiness.ClockTime{Hour: 15}},
	{Code: "overnight", Days: 1, At: readiness.ClockTime{Hour: 11}, Default: true},
}

func protocol(t require.TestingT, steps ...readiness.Step) *readiness.Protocol {
	p, err := readiness.NewProtocol(readiness.Protocol{
		URL: "http://hospital.example/protocol", Version: "7", Title: "Invented protocol",
		DueWarning: 48 * time.Hour, Stays: stays, Steps: steps,
	})
	require.NoError(t, err)
	return p
}

// surgeryOn is a case booked in good time for a day at half past seven.
func surgeryOn(t require.TestingT, cal *calendar.Calendar, on string) readiness.Case {
	return readiness.Case{
		Booked: clock(t, cal, "2026-08-03 09:00"),
		Day:    day(t, on), Start: clock(t, cal, on+" 07:30"),
		Details: map[string]string{"side": "left"},
	}
}

// entries records outcomes on the first round of steps.
func entries(list map[string]readiness.Entry) map[readiness.Key]readiness.Entry {
	out := map[readiness.Key]readiness.Entry{}
	for code, e := range list {
		out[readiness.Key{Step: code, Round: 1}] = e
	}
	return out
}

func doneOn(d calendar.Date, c readiness.Case) readiness.Entry {
	return readiness.Entry{Outcome: readiness.Done, On: d, For: c.Snapshot()}
}

// item finds the only item of a step.
func item(t require.TestingT, pl *readiness.Plan, code string) readiness.Item {
	var out []readiness.Item
	for _, i := range pl.Items {
		if i.Key.Step == code {
			out = append(out, i)
		}
	}
	require.Len(t, out, 1, code)
	return out[0]
}

// show writes a moment as a day, or as an instant with its offset.
func show(m readiness.Moment) string {
	switch {
	case m.IsZero():
		return ""
	case m.At.IsZero():
		return m.Day.String()
	}
	return m.At.Format(time.RFC3339)
}

// conditions compiles over a few facts.
func conditions(t require.TestingT) *readiness.Conditions {
	c, err := readiness.NewConditions([]readiness.Fact{
		{Name: "pets", Type: "boolean", Question: "whether there are pets"},
		{Name: "asks", Type: "boolean", Question: "whether the payer asks"},
		{Name: "urgent", Type: "boolean", Question: "whether it is urgent", Default: false},
		{Name: "stay", Type: "string", Question: "how long the stay is"},
		{Name: "clearance", Type: "number", Unit: "mL/min", Question: "what the clearance is"},
	})
	require.NoError(t, err)
	return c
}

func condition(t require.TestingT, text string) *readiness.Condition {
	out, err := conditions(t).Compile(text, "in words: "+text)
	require.NoError(t, err)
	return out
}

func TestSnapshotIsACopy(t *testing.T) {
	cal := chicago(t)
	c := surgeryOn(t, cal, "2026-11-30")
	snapshot := c.Snapshot()
	require.Equal(t, map[string]string{
		"side": "left", readiness.DetailDate: "2026-11-30", readiness.DetailTime: "2026-11-30T13:30:00Z",
	}, snapshot)
	snapshot["side"] = "right"
	require.Equal(t, "left", c.Details["side"])

	c.Start = time.Time{}
	require.NotContains(t, c.Snapshot(), readiness.DetailTime)
}

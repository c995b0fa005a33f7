package calendar_test

import (
	"errors"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
)

func closures(t testing.TB, file string) calendar.HolidaySet {
	t.Helper()
	set, err := calendar.ParseClosures(strings.NewReader(file))
	require.NoError(t, err)
	return set
}

// A facility's own closed days come on top of a published list, and all that
// counts open days goes by both.
func TestClosuresOnTop(t *testing.T) {
	own := closures(t, "# Example Valley\n2026-11-27 Day after Thanksgiving\n2026-12-23..2026-12-31 Theatre rebuilt\n2027-01-18 # a holiday anyway\n")
	set := holidays(t, "us-federal").With(own)
	require.Equal(t, "us-federal and closures", set.Name)
	for date, want := range map[string]string{
		"2026-11-26": "Thanksgiving Day",
		"2026-11-27": "Day after Thanksgiving",
		"2026-12-22": "",
		"2026-12-23": "Theatre rebuilt",
		"2026-12-25": "Theatre rebuilt", // as the facility calls it
		"2026-12-27": "Theatre rebuilt",
		"2026-12-31": "Theatre rebuilt",
		"2027-01-01": "New Year's Day",
		"2027-01-18": "Birthday of Martin Luther King, Jr.",
	} {
		if want != "" && date == "2027-01-18" {
			want = holidays(t, "us-federal").NameOf(day(t, date)) // no name of its own was given
		}
		require.Equal(t, want, set.NameOf(day(t, date)), date)
		require.Equal(t, want != "", set.Closed(day(t, date)), date)
	}
	require.Empty(t, holidays(t, "us-federal").NameOf(day(t, "2026-11-27")), "the list itself is not changed")

	c, err := calendar.New(calendar.Options{
		Zone: zone(t, "America/Chicago"), Holidays: set, OperatingDays: []time.Weekday{time.Tuesday, time.Friday, time.Sunday},
	})
	require.NoError(t, err)
	require.Equal(t, "2026-11-25", c.AddBusinessDays(day(t, "2026-11-30"), -1).String())
	require.Equal(t, "2027-01-04", c.AddBusinessDays(day(t, "2026-12-22"), 1).String(), "over the closure, New Year and a weekend")
	require.Equal(t, "2026-12-22", c.OnOrBefore(day(t, "2027-01-02")).String())
	require.False(t, c.IsOperatingDay(day(t, "2026-11-27")), "a Friday that is closed")
	require.False(t, c.IsOperatingDay(day(t, "2026-12-27")), "a Sunday that is closed")
	require.True(t, c.IsOperatingDay(day(t, "2026-12-22")))
}

func TestClosuresAlone(t *testing.T) {
	one := closures(t, "2026-12-24..2026-12-24 x\n")
	require.Equal(t, []calendar.Date{day(t, "2026-12-24")}, one.Dates())
	require.Equal(t, one.Dates(), holidays(t, "none").With(one).Dates())
	require.Equal(t, one.Dates(), calendar.HolidaySet{}.With(one).Dates())
	require.Equal(t, "closures", calendar.HolidaySet{}.With(one).Name)
	require.Equal(t, "england", holidays(t, "england").With(closures(t, "# nothing\n")).Name)
	// Ranges serve in a file that takes the place of a list, too.
	set, err := calendar.ParseHolidays(strings.NewReader("include england\n2026-12-29..2026-12-31\n"))
	require.NoError(t, err)
	require.True(t, set.Closed(day(t, "2026-12-30")) && set.Closed(day(t, "2026-12-28")))
	require.False(t, set.Closed(day(t, "2027-01-02")))
}

func TestParseClosuresRefuses(t *testing.T) {
	for _, c := range []struct{ name, file, want string }{
		{"include", "# ours\ninclude us-federal\n", "line 2: include has no place"},
		{"end before start", "2026-12-24\n2026-12-31..2026-12-28 x\n", "line 2: 2026-12-28 is before 2026-12-31"},
		{"no end", "2026-12-24..\n", "line 1"},
		{"no start", "..2026-12-24\n", "line 1"},
		{"no such day", "2027-02-27..2027-02-29\n", "line 1"},
		{"three days", "2026-12-24..2026-12-25..2026-12-26\n", "line 1"},
		{"spaces in a range", "2026-12-24 .. 2026-12-26\n", "line 1: has two dates"},
		{"a space in a range", "2026-12-24 ..2026-12-26\n", "line 1: has two dates"},
		{"a dash for a range", "2026-12-24 - 2026-12-26 x\n", "line 1: has two dates"},
		{"two dates", "2026-12-24 2026-12-26\n", "line 1: has two dates"},
		{"day within a range", "2026-12-24..2026-12-31\n\n2026-12-28 again\n", "line 3: 2026-12-28 is already on line 1"},
		{"ranges that overlap", "2026-12-24..2026-12-28\n2026-12-28..2026-12-31\n", "line 2: 2026-12-28 is already on line 1"},
		{"beyond the last year", "2100-12-31..2101-01-02\n", "line 1: 2101-01-02 is outside"},
		{"not UTF-8", "2026-12-24 \xff\n", "line 1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := calendar.ParseClosures(strings.NewReader(c.file))
			require.ErrorIs(t, err, calendar.ErrClosures)
			require.ErrorContains(t, err, c.want)
		})
	}
	broken := errors.New("broken disk")
	_, err := calendar.ParseClosures(iotest.ErrReader(broken))
	require.ErrorIs(t, err, broken)
	require.NotErrorIs(t, err, calendar.ErrClosures)
}

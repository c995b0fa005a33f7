package calendar_test

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
)

func TestHolidayNames(t *testing.T) {
	for _, c := range []struct{ set, date, want string }{
		{"us-federal", "2026-11-26", "Thanksgiving Day"},
		{"us-federal", "2026-07-03", "Independence Day (observed)"},
		{"us-federal", "2026-07-04", "Independence Day"},
		{"us-federal", "2027-12-31", "New Year's Day (observed)"},
		{"us-federal", "2026-11-27", ""},
		{"us-federal", "2101-01-01", ""},
		{"england", "2026-12-26", "Boxing Day"},
		{"england", "2026-12-28", "Boxing Day (substitute day)"},
		{"england", "2027-12-27", "Christmas Day (substitute day)"},
		{"england", "2027-12-28", "Boxing Day (substitute day)"},
		// Christmas on a Sunday: Monday is Boxing Day itself.
		{"england", "2022-12-26", "Boxing Day"},
		{"england", "2022-12-27", "Christmas Day (substitute day)"},
		{"none", "2026-12-25", ""},
	} {
		t.Run(c.set+" "+c.date, func(t *testing.T) {
			require.Equal(t, c.want, facility(t, "UTC", c.set).HolidayName(day(t, c.date)))
		})
	}
}

func TestHolidaySets(t *testing.T) {
	for _, name := range []string{"us-federal", "england", "none"} {
		set := holidays(t, name)
		require.Equal(t, name, set.Name)
		dates := set.Dates()
		require.IsIncreasing(t, append([]calendar.Date{0}, dates...))
		listed := map[calendar.Date]bool{}
		for _, d := range dates {
			listed[d] = true
		}
		for d := day(t, "1989-01-01"); d <= day(t, "2102-12-31"); d++ {
			require.Equal(t, listed[d], set.Closed(d), d)
			require.Equal(t, listed[d], set.NameOf(d) != "", d)
		}
	}
	for _, name := range []string{"", "US-Federal", "scotland"} {
		_, err := calendar.Holidays(name)
		require.ErrorIs(t, err, calendar.ErrHolidays)
	}
	require.False(t, calendar.HolidaySet{}.Closed(day(t, "2026-12-25")))
	require.Empty(t, calendar.HolidaySet{}.Dates())
}

// The sets must not depend on the zone of the machine. America/Managua had no
// midnight on New Year's Day 1993 (IANA time-zone database).
func TestHolidaysAreTheSameInEveryProcessZone(t *testing.T) {
	const asked = "CALENDAR_TEST_PRINT_HOLIDAYS"
	print := func() string {
		var b strings.Builder
		for _, name := range []string{"us-federal", "england"} {
			set := holidays(t, name)
			for _, d := range set.Dates() {
				fmt.Fprintln(&b, name, d, set.NameOf(d))
			}
		}
		return b.String()
	}
	if path := os.Getenv(asked); path != "" {
		require.NoError(t, os.WriteFile(path, []byte(print()), 0o600))
		return
	}
	self, err := os.Executable()
	require.NoError(t, err)
	for _, name := range []string{"UTC", "America/Managua", "Pacific/Kiritimati", "America/St_Johns"} {
		t.Run(name, func(t *testing.T) {
			path := t.TempDir() + "/holidays"
			child := exec.Command(self, "-test.run=^TestHolidaysAreTheSameInEveryProcessZone$")
			child.Env = append(os.Environ(), "TZ="+name, asked+"="+path)
			output, err := child.CombinedOutput()
			require.NoError(t, err, string(output))
			got, err := os.ReadFile(path)
			require.NoError(t, err)
			require.Equal(t, print(), string(got))
		})
	}
}

func TestParseHolidays(t *testing.T) {
	const file = "\ufeff# closures of Example Valley\r\n" +
		"\r\n" +
		"  include us-federal   # the law's days\r\n" +
		"2026-11-27 Day after  Thanksgiving\r\n" +
		"2026-12-24\r\n" +
		"2026-12-25 Christmas at Example Valley # again\n" +
		"2026-11-26\n" +
		"\t2026-12-28\tBoiler no.#2"
	set, err := calendar.ParseHolidays(strings.NewReader(file))
	require.NoError(t, err)
	require.Equal(t, "us-federal and closures", set.Name)
	for date, want := range map[string]string{
		"2026-11-27": "Day after Thanksgiving",
		"2026-12-24": "Closed",
		"2026-12-25": "Christmas at Example Valley",
		"2026-11-26": "Thanksgiving Day",
		"2026-12-28": "Boiler no.#2",
		"2026-07-03": "Independence Day (observed)",
		"2026-12-29": "",
	} {
		require.Equal(t, want, set.NameOf(day(t, date)), date)
		require.Equal(t, want != "", set.Closed(day(t, date)), date)
	}
	require.Empty(t, holidays(t, "us-federal").NameOf(day(t, "2026-12-24")), "the included set is not changed")
	require.Equal(t, "Christmas Day", holidays(t, "us-federal").NameOf(day(t, "2026-12-25")))

	c, err := calendar.New(calendar.Options{Zone: zone(t, "America/Chicago"), Holidays: set})
	require.NoError(t, err)
	require.Equal(t, "2026-11-25", c.AddBusinessDays(day(t, "2026-11-30"), -1).String(), "the call moves before the closure")

	alone, err := calendar.ParseHolidays(strings.NewReader("2026-12-24\n"))
	require.NoError(t, err)
	require.Equal(t, "closures", alone.Name)
	require.Equal(t, []calendar.Date{day(t, "2026-12-24")}, alone.Dates())

	empty, err := calendar.ParseHolidays(strings.NewReader(""))
	require.NoError(t, err)
	require.Empty(t, empty.Dates())
}

func TestParseHolidaysRefuses(t *testing.T) {
	for _, c := range []struct{ name, file, want string }{
		{"not a date", "2026-12-24\n\nChristmas\n", "line 3"},
		{"no such day", "2026-02-30 x\n", "line 1"},
		{"twice", "2026-12-24\n# x\n2026-12-24 again\n", "line 3: 2026-12-24 is already on line 1"},
		{"before the first year", "1989-12-31\n", "line 1"},
		{"after the last year", "2101-01-01\n", "line 1"},
		{"mistyped year", "0206-12-24\n", "line 1"},
		{"unknown set", "include moon\n", "line 1"},
		{"include of nothing", "include\n", "line 1"},
		{"include of two", "include us-federal england\n", "line 1"},
		{"include after a date", "2026-12-24\ninclude us-federal\n", "line 2"},
		{"two includes", "include none\ninclude us-federal\n", "line 2"},
		{"not UTF-8", "2026-12-24\n2026-12-26 \xff\n", "line 2"},
		{"line too long", "2026-12-24\n2026-12-26 " + strings.Repeat("x", 1<<17) + "\n", "line 2"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := calendar.ParseHolidays(strings.NewReader(c.file))
			require.ErrorIs(t, err, calendar.ErrHolidays)
			require.ErrorContains(t, err, c.want)
		})
	}
	broken := errors.New("broken disk")
	_, err := calendar.ParseHolidays(iotest.ErrReader(broken))
	require.ErrorIs(t, err, broken)
	require.NotErrorIs(t, err, calendar.ErrHolidays, "the file may be fine")
}

func FuzzParseHolidays(f *testing.F) {
	for _, s := range []string{
		"", "2026-12-24\n", "include us-federal\n2026-12-24 Eve # x\n", "# only\n", "include none\n1990-01-01\r\n2100-12-31 z",
		"2026-12-24\n2026-12-24", "include", "\ufeff2026-12-24", "2026-12-24 \xff",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, file string) {
		set, err := calendar.ParseHolidays(strings.NewReader(file))
		if err != nil {
			require.ErrorIs(t, err, calendar.ErrHolidays)
			require.Contains(t, err.Error(), "line ")
			return
		}
		// Written out plainly and read again, it is the same set.
		var plain strings.Builder
		for _, d := range set.Dates() {
			require.True(t, set.Closed(d))
			require.NotEmpty(t, set.NameOf(d))
			fmt.Fprintln(&plain, d, set.NameOf(d))
		}
		again, err := calendar.ParseHolidays(strings.NewReader(plain.String()))
		require.NoError(t, err)
		require.Equal(t, set.Dates(), again.Dates())
		for _, d := range set.Dates() {
			require.Equal(t, set.NameOf(d), again.NameOf(d))
		}
	})
}

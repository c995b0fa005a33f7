package calendar_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/countback/pkg/calendar"
)

func zone(t require.TestingT, name string) *time.Location {
	z, err := time.LoadLocation(name)
	require.NoError(t, err)
	return z
}

func holidays(t require.TestingT, name string) calendar.HolidaySet {
	set, err := calendar.Holidays(name)
	require.NoError(t, err)
	return set
}

func facility(t require.TestingT, zoneName, holidayName string) *calendar.Calendar {
	c, err := calendar.New(calendar.Options{Zone: zone(t, zoneName), Holidays: holidays(t, holidayName)})
	require.NoError(t, err)
	return c
}

func TestNewRefuses(t *testing.T) {
	closed := func(from, to string) calendar.HolidaySet {
		var file strings.Builder
		for d := day(t, from); d <= day(t, to); d++ {
			fmt.Fprintln(&file, d)
		}
		set, err := calendar.ParseHolidays(strings.NewReader(file.String()))
		require.NoError(t, err)
		return set
	}
	// 400 days from a Wednesday to a Wednesday, so that no weekend adds to them.
	for _, c := range []struct {
		name    string
		options calendar.Options
		want    error
	}{
		{"no zone", calendar.Options{}, calendar.ErrNoZone},
		{"closed for 400 days", calendar.Options{Zone: time.UTC, Holidays: closed("2027-01-06", "2028-02-09")}, calendar.ErrNeverOpen},
		{"closed to the last year", calendar.Options{Zone: time.UTC, Holidays: closed("1990-01-01", "2100-12-31")}, calendar.ErrNeverOpen},
		{"no operating day", calendar.Options{Zone: time.UTC, OperatingDays: []time.Weekday{}}, calendar.ErrWeekdays},
		{"weekday 7", calendar.Options{Zone: time.UTC, OperatingDays: []time.Weekday{7}}, calendar.ErrWeekdays},
		{"weekday -1", calendar.Options{Zone: time.UTC, OperatingDays: []time.Weekday{-1}}, calendar.ErrWeekdays},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := calendar.New(c.options)
			require.ErrorIs(t, err, c.want)
		})
	}
	t.Run("closed for 399 days is still a calendar", func(t *testing.T) {
		c, err := calendar.New(calendar.Options{Zone: time.UTC, Holidays: closed("2027-01-06", "2028-02-08")})
		require.NoError(t, err)
		require.Equal(t, "2028-02-09", c.AddBusinessDays(day(t, "2027-01-05"), 1).String())
	})
	t.Run("every operating day closed", func(t *testing.T) {
		var file strings.Builder
		for d := day(t, "2027-01-02"); d <= day(t, "2028-12-31"); d = d.Add(7) {
			fmt.Fprintln(&file, d)
		}
		set, err := calendar.ParseHolidays(strings.NewReader(file.String()))
		require.NoError(t, err)
		_, err = calendar.New(calendar.Options{Zone: time.UTC, Holidays: set, OperatingDays: []time.Weekday{time.Saturday}})
		require.ErrorIs(t, err, calendar.ErrNeverOpen)
		require.ErrorContains(t, err, "operating day")
	})
}

func TestOperatingDays(t *testing.T) {
	days, err := calendar.ParseOperatingDays("Mon-Thu,Sat")
	require.NoError(t, err)
	c, err := calendar.New(calendar.Options{
		Zone: time.UTC, Holidays: holidays(t, "us-federal"), OperatingDays: days,
	})
	require.NoError(t, err)
	for _, row := range []struct {
		name, date          string
		operating, business bool
	}{
		{"Monday", "2026-11-30", true, true},
		{"Friday without a list", "2026-12-04", false, true},
		{"Saturday with a list", "2026-12-05", true, false},
		{"Sunday", "2026-12-06", false, false},
		{"Thanksgiving", "2026-11-26", false, false},
		{"Saturday that is the holiday itself", "2026-07-04", false, false},
		{"Friday on which it is observed", "2026-07-03", false, false},
	} {
		t.Run(row.name, func(t *testing.T) {
			require.Equal(t, row.operating, c.IsOperatingDay(day(t, row.date)))
			require.Equal(t, row.business, c.IsBusinessDay(day(t, row.date)))
		})
	}
	sundays, err := calendar.New(calendar.Options{Zone: time.UTC, OperatingDays: []time.Weekday{time.Sunday}})
	require.NoError(t, err)
	require.True(t, sundays.IsOperatingDay(day(t, "2026-11-29")))
	require.False(t, sundays.IsOperatingDay(0), "no date is no Sunday")
	require.False(t, c.IsBusinessDay(0))
	require.Empty(t, c.HolidayName(0))

	plain := facility(t, "UTC", "us-federal")
	for d := day(t, "2026-01-01"); d < day(t, "2028-01-01"); d++ {
		require.Equal(t, plain.IsBusinessDay(d), plain.IsOperatingDay(d), "nil is Monday to Friday: %s", d)
	}
}

func TestCalendarKeepsNoSliceOfTheCaller(t *testing.T) {
	days := []time.Weekday{time.Monday}
	c, err := calendar.New(calendar.Options{Zone: time.UTC, OperatingDays: days})
	require.NoError(t, err)
	days[0] = time.Sunday
	require.True(t, c.IsOperatingDay(day(t, "2026-11-30")))
}

func TestBusinessDays(t *testing.T) {
	us := facility(t, "America/Chicago", "us-federal")
	for _, c := range []struct {
		name, from string
		n          int
		want       string
	}{
		{"none, on an open day", "2026-11-30", 0, "2026-11-30"},
		{"none, on a Sunday", "2026-11-29", 0, "2026-11-29"},
		{"next", "2026-11-30", 1, "2026-12-01"},
		{"next from a Saturday", "2026-11-28", 1, "2026-11-30"},
		{"before a Saturday", "2026-11-28", -1, "2026-11-27"},
		{"before over Thanksgiving", "2026-11-27", -1, "2026-11-25"},
		{"three over a weekend", "2026-11-26", 3, "2026-12-01"},
		{"over the new year", "2027-12-30", 1, "2028-01-03"},
		{"three back over the weekend and Thanksgiving", "2026-11-30", -3, "2026-11-24"},
	} {
		t.Run(c.name, func(t *testing.T) {
			require.Equal(t, c.want, us.AddBusinessDays(day(t, c.from), c.n).String())
		})
	}
	require.Equal(t, "2026-11-25", us.OnOrBefore(day(t, "2026-11-26")).String())
	require.Equal(t, "2026-11-27", us.OnOrAfter(day(t, "2026-11-26")).String())
	require.Equal(t, "2026-11-27", us.OnOrBefore(day(t, "2026-11-27")).String())
	require.Equal(t, "2026-11-27", us.OnOrAfter(day(t, "2026-11-27")).String())
}

func TestBusinessDaysEndWithTheRange(t *testing.T) {
	c := facility(t, "UTC", "none")
	require.Zero(t, c.AddBusinessDays(0, 3))
	require.Zero(t, c.OnOrBefore(0))
	require.Zero(t, c.OnOrAfter(0))
	require.Zero(t, c.AddBusinessDays(day(t, "9999-12-30"), 5))
	require.Zero(t, c.AddBusinessDays(day(t, "2026-11-30"), math.MaxInt))
	require.Zero(t, c.AddBusinessDays(day(t, "2026-11-30"), math.MinInt))
	require.Equal(t, calendar.Date(1), c.OnOrBefore(1), "0001-01-01 was a Monday")
}

func TestBusinessDayProperties(t *testing.T) {
	calendars := map[string]*calendar.Calendar{}
	for _, name := range []string{"us-federal", "england", "none"} {
		calendars[name] = facility(t, "UTC", name)
	}
	rapid.Check(t, func(t *rapid.T) {
		c := calendars[rapid.SampledFrom([]string{"us-federal", "england", "none"}).Draw(t, "holidays")]
		d := calendar.NewDate(2026, 11, 30).Add(rapid.IntRange(-15_000, 30_000).Draw(t, "d"))
		n := rapid.IntRange(-60, 60).Draw(t, "n")
		to := c.AddBusinessDays(d, n)

		// Counted one day at a time.
		step, left := 1, n
		if n < 0 {
			step, left = -1, -n
		}
		walk := d
		for left > 0 {
			walk = walk.Add(step)
			if c.IsBusinessDay(walk) {
				left--
			}
		}
		require.Equal(t, walk, to)

		if open := c.OnOrAfter(d); c.IsBusinessDay(d) {
			require.Equal(t, d, open)
			require.Equal(t, d, c.AddBusinessDays(to, -n), "inverse from a business day")
		} else {
			require.Equal(t, open, c.AddBusinessDays(d, 1))
			require.Equal(t, c.OnOrBefore(d), c.AddBusinessDays(d, -1))
		}
		if n != 0 {
			require.LessOrEqual(t, to, c.AddBusinessDays(d.Add(1), n), "later dates never count to earlier ones")
		}
		require.Less(t, to, c.AddBusinessDays(d, n+1), "more days lead farther")
		require.LessOrEqual(t, c.OnOrBefore(d), d)
		require.GreaterOrEqual(t, c.OnOrAfter(d), d)
	})
}

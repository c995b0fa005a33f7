package calendar_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
)

// Source of every zone's changes: the IANA time-zone database as it comes
// with Go.
func TestAt(t *testing.T) {
	for _, c := range []struct {
		name, zone, date string
		hour, minute     int
		want             string // RFC 3339
	}{
		{"Denver, winter", "America/Denver", "2027-01-04", 7, 30, "2027-01-04T07:30:00-07:00"},
		{"Denver, summer", "America/Denver", "2026-07-06", 7, 30, "2026-07-06T07:30:00-06:00"},
		{"Denver, before the gap", "America/Denver", "2027-03-14", 1, 59, "2027-03-14T01:59:00-07:00"},
		{"Denver, first minute of the gap", "America/Denver", "2027-03-14", 2, 0, "2027-03-14T03:00:00-06:00"},
		{"Denver, inside the gap", "America/Denver", "2027-03-14", 2, 30, "2027-03-14T03:00:00-06:00"},
		{"Denver, after the gap", "America/Denver", "2027-03-14", 3, 0, "2027-03-14T03:00:00-06:00"},
		{"Denver, before the repeat", "America/Denver", "2026-11-01", 0, 59, "2026-11-01T00:59:00-06:00"},
		{"Denver, repeated", "America/Denver", "2026-11-01", 1, 30, "2026-11-01T01:30:00-06:00"},
		{"Denver, after the repeat", "America/Denver", "2026-11-01", 2, 0, "2026-11-01T02:00:00-07:00"},
		{"St. John's, gap", "America/St_Johns", "2027-03-14", 2, 15, "2027-03-14T03:00:00-02:30"},
		{"St. John's, repeated", "America/St_Johns", "2026-11-01", 1, 15, "2026-11-01T01:15:00-02:30"},
		{"St. John's, gap just after midnight", "America/St_Johns", "2011-03-13", 0, 30, "2011-03-13T01:01:00-02:30"},
		{"Lord Howe, gap of half an hour", "Australia/Lord_Howe", "2026-10-04", 2, 15, "2026-10-04T02:30:00+11:00"},
		{"Apia, the last day before the jump", "Pacific/Apia", "2011-12-29", 9, 0, "2011-12-29T09:00:00-10:00"},
		{"Apia, a day that never was", "Pacific/Apia", "2011-12-30", 9, 0, "2011-12-31T00:00:00+14:00"},
		{"Apia, the first day after it", "Pacific/Apia", "2011-12-31", 9, 0, "2011-12-31T09:00:00+14:00"},
		{"São Paulo, no midnight", "America/Sao_Paulo", "2017-10-15", 0, 0, "2017-10-15T01:00:00-02:00"},
		{"São Paulo, 23:30 twice", "America/Sao_Paulo", "2018-02-17", 23, 30, "2018-02-17T23:30:00-02:00"},
		{"São Paulo, midnight after 23:00 came twice", "America/Sao_Paulo", "2018-02-18", 0, 0, "2018-02-18T00:00:00-03:00"},
		{"hour 24 is the next day", "America/Denver", "2026-11-30", 24, 0, "2026-12-01T00:00:00-07:00"},
		{"an hour before the day", "America/Denver", "2026-11-30", -1, 0, "2026-11-29T23:00:00-07:00"},
		{"Kiritimati, far east", "Pacific/Kiritimati", "2026-11-30", 7, 0, "2026-11-30T07:00:00+14:00"},
		{"Denver, last hours of a leap year", "America/Denver", "2028-12-31", 23, 30, "2028-12-31T23:30:00-07:00"},
		{"Denver, last day of a leap year by UTC", "America/Denver", "2028-12-30", 18, 0, "2028-12-30T18:00:00-07:00"},
		{"Denver, first hours after a leap year", "America/Denver", "2029-01-01", 0, 0, "2029-01-01T00:00:00-07:00"},
		{"Kiritimati, end of a leap year", "Pacific/Kiritimati", "2028-12-31", 9, 0, "2028-12-31T09:00:00+14:00"},
		{"Auckland, summer over the end of a leap year", "Pacific/Auckland", "2029-01-01", 0, 0, "2029-01-01T00:00:00+13:00"},
	} {
		t.Run(c.name, func(t *testing.T) {
			f := facility(t, c.zone, "none")
			got := f.At(day(t, c.date), c.hour, c.minute)
			require.Equal(t, f.Zone(), got.Location())
			require.Equal(t, c.want, got.Format(time.RFC3339))
		})
	}
}

// Before standard time a zone's offset has seconds, and before its first entry
// the database has no earlier change.
func TestAtLongAgo(t *testing.T) {
	got := facility(t, "America/Denver", "none").At(day(t, "1800-01-01"), 7, 30)
	require.Equal(t, "1800-01-01 07:30:00", got.Format(time.DateTime))
}

func TestFixedZones(t *testing.T) {
	for _, hours := range []int{-25, -12, 0, 14, 25} {
		c, err := calendar.New(calendar.Options{Zone: time.FixedZone("x", hours*3600)})
		require.NoError(t, err)
		require.Equal(t, "2026-11-30 07:30:00", c.At(day(t, "2026-11-30"), 7, 30).Format(time.DateTime))
	}
}

func TestDayBounds(t *testing.T) {
	for _, c := range []struct {
		name, zone, date, start string
		hours                   time.Duration
	}{
		{"ordinary day", "America/Denver", "2026-11-30", "2026-11-30T00:00:00-07:00", 24 * time.Hour},
		{"clocks go forward", "America/Denver", "2027-03-14", "2027-03-14T00:00:00-07:00", 23 * time.Hour},
		{"clocks go back", "America/Denver", "2026-11-01", "2026-11-01T00:00:00-06:00", 25 * time.Hour},
		{"no midnight", "America/Sao_Paulo", "2017-10-15", "2017-10-15T01:00:00-02:00", 23 * time.Hour},
		{"ends with a repeated hour", "America/Sao_Paulo", "2018-02-17", "2018-02-17T00:00:00-02:00", 25 * time.Hour},
		{"midnight twice", "America/Havana", "2026-11-01", "2026-11-01T00:00:00-04:00", 25 * time.Hour},
		{"half an hour", "Australia/Lord_Howe", "2026-10-04", "2026-10-04T00:00:00+10:30", 23*time.Hour + 30*time.Minute},
		{"day left out", "Pacific/Apia", "2011-12-30", "2011-12-31T00:00:00+14:00", 0},
		{"day before it", "Pacific/Apia", "2011-12-29", "2011-12-29T00:00:00-10:00", 24 * time.Hour},
	} {
		t.Run(c.name, func(t *testing.T) {
			f, d := facility(t, c.zone, "none"), day(t, c.date)
			require.Equal(t, c.start, f.StartOf(d).Format(time.RFC3339))
			require.Equal(t, c.hours, f.EndOf(d).Sub(f.StartOf(d)))
			require.Equal(t, f.StartOf(d.Add(1)), f.EndOf(d), "days meet without a hole")
			if c.hours > 0 {
				require.Equal(t, d, f.DateOf(f.StartOf(d)))
				require.Equal(t, d, f.DateOf(f.EndOf(d).Add(-1)))
				require.Equal(t, d.Add(-1), f.DateOf(f.StartOf(d).Add(-1)))
			}
		})
	}
	last := facility(t, "UTC", "none").EndOf(lastDate)
	require.Equal(t, time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC), last, "the last date ends too")
}

func TestDateOf(t *testing.T) {
	f := facility(t, "America/Denver", "none")
	require.Equal(t, "2026-11-29", f.DateOf(time.Date(2026, 11, 30, 6, 59, 59, 0, time.UTC)).String())
	require.Equal(t, "2026-11-30", f.DateOf(time.Date(2026, 11, 30, 7, 0, 0, 0, time.UTC)).String())
	require.True(t, f.DateOf(time.Time{}).IsZero())
	require.True(t, facility(t, "Asia/Tokyo", "none").DateOf(time.Time{}).IsZero(), "though it is 0001-01-01 there")
	require.True(t, f.DateOf(time.Date(10000, 6, 1, 0, 0, 0, 0, time.UTC)).IsZero())
	require.True(t, f.DateOf(time.Date(0, 6, 1, 0, 0, 0, 0, time.UTC)).IsZero())
	require.True(t, f.At(0, 9, 0).IsZero())
	require.True(t, f.StartOf(0).IsZero())
	require.True(t, f.EndOf(0).IsZero())
}

// A day is not 24 hours: what a day rule and an hour rule say apart.
func TestDaysAreNotHours(t *testing.T) {
	f := facility(t, "America/Denver", "none")
	before := f.At(day(t, "2027-03-13"), 9, 0)
	require.Equal(t, "2027-03-14T10:00:00-06:00", before.Add(24*time.Hour).Format(time.RFC3339))
	require.Equal(t, "2027-03-14T09:00:00-06:00", f.At(day(t, "2027-03-13").Add(1), 9, 0).Format(time.RFC3339))
}

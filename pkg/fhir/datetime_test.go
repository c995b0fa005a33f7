package fhir

import (
	"testing"
	"time"
	_ "time/tzdata"

	"github.com/stretchr/testify/require"
)

func zone(t testing.TB, name string) *time.Location {
	loc, err := time.LoadLocation(name)
	require.NoError(t, err)
	return loc
}

func TestDateTimeForms(t *testing.T) {
	for in, want := range map[string]struct {
		precision              Precision
		date, dateTime, moment bool
	}{
		"2026":                          {Year, true, true, false},
		"2026-11":                       {Month, true, true, false},
		"2026-11-30":                    {Day, true, true, false},
		"2028-02-29":                    {Day, true, true, false},
		"2026-11-30T07:30:00-06:00":     {Second, false, true, true},
		"2026-11-30T07:30:00Z":          {Second, false, true, true},
		"2026-11-30T07:30:00.1234567Z":  {Fraction, false, true, true},
		"2026-11-30T07:30:00+14:00":     {Second, false, true, true},
		"2016-12-31T23:59:60Z":          {Second, false, true, true},
		"2026-11-30T07:30:00":           {Second, false, false, false}, // search values only
		"2026-11-30T07:30":              {Minute, false, false, false},
		"2026-11-30T07:30Z":             {Minute, false, false, false},
		"2026-11-30T07:30:00.000-03:30": {Fraction, false, true, true},
	} {
		d, err := ParseSearchDate(in)
		require.NoError(t, err, in)
		require.Equal(t, want.precision, d.Precision(), in)
		require.Equal(t, in, d.String())
		_, err = ParseDate(in)
		require.Equal(t, want.date, err == nil, in)
		_, err = ParseDateTime(in)
		require.Equal(t, want.dateTime, err == nil, in)
		_, err = ParseInstant(in)
		require.Equal(t, want.moment, err == nil, in)
	}
}

func TestDateTimeRefuses(t *testing.T) {
	for _, in := range []string{
		"", "26", "0000", "20261130", "2026-", "2026-13", "2026-00", "2026-1", "2026-11-", "2026-11-31", "2026-02-29", "1900-02-29", "2026-11-00",
		"2026-11-30T", "2026-11-30T07", "2026-11-30T07Z", "2026-11-30 07:30:00Z", "2026-11-30t07:30:00z", "2026-11-30T24:00:00Z",
		"2026-11-30T07:60:00Z", "2026-11-30T07:30:61Z", "2026-11-30T07:30:00.Z", "2026-11-30T07:30:00,5Z", "2026-11-30T07:30:00-0600",
		"2026-11-30T07:30:00-6:00", "2026-11-30T07:30:00+14:30", "2026-11-30T07:30:00+15:00", "2026-11-30T07:30:00Z ", " 2026", "2026-11-30Z",
		"+2026", "２０２６", "2026-11T07:30:00Z",
	} {
		_, err := ParseSearchDate(in)
		require.ErrorIs(t, err, ErrDate, "%q", in)
	}
}

func TestDateTimeInterval(t *testing.T) {
	chicago, havana, apia := zone(t, "America/Chicago"), zone(t, "America/Havana"), zone(t, "Pacific/Apia")
	for _, tc := range []struct {
		in         string
		loc        *time.Location
		start, end string
	}{
		{"2026", chicago, "2026-01-01T00:00:00-06:00", "2027-01-01T00:00:00-06:00"},
		{"2026-11", chicago, "2026-11-01T00:00:00-05:00", "2026-12-01T00:00:00-06:00"},
		{"2026-12", chicago, "2026-12-01T00:00:00-06:00", "2027-01-01T00:00:00-06:00"},
		{"2026-11-01", chicago, "2026-11-01T00:00:00-05:00", "2026-11-02T00:00:00-06:00"}, // 25 hours
		{"2026-03-08", chicago, "2026-03-08T00:00:00-06:00", "2026-03-09T00:00:00-05:00"}, // 23 hours
		{"2026-11-30T07:30:00-06:00", time.UTC, "2026-11-30T13:30:00Z", "2026-11-30T13:30:01Z"},
		{"2026-11-30T07:30:00.5Z", chicago, "2026-11-30T07:30:00.5Z", "2026-11-30T07:30:00.6Z"},
		{"2026-11-30T07:30", chicago, "2026-11-30T13:30:00Z", "2026-11-30T13:31:00Z"},
		{"2016-12-31T23:59:60Z", chicago, "2017-01-01T00:00:00Z", "2017-01-01T00:00:01Z"},
		{"2026-03-08T02:30:00", chicago, "2026-03-08T03:00:00-05:00", "2026-03-08T03:00:01-05:00"}, // does not exist
		{"2026-11-01T01:30:00", chicago, "2026-11-01T01:30:00-05:00", "2026-11-01T01:30:01-05:00"}, // exists twice
		{"2026-03-08", havana, "2026-03-08T01:00:00-04:00", "2026-03-09T00:00:00-04:00"},           // midnight does not exist
		{"2011-12-29", apia, "2011-12-29T00:00:00-10:00", "2011-12-30T00:00:00-10:00"},
		{"2011-12-30", apia, "2011-12-31T00:00:00+14:00", "2011-12-31T00:00:00+14:00"}, // a day that was left out
	} {
		d, err := ParseSearchDate(tc.in)
		require.NoError(t, err)
		start, end := d.Interval(tc.loc)
		wantStart, err := time.Parse(time.RFC3339, tc.start)
		require.NoError(t, err)
		wantEnd, err := time.Parse(time.RFC3339, tc.end)
		require.NoError(t, err)
		require.True(t, start.Equal(wantStart), "%s: starts %s", tc.in, start)
		require.True(t, end.Equal(wantEnd), "%s: ends %s", tc.in, end)
	}
}

func TestDateTimeDayAndInstant(t *testing.T) {
	chicago, kiritimati := zone(t, "America/Chicago"), zone(t, "Pacific/Kiritimati")
	day := func(s string, loc *time.Location) string {
		d, err := ParseDateTime(s)
		require.NoError(t, err)
		y, m, dd, ok := d.Day(loc)
		if !ok {
			return ""
		}
		return FormatDay(y, m, dd)
	}
	require.Equal(t, "2026-11-30", day("2026-11-30", kiritimati))
	require.Equal(t, "2026-11-29", day("2026-11-30T03:30:00Z", chicago))
	require.Equal(t, "2026-12-01", day("2026-11-30T23:30:00-06:00", kiritimati))
	require.Equal(t, "", day("2026-11", chicago))

	d, err := ParseDateTime("2026-11-30T07:30:00-06:00")
	require.NoError(t, err)
	at, ok := d.Instant()
	require.True(t, ok)
	require.Equal(t, "2026-11-30T07:30:00.000-06:00", FormatInstant(at))
	d, err = ParseDateTime("2026-11-30")
	require.NoError(t, err)
	_, ok = d.Instant()
	require.False(t, ok)
	require.True(t, DateTime{}.IsZero())
	require.Equal(t, "0099-01-02", FormatDay(99, time.January, 2))
}

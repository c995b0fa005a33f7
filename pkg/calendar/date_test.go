package calendar_test

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"example.org/countback/pkg/calendar"
)

var lastDate = calendar.NewDate(9999, 12, 31)

// day reads a date that the test itself wrote.
func day(t require.TestingT, s string) calendar.Date {
	d, err := calendar.ParseDate(s)
	require.NoError(t, err, s)
	return d
}

// anyDate draws mostly dates that people live in, and now and then any date.
func anyDate() *rapid.Generator[calendar.Date] {
	near := rapid.Map(rapid.IntRange(-60_000, 60_000), func(n int) calendar.Date {
		return calendar.NewDate(2026, 11, 30).Add(n)
	})
	far := rapid.Map(rapid.Int32Range(1, int32(lastDate)), func(n int32) calendar.Date { return calendar.Date(n) })
	return rapid.OneOf(near, near, far)
}

func TestEveryDateAgreesWithPackageTime(t *testing.T) {
	at := time.Date(1, 1, 1, 0, 0, 0, 0, time.UTC)
	for d := calendar.Date(1); d <= lastDate; d++ {
		year, month, dom := at.Date()
		y, m, dd := d.YMD()
		if y != year || m != int(month) || dd != dom || d.Weekday() != at.Weekday() ||
			calendar.NewDate(year, int(month), dom) != d {
			require.FailNow(t, "differs", "date %d: %d-%d-%d against %s", d, y, m, dd, at)
		}
		at = at.AddDate(0, 0, 1)
	}
	require.Equal(t, 10000, at.Year(), "the last date is the last day of 9999")
}

func TestNewDateRefusesImpossibleDates(t *testing.T) {
	for _, c := range []struct {
		name             string
		year, month, day int
	}{
		{"30 February", 2026, 2, 30},
		{"29 February of a common year", 2026, 2, 29},
		{"29 February of 1900", 1900, 2, 29},
		{"31 April", 2026, 4, 31},
		{"day 0", 2026, 1, 0},
		{"day 32", 2026, 1, 32},
		{"day below 0", 2026, 1, -1},
		{"month 0", 2026, 0, 1},
		{"month 13", 2026, 13, 1},
		{"month below 0", 2026, -11, 1},
		{"year 0", 0, 12, 31},
		{"year below 0", -1, 1, 1},
		{"year 10000", 10000, 1, 1},
		{"largest numbers", math.MaxInt, math.MaxInt, math.MaxInt},
	} {
		t.Run(c.name, func(t *testing.T) {
			require.True(t, calendar.NewDate(c.year, c.month, c.day).IsZero())
		})
	}
	require.False(t, calendar.NewDate(2000, 2, 29).IsZero(), "2000 was a leap year")
	require.False(t, calendar.NewDate(2028, 2, 29).IsZero())
}

func TestParseDate(t *testing.T) {
	require.Equal(t, calendar.NewDate(2026, 11, 30), day(t, "2026-11-30"))
	require.Equal(t, calendar.Date(1), day(t, "0001-01-01"))
	require.Equal(t, lastDate, day(t, "9999-12-31"))
	for _, s := range []string{
		"", "2026", "2026-11", "2026-1-30", "26-11-30", "20261130", "2026/11/30", "2026-11-30T00:00:00Z",
		" 2026-11-30", "2026-11-30 ", "2026-11-3x", "+026-11-30", "2026-+1-30", "2026-11--3", "0000-01-01",
		"2026-02-30", "2026-13-01", "2026-00-10", "2026-11-00", "٢٠٢٦-11-30", "2026-11-30\n", "2026–11–30",
	} {
		t.Run("refuses "+s, func(t *testing.T) {
			d, err := calendar.ParseDate(s)
			require.ErrorIs(t, err, calendar.ErrDate)
			require.True(t, d.IsZero())
			if s != "" {
				require.NotContains(t, err.Error(), s, "an error may be logged and must not carry what was read")
			}
		})
	}
}

func TestNoDateStaysNoDate(t *testing.T) {
	for _, none := range []calendar.Date{0, -1, math.MinInt32, lastDate + 1, math.MaxInt32} {
		require.True(t, none.IsZero())
		require.Empty(t, none.String())
		require.Empty(t, none.Format(time.DateOnly))
		require.Zero(t, none.Add(1))
		require.Zero(t, none.Add(-1))
		require.Zero(t, none.AddMonths(1))
		require.Equal(t, time.Sunday, none.Weekday())
		y, m, d := none.YMD()
		require.Equal(t, [3]int{}, [3]int{y, m, d})
	}
}

func TestArithmeticEndsWithTheRange(t *testing.T) {
	first := calendar.Date(1)
	require.Zero(t, first.Add(-1))
	require.Zero(t, lastDate.Add(1))
	require.Equal(t, lastDate, first.Add(int(lastDate)-1))
	require.Equal(t, first, lastDate.Add(1-int(lastDate)))
	for _, n := range []int{math.MinInt, math.MinInt32, math.MaxInt32, math.MaxInt} {
		require.Zero(t, first.Add(n), n)
		require.Zero(t, lastDate.Add(n), n)
		require.Zero(t, first.AddMonths(n), n)
		require.Zero(t, lastDate.AddMonths(n), n)
	}
	require.Zero(t, first.AddMonths(-1))
	require.Zero(t, lastDate.AddMonths(1))
}

func TestAddMonthsClampsToTheMonthsEnd(t *testing.T) {
	for _, c := range []struct {
		name, from string
		months     int
		want       string
	}{
		{"leap day plus a year", "2028-02-29", 12, "2029-02-28"},
		{"leap day plus four years", "2028-02-29", 48, "2032-02-29"},
		{"leap day minus a year", "2028-02-29", -12, "2027-02-28"},
		{"31 January to February", "2026-01-31", 1, "2026-02-28"},
		{"31 January to a leap February", "2028-01-31", 1, "2028-02-29"},
		{"31 to 30", "2026-08-31", 1, "2026-09-30"},
		{"over the year's end", "2026-11-30", 3, "2027-02-28"},
		{"December to January", "2026-12-31", 1, "2027-01-31"},
		{"back over the year's start", "2026-01-31", -2, "2025-11-30"},
		{"back to February", "2026-03-31", -1, "2026-02-28"},
		{"no months", "2026-03-31", 0, "2026-03-31"},
		{"28 February stays the 28th", "2026-02-28", 1, "2026-03-28"},
	} {
		t.Run(c.name, func(t *testing.T) {
			require.Equal(t, c.want, day(t, c.from).AddMonths(c.months).String())
		})
	}
}

func TestFormat(t *testing.T) {
	d := calendar.NewDate(2026, 11, 30)
	require.Equal(t, "2026-11-30", d.String())
	require.Equal(t, "Mon 30 Nov 2026", d.Format("Mon 2 Jan 2006"))
	require.Equal(t, "00:00 UTC", d.Format("15:04 MST"))
	require.Equal(t, "0001-01-01", calendar.Date(1).String())
}

func TestDateIsAStringInJSON(t *testing.T) {
	type item struct {
		Due    calendar.Date            `json:"due"`
		Opens  calendar.Date            `json:"opens,omitzero"`
		Closed map[calendar.Date]string `json:"closed,omitempty"`
	}
	in := item{Due: day(t, "2026-11-30"), Closed: map[calendar.Date]string{day(t, "2026-11-26"): "x"}}
	text, err := json.Marshal(in)
	require.NoError(t, err)
	require.JSONEq(t, `{"due":"2026-11-30","closed":{"2026-11-26":"x"}}`, string(text))
	var out item
	require.NoError(t, json.Unmarshal(text, &out))
	require.Equal(t, in, out)

	text, err = json.Marshal(item{})
	require.NoError(t, err)
	require.JSONEq(t, `{"due":""}`, string(text))
	require.NoError(t, json.Unmarshal(text, &out))
	require.True(t, out.Due.IsZero())

	out.Due = in.Due
	require.ErrorIs(t, out.Due.UnmarshalText([]byte("2026-02-30")), calendar.ErrDate)
	require.Equal(t, in.Due, out.Due, "an error keeps the value")
	require.Error(t, json.Unmarshal([]byte(`{"due":20261130}`), &out))
}

func TestAddAndSubAreInverse(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d, e := anyDate().Draw(t, "d"), anyDate().Draw(t, "e")
		require.Equal(t, d, e.Add(d.Sub(e)))
		require.Equal(t, -e.Sub(d), d.Sub(e))
		require.Equal(t, d.String() < e.String(), d < e, "dates sort as their text does")
		require.Equal(t, d, day(t, d.String()))
	})
}

func TestAddAgreesWithPackageTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := anyDate().Draw(t, "d")
		days := rapid.IntRange(-5_000, 5_000).Draw(t, "days")
		y, m, dd := d.YMD()
		want := time.Date(y, time.Month(m), dd, 12, 0, 0, 0, time.UTC).AddDate(0, 0, days)
		got := d.Add(days)
		if want.Year() < 1 || want.Year() > 9999 {
			require.True(t, got.IsZero())
			return
		}
		require.Equal(t, want.Format(time.DateOnly), got.String())
		require.Equal(t, want.Weekday(), got.Weekday())
	})
}

func TestAddMonthsAgreesWithPackageTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := anyDate().Draw(t, "d")
		months := rapid.IntRange(-600, 600).Draw(t, "months")
		y, m, dd := d.YMD()
		// time.Date runs over a short month's end; its day 0 is the last of the month before.
		first := time.Date(y, time.Month(m+months), 1, 12, 0, 0, 0, time.UTC)
		want := time.Date(y, time.Month(m+months), dd, 12, 0, 0, 0, time.UTC)
		if want.Month() != first.Month() {
			want = time.Date(y, time.Month(m+months+1), 0, 12, 0, 0, 0, time.UTC)
		}
		got := d.AddMonths(months)
		if want.Year() < 1 || want.Year() > 9999 {
			require.True(t, got.IsZero())
			return
		}
		require.Equal(t, want.Format(time.DateOnly), got.String())
	})
}

func FuzzParseDate(f *testing.F) {
	for _, s := range []string{"2026-11-30", "2028-02-29", "2026-02-30", "", "0001-01-01", "9999-12-31", "+026-11-30"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		d, err := calendar.ParseDate(s)
		at, wantErr := time.Parse(time.DateOnly, s)
		if wantErr == nil && at.Year() == 0 {
			require.ErrorIs(t, err, calendar.ErrDate, "there is no year 0")
			return
		}
		require.Equal(t, wantErr == nil, err == nil, "package time says %v, we say %v", wantErr, err)
		if err != nil {
			require.ErrorIs(t, err, calendar.ErrDate)
			require.Zero(t, d)
			return
		}
		require.Equal(t, s, d.String())
	})
}

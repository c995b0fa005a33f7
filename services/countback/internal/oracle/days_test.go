package oracle

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
)

// Every day that a case can touch, one by one: what each calendar says of it.
func TestEveryDay(t *testing.T) {
	w := theWorld(t)
	for _, f := range w.facilities {
		for d := DayOf(2023, 6, 1); d < DayOf(2039, 6, 1); d++ {
			date := dateOf(d)
			same := date.Weekday() == days[d].weekday && f.calendar.IsBusinessDay(date) == f.place.open(d)
			require.True(t, same, "%s, %s", f.name, d)
		}
	}
	for d := DayOf(2023, 6, 1); d < DayOf(2039, 6, 1); d++ {
		require.Equal(t, d.String(), dateOf(d).String())
		for n := -14; n <= 14; n++ {
			require.Equal(t, walkMonths(d, n).String(), dateOf(d).AddMonths(n).String(), "%s %+d months", d, n)
		}
	}
}

// The days on which clocks are changed, and those beside them, at every quarter
// of an hour: gaps give the first valid time after them, repeats the first.
func TestChangesOfClocks(t *testing.T) {
	found := map[string]int{}
	for _, f := range theWorld(t).facilities {
		zone := f.place.zone.String()
		if found[zone] > 0 {
			continue // clocks do not depend on closed days
		}
		for _, change := range f.clocks {
			found[zone]++
			for d := change - 1; d <= change+1; d++ {
				for minute := 0; minute < 24*60; minute += 15 {
					at := f.calendar.At(dateOf(d), minute/60, minute%60)
					same := at.Equal(f.place.reaches(wall{d, minute}))
					require.True(t, same, "%s, %s minute %d: %s", zone, d, minute, at)
				}
			}
		}
	}
	require.Len(t, found, 4, "Kiritimati and UTC change nothing")
}

// Worked by hand. US clocks go forward on the second Sunday of March and back on
// the first of November, both at 2:00 (15 U.S.C. 260a; from memory).
func TestOracleByHand(t *testing.T) {
	zone, err := time.LoadLocation("America/Chicago")
	require.NoError(t, err)
	p := NewPlace(zone, Federal())
	at := func(d Day, hour, minute int) string {
		return p.reaches(wall{d, hour*60 + minute}).In(zone).Format("2006-01-02 15:04 -0700")
	}
	require.Equal(t, "2026-03-08 03:00 -0500", at(DayOf(2026, 3, 8), 2, 30))
	require.Equal(t, "2026-11-01 01:30 -0500", at(DayOf(2026, 11, 1), 1, 30))
	require.Equal(t, "2026-11-01 02:00 -0600", at(DayOf(2026, 11, 1), 2, 0))
	require.Equal(t, "2027-02-28", walkMonths(DayOf(2026, 11, 30), 3).String())
	require.Equal(t, "2026-11-25", p.walkOpen(DayOf(2026, 11, 30), -2).String(), "over Thanksgiving")
	require.Equal(t, "2026-11-27", p.walkOpen(DayOf(2026, 11, 30), -1).String())
	require.True(t, p.closed[DayOf(2026, 7, 3)], "4 July 2026 is a Saturday")
	require.Equal(t, calendar.NewDate(2026, 11, 30), dateOf(DayOf(2026, 11, 30)))
}

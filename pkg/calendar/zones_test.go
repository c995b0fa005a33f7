package calendar_test

import (
	"archive/zip"
	"io"
	"os/exec"
	"path/filepath"
	"sort"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
)

// goRoot asks the go command where it is installed.
func goRoot(t *testing.T) string {
	out, err := exec.Command("go", "env", "GOROOT").Output()
	require.NoError(t, err)
	return strings.TrimSpace(string(out))
}

// zoneFiles reads every zone of the IANA database that comes with Go.
func zoneFiles(t *testing.T) map[string]*time.Location {
	archive, err := zip.OpenReader(filepath.Join(goRoot(t), "lib", "time", "zoneinfo.zip"))
	require.NoError(t, err, "the Go installation must have its time-zone database")
	defer func() { require.NoError(t, archive.Close()) }()
	zones := map[string]*time.Location{}
	for _, file := range archive.File {
		if strings.HasSuffix(file.Name, "/") {
			continue
		}
		r, err := file.Open()
		require.NoError(t, err)
		data, err := io.ReadAll(r)
		require.NoError(t, err)
		zones[file.Name], err = time.LoadLocationFromTZData(file.Name, data)
		require.NoError(t, err, file.Name)
	}
	require.Greater(t, len(zones), 400)
	return zones
}

// clock is a wall clock's reading: minutes as if the zone were UTC.
func clock(t time.Time) int64 {
	_, offset := t.Zone()
	return (t.Unix() + int64(offset)) / 60
}

// changesOf finds, to the minute, each instant at which the offset changes. It
// looks four times a day instead of trusting time.Time.ZoneBounds, which gives
// ends that have passed on the last day of a leap year (golang/go issue 81583).
func changesOf(z *time.Location) []time.Time {
	offset := func(t time.Time) int {
		_, seconds := t.Zone()
		return seconds
	}
	const step = 6 * time.Hour
	var changes []time.Time
	for t := time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC).In(z); t.Year() < 2038; t = t.Add(step) {
		if offset(t) == offset(t.Add(step)) {
			continue
		}
		minutes := sort.Search(int(step/time.Minute), func(n int) bool {
			return offset(t.Add(time.Duration(n)*time.Minute)) != offset(t)
		})
		changes = append(changes, t.Add(time.Duration(minutes)*time.Minute))
	}
	return changes
}

// TestEveryChangeOfEveryZone asks for each minute around each change of the
// clocks from 2024 to 2037, and compares with a scan of the instants.
func TestEveryChangeOfEveryZone(t *testing.T) {
	gaps, repeats := 0, 0
	for name, z := range zoneFiles(t) {
		c, err := calendar.New(calendar.Options{Zone: z})
		require.NoError(t, err)
		for _, change := range changesOf(z) {
			if clock(change) > clock(change.Add(-time.Minute)) {
				gaps++
			} else {
				repeats++
			}
			checkAround(t, c, name, change)
		}
	}
	t.Logf("%d gaps, %d repeats", gaps, repeats)
	require.Greater(t, gaps, 1000)
	require.Greater(t, repeats, 1000)
}

func checkAround(t *testing.T, c *calendar.Calendar, name string, change time.Time) {
	// Every change of these years is of at most three hours.
	const around = 4 * time.Hour
	var instants []time.Time
	for at := change.Add(-around); at.Before(change.Add(around)); at = at.Add(time.Minute) {
		instants = append(instants, at)
	}
	reached := make([]int64, len(instants)) // the latest reading so far: it never falls
	for i, at := range instants {
		reached[i] = clock(at)
		if i > 0 {
			reached[i] = max(reached[i], reached[i-1])
		}
	}
	// From well before the change to an hour after what the clock shows then: all
	// of a gap, or a repeat of at least an hour.
	var previous time.Time
	for wall := reached[0]; wall <= clock(change)+60; wall++ {
		first := instants[sort.Search(len(reached), func(i int) bool { return reached[i] >= wall })]
		d := calendar.NewDate(1970, 1, 1).Add(int(wall / (24 * 60)))
		got := c.At(d, int(wall/60%24), int(wall%60))
		if !got.Equal(first) || got.Before(previous) || clock(got) < wall || got.Location() != c.Zone() {
			require.FailNow(t, "wrong instant", "%s: %s minute %d: got %s, want %s, previous %s",
				name, d, wall%(24*60), got, first, previous)
		}
		previous = got
	}
}

// TestDayWindowsAroundEveryChange asks, around each change of the clocks from
// 2024 to 2037, for the days before, at and after it, and compares with a scan
// of the instants: the day holds each minute that a wall clock shows under its
// date, from the first to the last, and no other.
func TestDayWindowsAroundEveryChange(t *testing.T) {
	changes, short, long := 0, 0, 0
	for name, z := range zoneFiles(t) {
		c, err := calendar.New(calendar.Options{Zone: z})
		require.NoError(t, err)
		for _, change := range changesOf(z) {
			changes++
			s, l := checkDays(t, c, name, change)
			short, long = short+s, long+l
		}
	}
	t.Logf("%d changes, %d days of less than 24 hours and %d of more", changes, short, long)
	require.Greater(t, changes, 2000)
	require.Greater(t, short, 1000)
	require.Greater(t, long, 1000)
}

// checkDays looks at the day before a change to the day after it, by minutes.
func checkDays(t *testing.T, c *calendar.Calendar, name string, change time.Time) (short, long int) {
	const days, minutesPerDay = 1, 24 * 60
	first, last := map[calendar.Date]time.Time{}, map[calendar.Date]time.Time{}
	minutes := map[calendar.Date]int{}
	for n := -(days + 1) * minutesPerDay; n <= (days+1)*minutesPerDay; n++ {
		at := change.Add(time.Duration(n) * time.Minute)
		d := calendar.NewDate(1970, 1, 1).Add(int(clock(at) / minutesPerDay))
		if _, seen := first[d]; !seen {
			first[d] = at
		}
		last[d] = at
		minutes[d]++
	}
	middle := calendar.NewDate(1970, 1, 1).Add(int(clock(change) / minutesPerDay))
	for d := middle - days; d <= middle+days; d++ {
		start, end := c.StartOf(d), c.EndOf(d)
		if minutes[d] == 0 || !start.Equal(first[d]) || !end.Equal(last[d].Add(time.Minute)) || end.Sub(start) != time.Duration(minutes[d])*time.Minute ||
			c.DateOf(start) != d || c.DateOf(end) == d || !c.At(d, 0, 0).Equal(start) || start.Location() != c.Zone() {
			require.FailNow(t, "wrong day", "%s %s: got %s to %s, want %s to %s, %d minutes",
				name, d, start, end, first[d], last[d].Add(time.Minute), minutes[d])
		}
		switch {
		case minutes[d] < minutesPerDay:
			short++
		case minutes[d] > minutesPerDay:
			long++
		}
	}
	return short, long
}

// Every day begins where the day before ends, through changes of the clocks and
// the end of a leap year.
func TestEveryZonesDaysMeet(t *testing.T) {
	for name, z := range zoneFiles(t) {
		c, err := calendar.New(calendar.Options{Zone: z})
		require.NoError(t, err)
		for d := day(t, "2027-07-01"); d < day(t, "2029-07-01"); d++ {
			start, end := c.StartOf(d), c.EndOf(d)
			if !start.Before(end) || c.DateOf(start) != d || c.DateOf(end.Add(-1)) != d || !end.Equal(c.StartOf(d.Add(1))) {
				require.FailNow(t, "wrong day", "%s %s: %s to %s", name, d, start, end)
			}
		}
	}
}

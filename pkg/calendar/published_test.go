package calendar_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
)

// How a value that comes from outside was checked.
const (
	secondary = "secondary"   // read in a page that quotes the source
	computed  = "computed"    // worked out by hand from the rule in the source
	fromMem   = "from memory" // not checked
	usLaw     = "5 U.S.C. 6103: a Saturday holiday is observed on Friday, a Sunday holiday on Monday"
	ukLists   = "published lists of bank holidays, England and Wales"
	ukOneOff  = "published lists of bank holidays in England for the one-off and moved days of the year; the others follow the rule"
	ukRule    = "substitute days of bank holidays in England and Wales move forward"
	dayCount  = "2023 ACC/AHA/ACCP/HRS atrial fibrillation guideline, Table 18 footnote: full days before the day of surgery"
)

// D-n is n calendar days before the day of surgery, D+n after it. The rule of
// counting is read in a secondary page; the dates are worked out from it.
func TestReferenceDates(t *testing.T) {
	const s, s2 = "2026-11-30", "2027-01-04"
	for _, c := range []struct {
		surgery      string
		days         int
		want         string
		weekday      time.Weekday
		source, mark string
	}{
		{s, 0, "2026-11-30", time.Monday, dayCount, computed},
		{s, -1, "2026-11-29", time.Sunday, dayCount, computed},
		{s, -2, "2026-11-28", time.Saturday, dayCount, computed},
		{s, -3, "2026-11-27", time.Friday, dayCount, computed},
		{s, -4, "2026-11-26", time.Thursday, dayCount, computed},
		{s, -5, "2026-11-25", time.Wednesday, dayCount, computed},
		{s, -6, "2026-11-24", time.Tuesday, dayCount, computed},
		{s, -7, "2026-11-23", time.Monday, dayCount, computed},
		{s, -8, "2026-11-22", time.Sunday, dayCount, computed},
		{s, -14, "2026-11-16", time.Monday, dayCount, computed},
		{s, -21, "2026-11-09", time.Monday, dayCount, computed},
		{s, -30, "2026-10-31", time.Saturday, dayCount, computed},
		{s, -42, "2026-10-19", time.Monday, dayCount, computed},
		{s, -90, "2026-09-01", time.Tuesday, dayCount, computed},
		{s, 14, "2026-12-14", time.Monday, dayCount, computed},
		{s, 28, "2026-12-28", time.Monday, dayCount, computed},
		{s, 35, "2027-01-04", time.Monday, dayCount, computed},
		{s, 90, "2027-02-28", time.Sunday, dayCount, computed},
		{s, 300, "2027-09-26", time.Sunday, dayCount, computed},
		{s, 425, "2028-01-29", time.Saturday, dayCount, computed},
		{s2, 0, "2027-01-04", time.Monday, dayCount, computed},
		{s2, -3, "2027-01-01", time.Friday, dayCount, computed},
		{s2, -4, "2026-12-31", time.Thursday, dayCount, computed},
		{s2, -6, "2026-12-29", time.Tuesday, dayCount, computed},
		{s2, -21, "2026-12-14", time.Monday, dayCount, computed},
		{s2, -30, "2026-12-05", time.Saturday, dayCount, computed},
		{s2, -90, "2026-10-06", time.Tuesday, dayCount, computed},
	} {
		t.Run(c.surgery+" to "+c.want, func(t *testing.T) {
			got := day(t, c.surgery).Add(c.days)
			require.Equal(t, c.want, got.String(), "%s (%s)", c.source, c.mark)
			require.Equal(t, c.weekday, got.Weekday(), "%s (%s)", c.source, c.mark)
			require.Equal(t, c.days, got.Sub(day(t, c.surgery)))
		})
	}
}

type holidayYear struct {
	set          string
	year         int
	source, mark string
	days         []string // MM-DD
}

var holidayYears = []holidayYear{
	{"us-federal", 2024, usLaw, computed, []string{"01-01", "01-15", "02-19", "05-27", "06-19", "07-04", "09-02", "10-14", "11-11", "11-28", "12-25"}},
	{"us-federal", 2025, usLaw, computed, []string{"01-01", "01-20", "02-17", "05-26", "06-19", "07-04", "09-01", "10-13", "11-11", "11-27", "12-25"}},
	// 2026-07-03 was also read in a secondary page.
	{"us-federal", 2026, usLaw, computed, []string{"01-01", "01-19", "02-16", "05-25", "06-19", "07-03", "09-07", "10-12", "11-11", "11-26", "12-25"}},
	{"us-federal", 2027, usLaw, computed, []string{"01-01", "01-18", "02-15", "05-31", "06-18", "07-05", "09-06", "10-11", "11-11", "11-25", "12-24", "12-31"}},
	{"us-federal", 2028, usLaw, computed, []string{"01-17", "02-21", "05-29", "06-19", "07-04", "09-04", "10-09", "11-10", "11-23", "12-25"}},
	{"us-federal", 2029, usLaw, computed, []string{"01-01", "01-15", "02-19", "05-28", "06-19", "07-04", "09-03", "10-08", "11-12", "11-22", "12-25"}},
	{"us-federal", 2030, usLaw, computed, []string{"01-01", "01-21", "02-18", "05-27", "06-19", "07-04", "09-02", "10-14", "11-11", "11-28", "12-25"}},
	{"us-federal", 2100, usLaw, computed, []string{"01-01", "01-18", "02-15", "05-31", "06-18", "07-05", "09-06", "10-11", "11-11", "11-25", "12-24", "12-31"}},

	{"england", 1995, ukOneOff, fromMem, []string{"01-02", "04-14", "04-17", "05-08", "05-29", "08-28", "12-25", "12-26"}},
	{"england", 1999, ukOneOff, secondary, []string{"01-01", "04-02", "04-05", "05-03", "05-31", "08-30", "12-27", "12-28", "12-31"}},
	{"england", 2002, ukOneOff, secondary, []string{"01-01", "03-29", "04-01", "05-06", "06-03", "06-04", "08-26", "12-25", "12-26"}},
	{"england", 2011, ukOneOff, secondary, []string{"01-03", "04-22", "04-25", "04-29", "05-02", "05-30", "08-29", "12-26", "12-27"}},
	{"england", 2012, ukOneOff, secondary, []string{"01-02", "04-06", "04-09", "05-07", "06-04", "06-05", "08-27", "12-25", "12-26"}},
	{"england", 2020, ukOneOff, fromMem, []string{"01-01", "04-10", "04-13", "05-08", "05-25", "08-31", "12-25", "12-28"}},
	{"england", 2022, ukOneOff, secondary, []string{"01-03", "04-15", "04-18", "05-02", "06-02", "06-03", "08-29", "09-19", "12-26", "12-27"}},
	{"england", 2023, ukOneOff, secondary, []string{"01-02", "04-07", "04-10", "05-01", "05-08", "05-29", "08-28", "12-25", "12-26"}},
	{"england", 2024, ukLists, fromMem, []string{"01-01", "03-29", "04-01", "05-06", "05-27", "08-26", "12-25", "12-26"}},
	{"england", 2025, ukRule, computed, []string{"01-01", "04-18", "04-21", "05-05", "05-26", "08-25", "12-25", "12-26"}},
	{"england", 2026, ukLists, secondary, []string{"01-01", "04-03", "04-06", "05-04", "05-25", "08-31", "12-25", "12-28"}},
	{"england", 2027, ukLists, secondary, []string{"01-01", "03-26", "03-29", "05-03", "05-31", "08-30", "12-27", "12-28"}},
	{"england", 2028, ukRule, computed, []string{"01-03", "04-14", "04-17", "05-01", "05-29", "08-28", "12-25", "12-26"}},
	{"england", 2029, ukRule, computed, []string{"01-01", "03-30", "04-02", "05-07", "05-28", "08-27", "12-25", "12-26"}},
	{"england", 2030, ukRule, computed, []string{"01-01", "04-19", "04-22", "05-06", "05-27", "08-26", "12-25", "12-26"}},
}

// weekdaysClosed lists the closed Mondays to Fridays of a year as MM-DD. Days
// at the weekend that are holidays themselves are not observed days.
func weekdaysClosed(set calendar.HolidaySet, year int) []string {
	var days []string
	for _, d := range set.Dates() {
		if y, _, _ := d.YMD(); y == year && d.Weekday() != time.Saturday && d.Weekday() != time.Sunday {
			days = append(days, d.Format("01-02"))
		}
	}
	return days
}

func TestPublishedHolidays(t *testing.T) {
	for _, c := range holidayYears {
		t.Run(c.set+" "+calendar.NewDate(c.year, 1, 1).Format("2006"), func(t *testing.T) {
			require.Equal(t, c.days, weekdaysClosed(holidays(t, c.set), c.year), "%s (%s)", c.source, c.mark)
		})
	}
}

// Source: 5 U.S.C. 6103(a) and (b), worked out here a second time, day by
// day, without the rules of the calendar library (computed).
func TestFederalHolidaysFollowTheLaw(t *testing.T) {
	set := holidays(t, "us-federal")
	for d := day(t, "2024-01-01"); d <= day(t, "2030-12-31"); d++ {
		var want bool
		switch d.Weekday() {
		case time.Saturday, time.Sunday:
			continue
		case time.Friday:
			want = isLegalHoliday(d) || isLegalHoliday(d.Add(1))
		case time.Monday:
			want = isLegalHoliday(d) || isLegalHoliday(d.Add(-1))
		default:
			want = isLegalHoliday(d)
		}
		require.Equal(t, want, set.Closed(d), d.Format("Mon 2006-01-02"))
	}
}

// isLegalHoliday is 5 U.S.C. 6103(a) read naively: fixed dates, and the nth
// Monday or Thursday found by the range of dates in which it can fall.
func isLegalHoliday(d calendar.Date) bool {
	_, month, dom := d.YMD()
	monday, thursday := d.Weekday() == time.Monday, d.Weekday() == time.Thursday
	switch time.Month(month) {
	case time.January:
		return dom == 1 || monday && dom >= 15 && dom <= 21
	case time.February:
		return monday && dom >= 15 && dom <= 21
	case time.May:
		return monday && dom >= 25
	case time.June:
		return dom == 19
	case time.July:
		return dom == 4
	case time.September:
		return monday && dom <= 7
	case time.October:
		return monday && dom >= 8 && dom <= 14
	case time.November:
		return dom == 11 || thursday && dom >= 22 && dom <= 28
	case time.December:
		return dom == 25
	}
	return false
}

// The last business day before the day of surgery, on which the facility
// calls the patient.
func TestCallDayBeforeSurgery(t *testing.T) {
	for _, c := range []struct {
		set, surgery, want string
		source, mark       string
	}{
		{"us-federal", "2026-11-30", "2026-11-27", usLaw, computed},
		{"us-federal", "2026-07-06", "2026-07-02", usLaw, computed},
		{"us-federal", "2026-12-29", "2026-12-28", usLaw, computed},
		{"england", "2026-11-30", "2026-11-27", ukRule, computed},
		{"england", "2026-07-06", "2026-07-03", ukRule, computed},
		{"england", "2026-12-29", "2026-12-24", ukRule, computed},
	} {
		t.Run(c.set+" "+c.surgery, func(t *testing.T) {
			got := facility(t, "UTC", c.set).AddBusinessDays(day(t, c.surgery), -1)
			require.Equal(t, c.want, got.String(), "%s (%s)", c.source, c.mark)
		})
	}
}

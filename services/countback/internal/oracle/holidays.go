package oracle

import (
	"slices"
	"time"
)

// Federal are the days on which federal offices are closed, 5 U.S.C. 6103: a
// holiday on a Saturday is kept on the Friday before, one on a Sunday on the
// Monday after (Executive Order 11582; common practice for Saturdays too).
func Federal() []Day {
	var list []Day
	for d := range days {
		if d == 0 || !federal(Day(d)) {
			continue
		}
		switch days[d].weekday {
		case time.Saturday:
			list = append(list, Day(d-1))
		case time.Sunday:
			list = append(list, Day(d+1))
		default:
			list = append(list, Day(d))
		}
	}
	return list
}

// federal says whether the holiday itself is on d, before it is moved.
func federal(d Day) bool {
	c := days[d]
	week := 1
	for earlier := c.day - 7; earlier > 0; earlier -= 7 {
		week++
	}
	monday := c.weekday == time.Monday
	switch c.month {
	case 1:
		return c.day == 1 || monday && week == 3
	case 2:
		return monday && week == 3
	case 5:
		return monday && c.day+7 > 31
	case 6:
		return c.day == 19 && c.year >= 2021
	case 7:
		return c.day == 4
	case 9:
		return monday && week == 1
	case 10:
		return monday && week == 2
	case 11:
		return c.day == 11 || c.weekday == time.Thursday && week == 4
	case 12:
		return c.day == 25
	}
	return false
}

// easterSundays from 2023 on, from published tables (from memory).
var easterSundays = []name{
	{2023, 4, 9}, {2024, 3, 31}, {2025, 4, 20}, {2026, 4, 5}, {2027, 3, 28}, {2028, 4, 16},
	{2029, 4, 1}, {2030, 4, 21}, {2031, 4, 13}, {2032, 3, 28}, {2033, 4, 17}, {2034, 4, 9},
	{2035, 3, 25}, {2036, 4, 13}, {2037, 4, 5}, {2038, 4, 25}, {2039, 4, 10}, {2040, 4, 1},
}

// England are the bank holidays of England from 2023 to 2040, as they are
// published: one that falls on a weekend is kept on the next weekday that is
// not a bank holiday itself. 8 May 2023 was a holiday of that year alone.
func England() []Day {
	list := []Day{DayOf(2023, 5, 8)}
	for _, easter := range easterSundays {
		sunday := DayOf(easter.year, easter.month, easter.day)
		list = append(list, walk(sunday, -2), walk(sunday, 1))
		list = append(list, firstMonday(easter.year, 5), lastMonday(easter.year, 5), lastMonday(easter.year, 8))
		list = append(list, kept(DayOf(easter.year, 1, 1))...)
		list = append(list, kept(DayOf(easter.year, 12, 25), DayOf(easter.year, 12, 26))...)
	}
	return list
}

func firstMonday(year, month int) Day {
	d := DayOf(year, month, 1)
	for days[d].weekday != time.Monday {
		d++
	}
	return d
}

func lastMonday(year, month int) Day {
	d := DayOf(year, month, 31)
	for days[d].weekday != time.Monday {
		d--
	}
	return d
}

// kept moves the holidays that fall on a weekend past the others.
func kept(holidays ...Day) []Day {
	var list []Day
	for _, d := range holidays {
		if !isWeekend(d) {
			list = append(list, d)
		}
	}
	for _, d := range holidays {
		if isWeekend(d) {
			for isWeekend(d) || slices.Contains(list, d) {
				d++
			}
			list = append(list, d)
		}
	}
	return list
}

func isWeekend(d Day) bool {
	return days[d].weekday == time.Saturday || days[d].weekday == time.Sunday
}

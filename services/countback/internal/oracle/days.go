package oracle

import (
	"fmt"
	"time"
)

// Day is a civil date: its place in a list in which the days from 2000 to 2060
// are written out one after the other. Zero is no day.
type Day int

type civil struct {
	year, month, day int
	weekday          time.Weekday
}

type name struct{ year, month, day int }

var (
	days   = writeDays()
	places = writePlaces()
)

// writeDays writes the list. 1 January 2000 was a Saturday.
func writeDays() []civil {
	list := []civil{{}}
	today := civil{2000, 1, 1, time.Saturday}
	for today.year < 2061 {
		list = append(list, today)
		today = nextDay(today)
	}
	return list
}

func nextDay(c civil) civil {
	c.weekday++
	if c.weekday > time.Saturday {
		c.weekday = time.Sunday
	}
	c.day++
	if c.day > lengthOf(c.year, c.month) {
		c.day = 1
		c.month++
	}
	if c.month > 12 {
		c.month = 1
		c.year++
	}
	return c
}

func lengthOf(year, month int) int {
	switch month {
	case 4, 6, 9, 11:
		return 30
	case 2:
		if year%4 == 0 && (year%100 != 0 || year%400 == 0) {
			return 29
		}
		return 28
	}
	return 31
}

func writePlaces() map[name]Day {
	found := map[name]Day{}
	for place, c := range days {
		if place > 0 {
			found[name{c.year, c.month, c.day}] = Day(place)
		}
	}
	return found
}

// DayOf finds a date in the list; zero if there is no such day.
func DayOf(year, month, day int) Day { return places[name{year, month, day}] }

// String writes the day as YYYY-MM-DD, and no day as "-".
func (d Day) String() string {
	if d == 0 {
		return "-"
	}
	c := days[d]
	return fmt.Sprintf("%04d-%02d-%02d", c.year, c.month, c.day)
}

// walk goes so many days forward, or back if n is negative, one at a time.
func walk(d Day, n int) Day {
	for ; n > 0; n-- {
		d++
	}
	for ; n < 0; n++ {
		d--
	}
	return d
}

// walkMonths goes month by month, keeps the day of the month, and where the
// month it reaches is too short stops at its last day.
func walkMonths(d Day, n int) Day {
	c := days[d]
	year, month := c.year, c.month
	for ; n > 0; n-- {
		month++
		if month > 12 {
			month, year = 1, year+1
		}
	}
	for ; n < 0; n++ {
		month--
		if month < 1 {
			month, year = 12, year-1
		}
	}
	day := c.day
	for DayOf(year, month, day) == 0 {
		day--
	}
	return DayOf(year, month, day)
}

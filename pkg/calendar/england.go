package calendar

import (
	"slices"
	"time"

	"github.com/rickar/cal/v2"
	"github.com/rickar/cal/v2/gb"
)

// forwardTwo moves Christmas and Boxing Day off the weekend past each other:
// Christmas on a Sunday is made up on Tuesday, because Monday is Boxing Day
// itself. The library closes the same two days but swaps their names.
var forwardTwo = []cal.AltDay{{Day: time.Saturday, Offset: 2}, {Day: time.Sunday, Offset: 2}}

// englishHolidays is the library's list for England and Wales with what it
// lacks: the one-off days before 2020, the state funeral of 2022, and the
// bank holidays that were moved to make room for a one-off day.
//
// Source of the one-off days: secondary (published lists of English bank
// holidays); of the move of 1995: from memory.
func englishHolidays() []*cal.Holiday {
	var rules []*cal.Holiday
	for _, rule := range gb.Holidays {
		switch rule {
		case gb.ChristmasDay, gb.BoxingDay:
			rule = rule.Clone(&cal.Holiday{Observed: forwardTwo})
		case gb.EarlyMay:
			rule = rule.Clone(&cal.Holiday{Except: append(slices.Clone(rule.Except), 1995)})
		case gb.SpringHoliday:
			rule = rule.Clone(&cal.Holiday{Except: append(slices.Clone(rule.Except), 2002, 2012)})
		}
		rules = append(rules, rule)
	}
	return append(rules,
		once("Early May", 1995, time.May, 8),
		once("Millennium Eve", 1999, time.December, 31),
		once("Golden Jubilee", 2002, time.June, 3),
		once("Spring Bank Holiday", 2002, time.June, 4),
		once("Royal Wedding", 2011, time.April, 29),
		once("Spring Bank Holiday", 2012, time.June, 4),
		once("Diamond Jubilee", 2012, time.June, 5),
		once("State Funeral", 2022, time.September, 19),
	)
}

func once(name string, year int, month time.Month, day int) *cal.Holiday {
	return &cal.Holiday{
		Name: name, Type: cal.ObservanceBank, Month: month, Day: day,
		Func: cal.CalcDayOfMonth, StartYear: year, EndYear: year,
	}
}

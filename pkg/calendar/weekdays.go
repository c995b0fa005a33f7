package calendar

import (
	"errors"
	"fmt"
	"strings"
	"time"
)

// ErrWeekdays marks a list of weekdays that cannot be used.
var ErrWeekdays = errors.New("not a list of weekdays")

// mondayFirst is the week in the order in which lists are given back.
var mondayFirst = [...]time.Weekday{
	time.Monday, time.Tuesday, time.Wednesday, time.Thursday, time.Friday, time.Saturday, time.Sunday,
}

// ParseOperatingDays reads weekdays such as "Mon-Fri", "Mon,Tue,Thu" or
// "Mon-Thu,Sat": the first three letters of the English names, in any case. A
// range may run over the end of the week ("Sat-Mon"). A day named twice is
// refused, as it is likely a slip. The answer starts from Monday. Errors are
// ErrWeekdays.
func ParseOperatingDays(s string) ([]time.Weekday, error) {
	var named weekdays
	for part := range strings.SplitSeq(s, ",") {
		first, last, isRange := strings.Cut(part, "-")
		from, err := parseWeekday(first)
		if err != nil {
			return nil, err
		}
		to := from
		if isRange {
			if to, err = parseWeekday(last); err != nil {
				return nil, err
			}
		}
		for day := from; ; day = (day + 1) % 7 {
			if named[day] {
				return nil, fmt.Errorf("%w: %s is named twice", ErrWeekdays, day)
			}
			named[day] = true
			if day == to {
				break
			}
		}
	}
	days := make([]time.Weekday, 0, len(named))
	for _, day := range mondayFirst {
		if named[day] {
			days = append(days, day)
		}
	}
	return days, nil
}

func parseWeekday(s string) (time.Weekday, error) {
	s = strings.TrimSpace(s)
	for _, day := range mondayFirst {
		if strings.EqualFold(s, day.String()[:3]) {
			return day, nil
		}
	}
	return 0, fmt.Errorf("%w: %q is not one of Mon, Tue, Wed, Thu, Fri, Sat, Sun", ErrWeekdays, s)
}

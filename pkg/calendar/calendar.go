package calendar

import (
	"errors"
	"fmt"
	"time"
)

var (
	// ErrNoZone marks a calendar without a time zone.
	ErrNoZone = errors.New("calendar has no time zone")
	// ErrNeverOpen marks a calendar whose holidays and closures leave no
	// business day, or no operating day, for more than a year.
	ErrNeverOpen = errors.New("calendar is closed too long")
)

// longestClosure is the most days in a row without an open day that a
// calendar may have. It bounds every search for one, and refuses a closures
// file that is surely a mistake.
const longestClosure = 400

// Options say what New builds a Calendar from.
type Options struct {
	Zone          *time.Location // the facility's time zone; required
	Holidays      HolidaySet     // from Holidays or ParseHolidays, With closures; the zero set closes no day
	OperatingDays []time.Weekday // days with elective surgery; nil is Monday to Friday
}

// Calendar is one facility's calendar. It never changes after New and is safe
// for concurrent use.
type Calendar struct {
	zone      *time.Location
	holidays  HolidaySet
	business  weekdays
	operating weekdays
}

// weekdays holds one flag for each time.Weekday.
type weekdays [7]bool

// New builds a calendar. Errors are ErrNoZone, ErrWeekdays and ErrNeverOpen.
func New(o Options) (*Calendar, error) {
	if o.Zone == nil {
		return nil, ErrNoZone
	}
	c := &Calendar{zone: o.Zone, holidays: o.Holidays}
	for day := time.Monday; day <= time.Friday; day++ {
		c.business[day] = true
	}
	c.operating = c.business
	if o.OperatingDays != nil {
		var err error
		if c.operating, err = weekdaysOf(o.OperatingDays); err != nil {
			return nil, err
		}
	}
	if err := c.checkOpen("business day", c.IsBusinessDay); err != nil {
		return nil, err
	}
	if err := c.checkOpen("operating day", c.IsOperatingDay); err != nil {
		return nil, err
	}
	return c, nil
}

func weekdaysOf(days []time.Weekday) (weekdays, error) {
	var set weekdays
	for _, day := range days {
		if day < time.Sunday || day > time.Saturday {
			return set, fmt.Errorf("%w: there is no weekday %d", ErrWeekdays, int(day))
		}
		set[day] = true
	}
	if len(days) == 0 {
		return set, fmt.Errorf("%w: at least one is needed", ErrWeekdays)
	}
	return set, nil
}

// checkOpen looks at every year that a holiday set may cover: outside them
// every week has all its open days.
func (c *Calendar) checkOpen(what string, open func(Date) bool) error {
	closed := 0
	for d := firstClosure; d <= lastClosure; d++ {
		if open(d) {
			closed = 0
			continue
		}
		if closed++; closed >= longestClosure {
			return fmt.Errorf("%w: no %s in the %d days up to %s", ErrNeverOpen, what, closed, d)
		}
	}
	return nil
}

// Zone is the facility's time zone.
func (c *Calendar) Zone() *time.Location { return c.zone }

// HolidayName names the holiday or closure on d; "" when there is none.
func (c *Calendar) HolidayName(d Date) string { return c.holidays.NameOf(d) }

// IsBusinessDay reports whether d is a Monday to Friday without a holiday or
// closure. No date is none.
func (c *Calendar) IsBusinessDay(d Date) bool { return c.isOpen(&c.business, d) }

// IsOperatingDay reports whether d is one of the facility's operating days
// without a holiday or closure. No date is none.
func (c *Calendar) IsOperatingDay(d Date) bool { return c.isOpen(&c.operating, d) }

func (c *Calendar) isOpen(days *weekdays, d Date) bool {
	return !d.IsZero() && days[d.Weekday()] && !c.holidays.Closed(d)
}

// AddBusinessDays gives the nth business day strictly after d, or for a
// negative n the nth strictly before it. With n = 0 it is d itself, open or
// not; see OnOrBefore and OnOrAfter.
func (c *Calendar) AddBusinessDays(d Date, n int) Date {
	for ; n > 0 && !d.IsZero(); n-- {
		d = c.OnOrAfter(d.Add(1))
	}
	for ; n < 0 && !d.IsZero(); n++ {
		d = c.OnOrBefore(d.Add(-1))
	}
	return d
}

// OnOrBefore gives the latest business day that is not after d.
func (c *Calendar) OnOrBefore(d Date) Date {
	for !d.IsZero() && !c.IsBusinessDay(d) {
		d = d.Add(-1)
	}
	return d
}

// OnOrAfter gives the earliest business day that is not before d.
func (c *Calendar) OnOrAfter(d Date) Date {
	for !d.IsZero() && !c.IsBusinessDay(d) {
		d = d.Add(1)
	}
	return d
}

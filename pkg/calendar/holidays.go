package calendar

import (
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"github.com/rickar/cal/v2"
	"github.com/rickar/cal/v2/us"
)

// ErrHolidays marks an unknown holiday set, or a file of dates that cannot be
// read.
var ErrHolidays = errors.New("not a holiday set")

// The years that a holiday set may cover. Outside them no day is a holiday.
var (
	firstClosure = NewDate(1990, 1, 1)
	lastClosure  = NewDate(2100, 12, 31)
)

// HolidaySet is a named set of dated closures. It never changes once made.
// The zero set closes no day.
type HolidaySet struct {
	Name   string // "us-federal", "england", "none", or what ParseHolidays says
	names  map[Date]string
	closed []uint64 // one bit a day from firstClosure on, as searches ask for very many days
}

// NameOf names the holiday or closure on d; "" when there is none.
func (s HolidaySet) NameOf(d Date) string { return s.names[d] }

// Closed reports whether d is in the set.
func (s HolidaySet) Closed(d Date) bool {
	if s.closed == nil || d < firstClosure || d > lastClosure {
		return false
	}
	bit := uint(d - firstClosure)
	return s.closed[bit/64]&(1<<(bit%64)) != 0
}

// Dates gives the closed dates, earliest first, in a slice of the caller's
// own.
func (s HolidaySet) Dates() []Date {
	dates := make([]Date, 0, len(s.names))
	for d := range s.names {
		dates = append(dates, d)
	}
	slices.Sort(dates)
	return dates
}

// newHolidaySet takes over names, whose dates must lie in firstClosure to
// lastClosure.
func newHolidaySet(name string, names map[Date]string) HolidaySet {
	s := HolidaySet{Name: name, names: names, closed: make([]uint64, lastClosure.Sub(firstClosure)/64+1)}
	for d := range names {
		bit := uint(d - firstClosure)
		s.closed[bit/64] |= 1 << (bit % 64)
	}
	return s
}

// Holidays gives a set that comes with the package, for the years 1990 to
// 2100:
//
//   - "us-federal": the public holidays of 5 U.S.C. 6103 with the days on
//     which Monday-to-Friday workers observe them: a Saturday holiday on the
//     Friday before, a Sunday holiday on the Monday after.
//   - "england": the bank holidays of England and Wales, whose substitute days
//     always move forward, with the one-off days proclaimed so far.
//   - "none": no holidays.
//
// A holiday on a weekend closes its own day too, for facilities that operate
// at weekends. Closures by order of a government, and the day after
// Thanksgiving, are not in the law: a facility adds them with ParseHolidays.
// The error is ErrHolidays.
func Holidays(name string) (HolidaySet, error) {
	switch name {
	case "us-federal":
		return usFederal(), nil
	case "england":
		return england(), nil
	case "none":
		return none(), nil
	}
	return HolidaySet{}, fmt.Errorf("%w: want us-federal, england or none", ErrHolidays)
}

var (
	usFederal = sync.OnceValue(func() HolidaySet { return observedDays("us-federal", us.Holidays, " (observed)") })
	england   = sync.OnceValue(func() HolidaySet { return observedDays("england", englishHolidays(), " (substitute day)") })
	none      = sync.OnceValue(func() HolidaySet { return newHolidaySet("none", nil) })
)

func init() {
	// The library computes in the process's own zone unless told otherwise. In
	// a zone without midnight on a holiday (America/Managua on New Year's Day
	// 1993) it would put that holiday on the day before.
	cal.DefaultLoc = time.UTC
}

// observedDays works out every closed day from the rules. moved is put behind
// the name of a day that stands in for another.
func observedDays(name string, rules []*cal.Holiday, moved string) HolidaySet {
	names := map[Date]string{}
	set := func(t time.Time, holiday string) {
		d := NewDate(t.Year(), int(t.Month()), t.Day())
		if d >= firstClosure && d <= lastClosure {
			names[d] = holiday
		}
	}
	first, _, _ := firstClosure.YMD()
	last, _, _ := lastClosure.YMD()
	// A holiday may be observed in the year before or after its own.
	for year := first - 1; year <= last+1; year++ {
		for _, rule := range rules {
			actual, observed := rule.Calc(year)
			if actual.IsZero() {
				continue
			}
			set(actual, rule.Name)
			if !observed.Equal(actual) {
				set(observed, rule.Name+moved)
			}
		}
	}
	return newHolidaySet(name, names)
}

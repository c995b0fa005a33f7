package calendar

import (
	"errors"
	"fmt"
	"time"
)

// Date is a civil date: a day counted from 1 = 0001-01-01 in the proleptic
// Gregorian calendar, without hours and without a zone. The zero Date is "no
// date". Dates run to 9999-12-31, and arithmetic that would leave that range
// gives no date. Compare dates with <, == and >; no date sorts first.
type Date int32

// ErrDate marks text that is not a date written YYYY-MM-DD. The error never
// repeats the text, which may be about a person.
var ErrDate = errors.New("not a date")

const (
	lastDate     Date = 3652059 // 9999-12-31
	unixEpoch    Date = 719163  // 1970-01-01
	lastYear          = 9999
	secondsInDay      = 24 * 60 * 60

	// The Gregorian calendar repeats after 400 years. Counting from 1 March
	// puts the leap day at the end of the year; daysToMarch is the shift from
	// 1 March of year 0 to the day before 0001-01-01.
	daysIn400Years = 146097
	daysToMarch    = 305
)

// NewDate gives the date of a year (1 to 9999), month (1 to 12) and day. An
// impossible date, such as 30 February, gives no date: it is never moved into
// the next month.
func NewDate(year, month, day int) Date {
	if year < 1 || year > lastYear || month < 1 || month > 12 || day < 1 || day > daysInMonth(year, month) {
		return 0
	}
	// Years and months are counted from March.
	m := (month + 9) % 12
	y := year
	if m >= 10 {
		y--
	}
	era, yearOfEra := y/400, y%400
	dayOfYear := (153*m+2)/5 + day - 1
	return Date(era*daysIn400Years + yearOfEra*365 + yearOfEra/4 - yearOfEra/100 + dayOfYear - daysToMarch)
}

// ParseDate reads a date written exactly YYYY-MM-DD, the year from 0001.
// Errors are ErrDate.
func ParseDate(s string) (Date, error) {
	if len(s) != len("2006-01-02") || s[4] != '-' || s[7] != '-' {
		return 0, fmt.Errorf("%w: want YYYY-MM-DD", ErrDate)
	}
	year, okYear := digits(s[:4])
	month, okMonth := digits(s[5:7])
	day, okDay := digits(s[8:])
	if !okYear || !okMonth || !okDay {
		return 0, fmt.Errorf("%w: want YYYY-MM-DD", ErrDate)
	}
	d := NewDate(year, month, day)
	if d.IsZero() {
		return 0, fmt.Errorf("%w: there is no such day", ErrDate)
	}
	return d, nil
}

// digits reads plain ASCII digits; strconv would also take a sign.
func digits(s string) (int, bool) {
	n := 0
	for _, c := range []byte(s) {
		if c < '0' || c > '9' {
			return 0, false
		}
		n = n*10 + int(c-'0')
	}
	return n, true
}

// IsZero reports whether d is no date: the zero Date, or a number outside
// 0001-01-01 to 9999-12-31.
func (d Date) IsZero() bool { return d < 1 || d > lastDate }

// Add gives the date so many whole days later, or earlier if days is
// negative. No date stays no date.
func (d Date) Add(days int) Date {
	// Checked before adding, so that no count can overflow.
	if d.IsZero() || days > int(lastDate-d) || days < int(1-d) {
		return 0
	}
	return d + Date(days)
}

// AddMonths gives the same day of the month n calendar months later, or
// earlier if n is negative, or the last day of that month if it is shorter:
// 2028-02-29 plus 12 months is 2029-02-28. No date stays no date.
func (d Date) AddMonths(n int) Date {
	if d.IsZero() || n > 12*lastYear || n < -12*lastYear {
		return 0
	}
	year, month, day := d.YMD()
	months := year*12 + month - 1 + n
	year, month = months/12, months%12+1
	return NewDate(year, month, min(day, daysInMonth(year, month)))
}

// Sub gives the whole days from e to d: positive when d is later. Both must
// be dates; the answer for no date means nothing.
func (d Date) Sub(e Date) int { return int(d) - int(e) }

// YMD gives year, month (1 to 12) and day (1 to 31); three zeros for no date.
func (d Date) YMD() (year, month, day int) {
	if d.IsZero() {
		return 0, 0, 0
	}
	n := int(d) + daysToMarch
	era, dayOfEra := n/daysIn400Years, n%daysIn400Years
	// The corrections take out the leap days passed within the 400 years.
	yearOfEra := (dayOfEra - dayOfEra/1460 + dayOfEra/36524 - dayOfEra/146096) / 365
	dayOfYear := dayOfEra - (365*yearOfEra + yearOfEra/4 - yearOfEra/100)
	m := (5*dayOfYear + 2) / 153
	year = era*400 + yearOfEra
	if m >= 10 {
		year++
	}
	return year, (m+2)%12 + 1, dayOfYear - (153*m+2)/5 + 1
}

// Weekday gives the day of the week. Ask it only of a date: no date answers
// Sunday.
func (d Date) Weekday() time.Weekday {
	if d.IsZero() {
		return time.Sunday
	}
	return time.Weekday(d % 7) // 0001-01-01 was a Monday
}

// String gives YYYY-MM-DD, or "" for no date.
func (d Date) String() string {
	text, _ := d.AppendText(nil)
	return string(text)
}

// Format gives the date in a layout of package time, such as
// "Mon 2 Jan 2006", or "" for no date. Clock parts of a layout read midnight
// UTC.
func (d Date) Format(layout string) string {
	if d.IsZero() {
		return ""
	}
	return time.Unix(d.unix(), 0).UTC().Format(layout)
}

// AppendText appends YYYY-MM-DD, or nothing for no date.
func (d Date) AppendText(b []byte) ([]byte, error) {
	if d.IsZero() {
		return b, nil
	}
	year, month, day := d.YMD()
	return append(b,
		byte('0'+year/1000), byte('0'+year/100%10), byte('0'+year/10%10), byte('0'+year%10), '-',
		byte('0'+month/10), byte('0'+month%10), '-',
		byte('0'+day/10), byte('0'+day%10)), nil
}

// MarshalText writes the date as in String, so that it is a string in JSON.
func (d Date) MarshalText() ([]byte, error) { return d.AppendText(nil) }

// UnmarshalText reads what MarshalText writes: YYYY-MM-DD, or nothing for no
// date. On an error, which is ErrDate, d keeps its value.
func (d *Date) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*d = 0
		return nil
	}
	parsed, err := ParseDate(string(text))
	if err != nil {
		return err
	}
	*d = parsed
	return nil
}

// unix gives the seconds from 1970-01-01 00:00 to the day's midnight, with
// both read as if the zone were UTC.
func (d Date) unix() int64 { return int64(d-unixEpoch) * secondsInDay }

func daysInMonth(year, month int) int {
	switch month {
	case 2:
		if year%4 == 0 && (year%100 != 0 || year%400 == 0) {
			return 29
		}
		return 28
	case 4, 6, 9, 11:
		return 30
	}
	return 31
}

package fhir

import (
	"errors"
	"strconv"
	"time"
)

// ErrDate says that a text is not a FHIR date or time. It never quotes the text.
var ErrDate = errors.New("not a FHIR date or time")

// Precision says how much of a [DateTime] was given.
type Precision uint8

// From coarse to fine. Minute occurs in search values only: a FHIR dateTime
// with a time has seconds.
const (
	Year Precision = iota + 1
	Month
	Day
	Minute
	Second
	Fraction
)

// DateTime is a FHIR date, dateTime or instant with the precision that was
// sent. The zero DateTime stands for "not given".
type DateTime struct {
	text                 string
	precision            Precision
	year, month, day     int
	hour, minute, second int
	nanos                int
	width                time.Duration // of a Fraction: one unit of its last digit
	offset               int           // seconds east of UTC
	zoned                bool
}

// ParseDate reads a FHIR date: 2026, 2026-11 or 2026-11-30.
func ParseDate(s string) (DateTime, error) {
	d, err := parseDateTime(s, false)
	if err != nil || d.precision > Day {
		return DateTime{}, ErrDate
	}
	return d, nil
}

// ParseDateTime reads a FHIR dateTime: a date, or a date with hours, minutes,
// seconds, perhaps a fraction, and always a zone.
func ParseDateTime(s string) (DateTime, error) { return parseDateTime(s, false) }

// ParseInstant reads a FHIR instant: seconds and a zone are required.
func ParseInstant(s string) (DateTime, error) {
	d, err := parseDateTime(s, false)
	if err != nil || d.precision < Second {
		return DateTime{}, ErrDate
	}
	return d, nil
}

// ParseSearchDate reads the date of a search value (without its prefix): a
// dateTime that may also lack seconds or the zone.
func ParseSearchDate(s string) (DateTime, error) { return parseDateTime(s, true) }

// scanner reads digits and separators and remembers the first failure.
type scanner struct {
	rest string
	bad  bool
}

func (s *scanner) digits(n, lo, hi int) int {
	if len(s.rest) < n {
		s.bad = true
		return 0
	}
	v := 0
	for i := range n {
		c := s.rest[i]
		if c < '0' || c > '9' {
			s.bad = true
			return 0
		}
		v = v*10 + int(c-'0')
	}
	s.rest = s.rest[n:]
	if v < lo || v > hi {
		s.bad = true
	}
	return v
}

func (s *scanner) take(c byte) bool {
	if s.rest == "" || s.rest[0] != c {
		return false
	}
	s.rest = s.rest[1:]
	return true
}

func parseDateTime(text string, search bool) (DateTime, error) {
	d := DateTime{text: text, precision: Year, month: 1, day: 1}
	s := scanner{rest: text}
	d.year = s.digits(4, 1, 9999)
	if s.take('-') {
		d.precision, d.month = Month, s.digits(2, 1, 12)
		if s.take('-') {
			d.precision, d.day = Day, s.digits(2, 1, 31)
			if s.take('T') {
				d.clock(&s, search)
			}
		}
	}
	if s.bad || s.rest != "" || d.day > daysIn(d.year, time.Month(d.month)) {
		return DateTime{}, ErrDate
	}
	return d, nil
}

func (d *DateTime) clock(s *scanner, search bool) {
	d.precision, d.hour = Minute, s.digits(2, 0, 23)
	if !s.take(':') {
		s.bad = true
		return
	}
	d.minute = s.digits(2, 0, 59)
	if s.take(':') {
		d.precision, d.second = Second, s.digits(2, 0, 60) // 60 is a leap second
		if s.take('.') {
			d.fraction(s)
		}
	}
	d.zone(s)
	if !search && (!d.zoned || d.precision < Second) {
		s.bad = true
	}
}

func (d *DateTime) fraction(s *scanner) {
	d.precision, d.width = Fraction, time.Second
	n := 0
	for ; len(s.rest) > 0 && s.rest[0] >= '0' && s.rest[0] <= '9'; n++ {
		if n < 9 { // finer than a nanosecond is kept in the text only
			d.width /= 10
			d.nanos += int(s.rest[0]-'0') * int(d.width)
		}
		s.rest = s.rest[1:]
	}
	s.bad = s.bad || n == 0
}

func (d *DateTime) zone(s *scanner) {
	if s.take('Z') {
		d.zoned = true
		return
	}
	sign := 0
	if s.take('+') {
		sign = 1
	} else if s.take('-') {
		sign = -1
	}
	if sign == 0 {
		return
	}
	h := s.digits(2, 0, 14)
	if !s.take(':') {
		s.bad = true
		return
	}
	m := s.digits(2, 0, 59)
	s.bad = s.bad || (h == 14 && m != 0)
	d.zoned, d.offset = true, sign*(h*3600+m*60)
}

func daysIn(year int, month time.Month) int {
	return time.Date(year, month+1, 0, 0, 0, 0, 0, time.UTC).Day()
}

// IsZero reports whether no date was given.
func (d DateTime) IsZero() bool { return d.precision == 0 }

// Precision says how much was given; 0 for the zero DateTime.
func (d DateTime) Precision() Precision { return d.precision }

// String is the text as it was sent.
func (d DateTime) String() string { return d.text }

// HasZone reports whether a zone or Z was given.
func (d DateTime) HasZone() bool { return d.zoned }

// Interval is the half-open span [start, end) of instants that the value
// stands for: 2026-11 is the whole of November, a value with seconds is one
// second long. Without a zone it is read in loc, where a day begins at the
// first moment that exists. A fraction finer than a nanosecond is cut.
func (d DateTime) Interval(loc *time.Location) (start, end time.Time) {
	m := time.Month(d.month)
	switch d.precision {
	case 0:
		return time.Time{}, time.Time{}
	case Year:
		return startOfDay(d.year, 1, 1, loc), startOfDay(d.year+1, 1, 1, loc)
	case Month:
		return startOfDay(d.year, m, 1, loc), startOfDay(d.year, m+1, 1, loc)
	case Day:
		return startOfDay(d.year, m, d.day, loc), startOfDay(d.year, m, d.day+1, loc)
	}
	start = d.instant(loc)
	switch d.precision {
	case Minute:
		return start, start.Add(time.Minute)
	case Fraction:
		return start, start.Add(d.width)
	}
	return start, start.Add(time.Second)
}

func (d DateTime) instant(loc *time.Location) time.Time {
	if d.zoned {
		loc = time.FixedZone("", d.offset)
		if d.offset == 0 {
			loc = time.UTC
		}
		return time.Date(d.year, time.Month(d.month), d.day, d.hour, d.minute, d.second, d.nanos, loc)
	}
	t := time.Date(d.year, time.Month(d.month), d.day, d.hour, d.minute, d.second, d.nanos, loc)
	if d.second < 60 && (t.Hour() != d.hour || t.Minute() != d.minute) {
		return afterGap(t)
	}
	return t
}

// Instant is the moment that was given; ok is false unless the value has a
// time of day and a zone.
func (d DateTime) Instant() (t time.Time, ok bool) {
	if d.precision < Minute || !d.zoned {
		return time.Time{}, false
	}
	return d.instant(time.UTC), true
}

// Day is the calendar day: as written when no time of day was given, else the
// day it is at that moment in loc. ok is false for a year or a month alone.
func (d DateTime) Day(loc *time.Location) (year int, month time.Month, day int, ok bool) {
	switch {
	case d.precision < Day:
		return 0, 0, 0, false
	case d.precision == Day:
		return d.year, time.Month(d.month), d.day, true
	}
	year, month, day = d.instant(loc).In(loc).Date()
	return year, month, day, true
}

const wallClock = "2006-01-02T15:04:05"

// startOfDay is the first moment of a day, or of the next one if a zone left
// the day out. Some zones change their clocks at
// midnight, where time.Date would answer with the evening before.
func startOfDay(year int, month time.Month, day int, loc *time.Location) time.Time {
	t := time.Date(year, month, day, 0, 0, 0, 0, loc)
	want := time.Date(year, month, day, 0, 0, 0, 0, time.UTC) // puts month 13 and day 32 right
	if t.Format(wallClock) != want.Format(wallClock) {
		return afterGap(t)
	}
	return t
}

// afterGap is the first moment after the clock change that a time of day fell
// into; time.Date gives a moment on one or the other side of it.
func afterGap(t time.Time) time.Time {
	from, to := t.ZoneBounds()
	if !to.IsZero() && to.Sub(t) < 26*time.Hour {
		return to
	}
	return from
}

// after reports whether d is certainly later than o, by as much of both as was
// given. A date without a zone is compared by the calendar as written.
func (d DateTime) after(o DateTime) bool {
	if d.precision >= Minute && o.precision >= Minute && d.zoned && o.zoned {
		return d.instant(time.UTC).After(o.instant(time.UTC))
	}
	a := [...]int{d.year, d.month, d.day}
	b := [...]int{o.year, o.month, o.day}
	for i := range min(d.precision, o.precision, Day) {
		if a[i] != b[i] {
			return a[i] > b[i]
		}
	}
	return false
}

// FormatInstant writes a moment as a FHIR instant with milliseconds and the
// offset of its own location.
func FormatInstant(t time.Time) string { return t.Format("2006-01-02T15:04:05.000Z07:00") }

// FormatDay writes a calendar day as a FHIR date.
func FormatDay(year int, month time.Month, day int) string {
	b := make([]byte, 0, 10)
	b = appendPadded(b, year, 4)
	b = append(b, '-')
	b = appendPadded(b, int(month), 2)
	b = append(b, '-')
	return string(appendPadded(b, day, 2))
}

func appendPadded(b []byte, v, width int) []byte {
	s := strconv.Itoa(v)
	for range width - len(s) {
		b = append(b, '0')
	}
	return append(b, s...)
}

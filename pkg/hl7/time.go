package hl7

import (
	"regexp"
	"strconv"
	"strings"
	"time"
)

// Time is a date and time (data types DTM and TS) as it was sent.
type Time struct {
	At time.Time // in the zone that was sent, else in the one that was given
	// Digits is how much was said: 4 the year, 6 the month, 8 the day, 10 the hour,
	// 12 the minute, 14 the second.
	Digits int
	Zoned  bool // an offset was sent
	// Twice is set where no offset was sent and the clocks showed this time twice;
	// At is the first of the two.
	Twice bool
}

// dtm is YYYY[MM[DD[HH[MM[SS[.S[S[S[S]]]]]]]]][+/-ZZZZ].
var dtm = regexp.MustCompile(`^(\d{4}|\d{6}|\d{8}|\d{10}|\d{12}|\d{14}(?:\.\d{1,4})?)([+-]\d{4})?$`)

// ParseTime reads a date and time. Where it says no offset, zone counts; a time
// that the clocks of the zone leap over becomes the first one after the leap. The
// second result is false for what is no such time.
func ParseTime(s string, zone *time.Location) (Time, bool) {
	parts := dtm.FindStringSubmatch(s)
	if parts == nil {
		return Time{}, false
	}
	digits, _, _ := strings.Cut(parts[1], ".")
	const first = "00000101000000"
	wall, err := time.Parse("20060102150405", digits+first[len(digits):])
	if err != nil {
		return Time{}, false
	}
	t := Time{Digits: len(digits), Zoned: parts[2] != ""}
	if fraction, err := time.ParseDuration("0" + parts[1][len(digits):] + "s"); err == nil && len(parts[1]) > len(digits) {
		wall = wall.Add(fraction)
	}
	if t.Zoned {
		offset, ok := offsetOf(parts[2])
		t.At = wall.Add(-offset).In(time.FixedZone("", int(offset/time.Second)))
		return t, ok
	}
	t.At, t.Twice = local(wall, zone)
	return t, true
}

func offsetOf(s string) (time.Duration, bool) {
	hours, err := strconv.Atoi(s[1:3])
	minutes, err2 := strconv.Atoi(s[3:])
	offset := time.Duration(hours)*time.Hour + time.Duration(minutes)*time.Minute
	if s[0] == '-' {
		offset = -offset
	}
	return offset, err == nil && err2 == nil && hours <= 14 && minutes < 60
}

// local gives the instant when clocks of the zone show what wall shows in UTC.
func local(wall time.Time, zone *time.Location) (at time.Time, twice bool) {
	const day = 24 * time.Hour
	by := func(near time.Time) time.Time {
		_, offset := near.In(zone).Zone()
		return wall.Add(-time.Duration(offset) * time.Second).In(zone)
	}
	shows := func(t time.Time) bool {
		_, offset := t.Zone()
		return t.Add(time.Duration(offset) * time.Second).Equal(wall)
	}
	first, second := by(wall.Add(-day)), by(wall.Add(day))
	switch {
	case shows(first) && shows(second):
		if second.Before(first) {
			first, second = second, first
		}
		return first, !first.Equal(second)
	case shows(first):
		return first, false
	case shows(second):
		return second, false
	}
	_, leap := second.ZoneBounds()
	if leap.IsZero() {
		return first, false
	}
	return leap, false
}

package calendar

import (
	"time"
	_ "time/tzdata" // zones load on machines without a time-zone database
)

// farthestOffset is more than any zone's clock may differ from UTC: the
// time-zone file format (RFC 8536, section 3.2) asks for less than 26 hours.
const farthestOffset = 26 * 60 * 60

// DateOf gives the civil date of an instant by the facility's clock. The zero
// time.Time, and an instant outside the years 1 to 9999, give no date.
func (c *Calendar) DateOf(t time.Time) Date {
	if t.IsZero() {
		return 0
	}
	year, month, day := t.In(c.zone).Date()
	return NewDate(year, int(month), day)
}

// At gives the instant when the facility's clock first shows hour:minute on
// d. If the clocks jump over that time, it is the first instant after the
// jump; if they show it twice, the first of the two. Hours and minutes beyond
// the day run on into its neighbours: hour 24 is the next day's 0:00. The
// result carries the facility's zone. No date gives the zero time.Time.
func (c *Calendar) At(d Date, hour, minute int) time.Time {
	if d.IsZero() {
		return time.Time{}
	}
	// The answer is the earliest instant at which the local clock has reached
	// the wanted reading. Walk through the stretches of constant offset, from
	// one that surely begins too early.
	wall := d.unix() + int64(hour)*3600 + int64(minute)*60
	for t := time.Unix(wall-farthestOffset, 0).In(c.zone); ; {
		_, offset := t.Zone()
		reached := wall - int64(offset)
		if reached <= t.Unix() {
			return t // the change at t jumped over it
		}
		end := stretchEnd(t)
		if end.IsZero() || reached < end.Unix() {
			return time.Unix(reached, 0).In(c.zone)
		}
		t = end
	}
}

// stretchEnd gives the end, after t, of a stretch of constant offset that t lies
// in, or the zero time.Time if there is none.
func stretchEnd(t time.Time) time.Time {
	_, end := t.ZoneBounds()
	if !end.IsZero() && !end.After(t) {
		// On the last day of a leap year, counted in UTC, ZoneBounds gives an end
		// that has passed (golang/go issue 81583): it takes every year for 365
		// days. The stretch goes on at least to the end of that day.
		const day = secondsInDay * time.Second
		return t.Truncate(day).Add(day)
	}
	return end
}

// StartOf gives the first instant of d by the facility's clock. That is 0:00,
// or the first instant after the clocks jump over it. For a date that the
// zone left out altogether it is the start of the next one.
func (c *Calendar) StartOf(d Date) time.Time { return c.At(d, 0, 0) }

// EndOf gives the first instant after d: the start of the next date, so that
// d is StartOf(d) <= t < EndOf(d). The hours of a day are not always 24.
func (c *Calendar) EndOf(d Date) time.Time { return c.At(d, 24, 0) }

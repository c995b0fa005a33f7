package oracle

import "time"

// Place is a facility: its time zone and the days on which it is closed, apart
// from Saturdays and Sundays. It remembers what it has worked out, so one
// Place is for one goroutine.
type Place struct {
	zone   *time.Location
	closed map[Day]bool
	known  map[wall]time.Time
}

// wall is what a clock on the wall shows: a date, and minutes since midnight.
type wall struct {
	day    Day
	minute int
}

// NewPlace gives a facility with its closed days.
func NewPlace(zone *time.Location, closed ...[]Day) *Place {
	p := &Place{zone: zone, closed: map[Day]bool{}, known: map[wall]time.Time{}}
	for _, list := range closed {
		for _, d := range list {
			p.closed[d] = true
		}
	}
	return p
}

func (p *Place) shows(t time.Time) wall {
	local := t.In(p.zone)
	return wall{DayOf(local.Year(), int(local.Month()), local.Day()), local.Hour()*60 + local.Minute()}
}

func (p *Place) dateOf(t time.Time) Day { return p.shows(t).day }

// reaches finds the first instant at which the clock on the wall shows w or
// something later: with a time that is jumped over, the end of the jump; with
// one that comes twice, the first. It goes by hours until the clock has come
// so far, then back by two (a clock may be set back by up to one), and on by
// minutes.
func (p *Place) reaches(w wall) time.Time {
	if t, ok := p.known[w]; ok {
		return t
	}
	c := days[w.day]
	t := time.Date(c.year, time.Month(c.month), c.day, 0, 0, 0, 0, time.UTC).Add(-26 * time.Hour)
	for !p.shows(t).from(w) {
		t = t.Add(time.Hour)
	}
	t = t.Add(-2 * time.Hour)
	for !p.shows(t).from(w) {
		t = t.Add(time.Minute)
	}
	p.known[w] = t
	return t
}

// from says whether the clock is at then or past it.
func (w wall) from(then wall) bool {
	if w.day != then.day {
		return w.day > then.day
	}
	return w.minute >= then.minute
}

// open says whether d is a business day.
func (p *Place) open(d Day) bool {
	weekday := days[d].weekday
	return weekday != time.Saturday && weekday != time.Sunday && !p.closed[d]
}

// walkOpen goes so many business days forward, or back if n is negative. The
// day it starts from is not counted; with none to go it stays, open or not.
func (p *Place) walkOpen(d Day, n int) Day {
	for n > 0 {
		d++
		if p.open(d) {
			n--
		}
	}
	for n < 0 {
		d--
		if p.open(d) {
			n++
		}
	}
	return d
}

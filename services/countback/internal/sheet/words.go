package sheet

import (
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// date says a day without its year: "Sunday 29 November".
func (s *speaker) date(d calendar.Date) string { return s.dateAs("date", d) }

// dateYear says a day with its year.
func (s *speaker) dateYear(d calendar.Date) string { return s.dateAs("date-year", d) }

func (s *speaker) dateAs(id string, d calendar.Date) string {
	if d.IsZero() {
		s.missing = append(s.missing, "day for "+id)
		return ""
	}
	y, m, day := d.YMD()
	return s.say(id, "weekday", s.weekday(d), "day", strconv.Itoa(day), "month", s.Months[s.lang][m-1], "year", strconv.Itoa(y))
}

func (s *speaker) weekday(d calendar.Date) string { return s.Weekdays[s.lang][d.Weekday()] }

// moment says a day, or a day with its time in the facility's zone.
func (s *speaker) moment(m readiness.Moment) string {
	if m.At.IsZero() {
		return s.date(m.Day)
	}
	return s.clock(m.Day, m.At)
}

// clock says a time on a 12-hour clock with the part of the day. A night belongs
// to two days, and people mean the one they went to bed on: both are named.
func (s *speaker) clock(d calendar.Date, t time.Time) string {
	h, m := t.Hour(), t.Minute()
	pairs := []string{"date", s.date(d), "weekday", s.weekday(d), "before", s.weekday(d.Add(-1))}
	if m == 0 && h == 0 {
		return s.say("at-midnight", pairs...)
	}
	if m == 0 && h == 12 {
		return s.say("at-noon", pairs...)
	}
	id, part := "at", "part-morning"
	switch {
	case h < 5:
		id = "at-night"
	case h < 12:
	case h < 18:
		part = "part-afternoon"
	case h < 22:
		part = "part-evening"
	default:
		part = "part-late"
	}
	twelve := (h+11)%12 + 1
	if twelve == 1 {
		id += "-one"
	}
	pairs = append(pairs, "clock", fmt.Sprintf("%d:%02d", twelve, m))
	return s.say(id, append(pairs, "part", s.say(part))...)
}

// sentencesOf splits a text into its sentences: at a full stop, question mark or
// exclamation mark that a space and a capital letter follow.
func sentencesOf(text string) []string {
	var out []string
	rs := []rune(text)
	from := 0
	for n, r := range rs {
		if !strings.ContainsRune(".?!", r) || n+2 >= len(rs) || rs[n+1] != ' ' {
			continue
		}
		next := rs[n+2]
		if unicode.IsUpper(next) || next == '¿' || next == '¡' || unicode.IsDigit(next) {
			out = append(out, string(rs[from:n+1]))
			from = n + 2
		}
	}
	if rest := strings.TrimSpace(string(rs[from:])); rest != "" {
		out = append(out, rest)
	}
	return out
}

// capital gives a text a capital letter to begin with.
func capital(text string) string {
	rs := []rune(text)
	if len(rs) > 0 {
		rs[0] = unicode.ToUpper(rs[0])
	}
	return string(rs)
}

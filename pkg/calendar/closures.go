package calendar

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"maps"
	"strings"
	"unicode/utf8"
)

// closureName stands for a closure whose line gives no name.
const closureName = "Closed"

// ErrClosures marks a file of closures that cannot be read.
var ErrClosures = errors.New("not a list of closed days")

// ParseHolidays reads a facility's file of closed dates. Each line is
//
//	YYYY-MM-DD optional name
//	YYYY-MM-DD..YYYY-MM-DD optional name
//
// (the second closes both days and all between) with dates from 1990 to 2100,
// each at most once. Blank lines, and all from a
// "#" that starts a word on, are left out. The first line that says anything
// may be
//
//	include us-federal
//
// which adds the dates to a set that Holidays knows; a name given here then
// replaces that set's. Errors are ErrHolidays and name the line, counted from
// 1. A failure of r is returned as it is.
func ParseHolidays(r io.Reader) (HolidaySet, error) {
	p, err := readClosures(r, ErrHolidays, false)
	if err != nil {
		return HolidaySet{}, err
	}
	name := "closures"
	if p.included != "" {
		name = p.included + " and closures"
	}
	return newHolidaySet(name, p.names), nil
}

// ParseClosures reads a facility's own closed days, which come on top of a
// holiday set (see HolidaySet.With): lines as in ParseHolidays, without an
// include. Errors are ErrClosures and name the line, counted from 1. A failure
// of r is returned as it is.
func ParseClosures(r io.Reader) (HolidaySet, error) {
	p, err := readClosures(r, ErrClosures, true)
	if err != nil {
		return HolidaySet{}, err
	}
	return newHolidaySet("closures", p.names), nil
}

// With is the set with more closed days. A day in both has the name that more
// gives it, unless more gives it none.
func (s HolidaySet) With(more HolidaySet) HolidaySet {
	if len(more.names) == 0 {
		return s
	}
	names := maps.Clone(more.names)
	for d, name := range s.names {
		if given, both := names[d]; !both || given == closureName {
			names[d] = name
		}
	}
	name := more.Name
	if s.Name != "" {
		name = s.Name + " and " + more.Name
	}
	return newHolidaySet(name, names)
}

func readClosures(r io.Reader, kind error, alone bool) (*closureFile, error) {
	p := &closureFile{alone: alone, names: map[Date]string{}, lines: map[Date]int{}}
	lines := bufio.NewScanner(r)
	for lines.Scan() {
		p.line++
		if err := p.read(lines.Text()); err != nil {
			return nil, fmt.Errorf("%w: line %d: %w", kind, p.line, err)
		}
	}
	switch err := lines.Err(); {
	case errors.Is(err, bufio.ErrTooLong):
		return nil, fmt.Errorf("%w: line %d: is too long", kind, p.line+1)
	case err != nil:
		return nil, fmt.Errorf("read closed days: %w", err)
	}
	return p, nil
}

// closureFile is a file of closed dates as far as it has been read.
type closureFile struct {
	line     int
	alone    bool   // no set may be included
	included string // the set named by the include line
	names    map[Date]string
	lines    map[Date]int // where the file gives each date
}

func (p *closureFile) read(text string) error {
	if p.line == 1 {
		text = strings.TrimPrefix(text, "\ufeff") // written by some editors
	}
	if !utf8.ValidString(text) {
		return errors.New("is not UTF-8")
	}
	var words []string
	for _, word := range strings.Fields(text) {
		if strings.HasPrefix(word, "#") {
			break
		}
		words = append(words, word)
	}
	switch {
	case len(words) == 0:
		return nil
	case words[0] == "include":
		return p.include(words[1:])
	}
	// "2026-12-24 .. 2026-12-31" must not close one day alone.
	for _, word := range words[1:min(len(words), 3)] {
		if _, err := ParseDate(strings.TrimPrefix(word, "..")); err == nil {
			return errors.New("has two dates: a range is written without spaces, 2026-12-24..2026-12-31")
		}
	}
	return p.close(words[0], strings.Join(words[1:], " "))
}

func (p *closureFile) include(words []string) error {
	if p.alone {
		return errors.New("include has no place in closures: they come on top of the holidays")
	}
	if p.included != "" || len(p.lines) > 0 {
		return errors.New("include may only come first")
	}
	if len(words) != 1 {
		return errors.New("include wants the name of one set")
	}
	set, err := Holidays(words[0])
	if err != nil {
		return err
	}
	p.included = set.Name
	maps.Copy(p.names, set.names)
	return nil
}

func (p *closureFile) close(days, name string) error {
	first, last, isRange := strings.Cut(days, "..")
	from, err := closureDate(first)
	if err != nil {
		return err
	}
	to := from
	if isRange {
		if to, err = closureDate(last); err != nil {
			return err
		}
		if to < from {
			return fmt.Errorf("%s is before %s", to, from)
		}
	}
	for d := from; d <= to; d++ {
		if line := p.lines[d]; line > 0 {
			return fmt.Errorf("%s is already on line %d", d, line)
		}
		p.lines[d] = p.line
		switch {
		case name != "":
			p.names[d] = name
		case p.names[d] == "":
			p.names[d] = closureName
		}
	}
	return nil
}

func closureDate(text string) (Date, error) {
	d, err := ParseDate(text)
	if err == nil && (d < firstClosure || d > lastClosure) {
		err = fmt.Errorf("%s is outside %s to %s", d, firstClosure, lastClosure)
	}
	return d, err
}

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

// ParseHolidays reads a facility's file of closed dates. Each line is
//
//	YYYY-MM-DD optional name
//
// with dates from 1990 to 2100, each at most once. Blank lines, and all from a
// "#" that starts a word on, are left out. The first line that says anything
// may be
//
//	include us-federal
//
// which adds the dates to a set that Holidays knows; a name given here then
// replaces that set's. Errors are ErrHolidays and name the line, counted from
// 1. A failure of r is returned as it is.
func ParseHolidays(r io.Reader) (HolidaySet, error) {
	p := closureFile{names: map[Date]string{}, lines: map[Date]int{}}
	lines := bufio.NewScanner(r)
	for lines.Scan() {
		p.line++
		if err := p.read(lines.Text()); err != nil {
			return HolidaySet{}, fmt.Errorf("%w: line %d: %w", ErrHolidays, p.line, err)
		}
	}
	switch err := lines.Err(); {
	case errors.Is(err, bufio.ErrTooLong):
		return HolidaySet{}, fmt.Errorf("%w: line %d: is too long", ErrHolidays, p.line+1)
	case err != nil:
		return HolidaySet{}, fmt.Errorf("read holidays: %w", err)
	}
	name := "closures"
	if p.included != "" {
		name = p.included + " and closures"
	}
	return newHolidaySet(name, p.names), nil
}

// closureFile is a file of closed dates as far as it has been read.
type closureFile struct {
	line     int
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
	return p.close(words[0], strings.Join(words[1:], " "))
}

func (p *closureFile) include(words []string) error {
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

func (p *closureFile) close(date, name string) error {
	d, err := ParseDate(date)
	if err != nil {
		return err
	}
	if d < firstClosure || d > lastClosure {
		return fmt.Errorf("%s is outside %s to %s", d, firstClosure, lastClosure)
	}
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
	return nil
}

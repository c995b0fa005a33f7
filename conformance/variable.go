package conformance

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
)

var placeholder = regexp.MustCompile(`\$\{([^{}]*)\}`)

// fill puts the values of variables into a text. A variable that is not known,
// or has no value, is an error: what would be sent was not meant.
func (r *run) fill(text string) (string, error) {
	var failed error
	out := placeholder.ReplaceAllStringFunc(text, func(found string) string {
		value, err := r.value(found[2 : len(found)-1])
		if err != nil && failed == nil {
			failed = err
		}
		return value
	})
	return out, failed
}

func (r *run) value(name string) (string, error) {
	switch name {
	case "unique":
		return r.unique, nil
	case "base":
		return r.Base, nil
	}
	if day, ok := r.day(name); ok {
		return day, nil
	}
	at := slices.IndexFunc(r.script.Variable, func(v Variable) bool { return v.Name == name })
	if at < 0 {
		return "", fmt.Errorf("%w: ${%s} is no variable", ErrScript, name)
	}
	v := r.script.Variable[at]
	value, err := r.read(v)
	if err == nil && value == "" && v.DefaultValue == nil {
		err = fmt.Errorf("%w: ${%s} has no value", ErrScript, name)
	}
	if v.DefaultValue != nil && (err != nil || value == "") {
		return *v.DefaultValue, nil
	}
	return value, err
}

// read gives the value of a variable in what it is read from; several values
// are joined by commas, and what is no primitive is JSON, so that a fixture can
// repeat a list that was received as [${name}].
func (r *run) read(v Variable) (string, error) {
	if v.HeaderField != "" {
		x, err := r.exchangeOf(v.SourceID)
		if err != nil {
			return "", err
		}
		return x.ResponseHeader.Get(v.HeaderField), nil
	}
	path := v.Expression + v.Path
	if path == "" {
		return "", nil
	}
	path, err := r.fill(path)
	if err != nil {
		return "", err
	}
	e, err := parsePath(path)
	if err != nil {
		return "", err
	}
	source, err := r.source(v.SourceID, false)
	if err != nil {
		return "", err
	}
	texts, err := e.Texts(source)
	return strings.Join(texts, ","), err
}

var dayForm = regexp.MustCompile(`^(today|midweek)([+-]\d+)?([+-]\d+)?$`)

// holidays that many countries have, as month and day; common practice, no
// source. Nothing is booked on them here.
var holidays = []string{"01-01", "06-19", "07-04", "11-11", "12-24", "12-25", "12-26", "12-31"}

// day reads today and midweek.
func (r *run) day(name string) (string, bool) {
	m := dayForm.FindStringSubmatch(name)
	if m == nil {
		return "", false
	}
	day := r.today.AddDate(0, 0, number(m[2]))
	if m[1] == "midweek" {
		for day.Weekday() < time.Tuesday || day.Weekday() > time.Thursday || slices.Contains(holidays, day.Format("01-02")) {
			day = day.AddDate(0, 0, 1)
		}
	}
	return day.AddDate(0, 0, number(m[3])).Format(time.DateOnly), true
}

func number(signed string) int {
	n, err := strconv.Atoi(signed)
	if err != nil {
		return 0 // none was given
	}
	return n
}

package desk

import (
	"fmt"
	"html/template"
	"strings"
	"time"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/sheet"
)

const dayWords = "Mon 2 Jan 2006"

// mark is a state in a word and a shape; Kind also chooses a colour, which says
// nothing that the other two do not.
type mark struct{ Word, Kind string }

// itemMarks are the states of items.
var itemMarks = map[readiness.ItemState]mark{
	readiness.Upcoming:    {"not yet", "upcoming"},
	readiness.Open:        {"can be done", "open"},
	readiness.Due:         {"due", "due"},
	readiness.Late:        {"late", "late"},
	readiness.Missed:      {"missed", "missed"},
	readiness.Paused:      {"paused", "paused"},
	readiness.StateDone:   {"done", "done"},
	readiness.Expired:     {"no longer counts", "expired"},
	readiness.StateWaived: {"left out", "waived"},
	readiness.Needless:    {"does not apply", "needless"},
}

// inDoubt marks an item of which it must be found out if it applies.
var inDoubt = mark{"to find out", "doubt"}

// caseMarks are the states of cases.
var caseMarks = map[readiness.CaseState]mark{
	readiness.CaseCancelled:  {"called off", "waived"},
	readiness.CaseClosed:     {"finished", "done"},
	readiness.CaseHome:       {"at home", "open"},
	readiness.CaseArrived:    {"in hospital", "open"},
	readiness.CaseHeld:       {"held", "held"},
	readiness.CaseInfeasible: {"day cannot be met", "missed"},
	readiness.CaseBehind:     {"behind", "late"},
	readiness.CaseReady:      {"ready", "done"},
	readiness.CaseOnTrack:    {"on track", "upcoming"},
}

// caseMark is the state of a case, and beside it how much must be found out that the
// state does not know of.
func caseMark(state string, findsOut int) mark {
	m := caseMarks[readiness.CaseState(state)]
	if findsOut > 0 {
		m.Word += fmt.Sprintf(", %d to find out", findsOut)
	}
	return m
}

// shapes are drawn in a box of 16 by 16.
var shapes = map[string]string{
	"upcoming": `<circle cx="8" cy="8" r="2.5"/>`,
	"open":     `<circle cx="8" cy="8" r="5" fill="none" stroke="currentColor" stroke-width="2"/>`,
	"due":      `<path d="M8 1l7 7-7 7-7-7z"/>`,
	"late":     `<path d="M8 1l7 14H1z"/>`,
	"missed":   `<path d="M2 4l2-2 4 4 4-4 2 2-4 4 4 4-2 2-4-4-4 4-2-2 4-4z"/>`,
	"paused":   `<path d="M3 2h4v12H3zM9 2h4v12H9z"/>`,
	"held":     `<path d="M1 1h14v14H1zM4 4v8h8V4z" fill-rule="evenodd"/>`,
	"done":     `<path d="M1 9l2-2 3 3 7-8 2 2-9 10z"/>`,
	"expired":  `<path d="M8 2a6 6 0 1 0 6 6h-2a4 4 0 1 1-4-4v3l5-4-5-4z"/>`,
	"waived":   `<path d="M2 7h12v2H2z"/>`,
	"needless": `<path d="M2 7h2v2H2zM7 7h2v2H7zM12 7h2v2h-2z"/>`,
	"doubt":    `<path d="M2.5 6a5.5 5.5 0 1 1 7 5.2V12h-3V9a2.6 2.6 0 1 0-1-3zM6.5 13.2h3v2.6h-3z"/>`,
}

// functions are what templates call.
var functions = template.FuncMap{
	"shape": shape,
	"day":   func(d calendar.Date) string { return d.Format(dayWords) },
	"short": func(d calendar.Date) string { return d.Format("Mon 2 Jan") },
	"join":  strings.Join,
	"dial":  sheet.Dial,
	"add":   func(a, b int) int { return a + b },
	"total": func(list ...int64) (sum int64) {
		for _, n := range list {
			sum += n
		}
		return sum
	},
	"less": func(a, b int) int { return a - b },
}

// shape draws a state's shape; the word beside it says the same.
func shape(kind string) template.HTML {
	return template.HTML(`<svg class="shape" viewBox="0 0 16 16" aria-hidden="true" focusable="false">` + shapes[kind] + `</svg>`)
}

func markOf(i *readiness.Item) mark {
	if i.InDoubt() {
		return inDoubt
	}
	return itemMarks[i.State]
}

// needWords say what happens without a step.
var needWords = map[readiness.Need]string{
	readiness.Must:        "must",
	readiness.MustToLeave: "must, before going home",
	readiness.Should:      "should",
	readiness.Could:       "could",
}

// count says a number of things: "1 day", "2 days".
func count(n int, what string) string {
	if n == 1 || n == -1 {
		return fmt.Sprintf("%d %s", n, what)
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// distance says how far a day is from today.
func distance(d, today calendar.Date) string {
	switch n := d.Sub(today); {
	case d.IsZero():
		return ""
	case n == 0:
		return "today"
	case n == 1:
		return "tomorrow"
	case n == -1:
		return "yesterday"
	case n > 0:
		return "in " + count(n, "day")
	default:
		return count(-n, "day") + " ago"
	}
}

// instant says a written instant by the facility's clock.
func (d *Desk) instant(written string) string {
	t, err := time.Parse(time.RFC3339, written)
	if err != nil {
		return written
	}
	return t.In(d.Calendar.Zone()).Format("Mon 2 Jan 2006, 15:04")
}

// written says a written day in words.
func written(s string) string {
	d, err := calendar.ParseDate(s)
	if err != nil {
		return s
	}
	return d.Format(dayWords)
}

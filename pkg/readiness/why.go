package readiness

import (
	"fmt"
	"strings"
)

const dayLayout = "Mon 2 Jan 2006"

// words says a point in plain words: "30 days before surgery".
func (pr *Protocol) words(p Point) string {
	n := p.Offset.N
	if n < 0 {
		n = -n
	}
	anchor := p.Anchor
	if !IsAnchor(anchor) {
		anchor = "“" + pr.title(anchor) + "” is done"
	}
	unit := map[Unit]string{Days: "day", BusinessDays: "business day", Months: "month", Minutes: "minute"}[p.Offset.Unit]
	if p.Offset.Unit == Minutes && n%60 == 0 {
		n, unit = n/60, "hour"
	}
	if p.Offset.Unit == Minutes && anchor == AnchorSurgery {
		anchor = "the start of anaesthesia"
	}
	var out string
	switch {
	case n == 0 && p.Offset.Unit == Minutes:
		out = anchor
	case n == 0 && IsAnchor(p.Anchor):
		out = "the day of " + anchor
	case n == 0:
		out = "when " + anchor
	default:
		side := "after"
		if p.Offset.N < 0 {
			side = "before"
		}
		if !IsAnchor(p.Anchor) {
			side = "after"
		}
		out = fmt.Sprintf("%d %s%s %s %s", n, unit, plural(n), side, anchor)
	}
	if p.Clock != nil {
		out += fmt.Sprintf(" at %02d:%02d", p.Clock.Hour, p.Clock.Minute)
	}
	return strings.ReplaceAll(out, "of raised", "it was raised")
}

func plural(n int) string {
	if n == 1 {
		return ""
	}
	return "s"
}

// Words says a moment: a day, or a day and a time in the facility's zone.
func (m Moment) Words() string {
	switch {
	case m.IsZero():
		return "no date"
	case m.At.IsZero():
		return m.Day.Format(dayLayout)
	}
	return m.Day.Format(dayLayout) + m.At.Format(" 15:04")
}

// title is a step's title, or the code itself when the protocol has no such step.
func (pr *Protocol) title(code string) string {
	if s := pr.Step(code); s != nil && s.Title != "" {
		return s.Title
	}
	return code
}

func (pr *Protocol) titles(codes []string) string {
	out := make([]string, len(codes))
	for n, c := range codes {
		out[n] = "“" + pr.title(c) + "”"
	}
	return strings.Join(out, " and ")
}

// Why tells the item's rule in plain words, with the numbers of this case.
func (pr *Protocol) Why(i *Item) string {
	var parts []string
	if len(i.Waits) > 0 {
		parts = append(parts, "opens when "+pr.titles(i.Waits)+" is done")
	} else if !i.Opens.IsZero() {
		parts = append(parts, "opens "+i.Opens.Words()+" ("+pr.joinPoints(i.Step.Window.Opens)+")")
	}
	if !i.Due.IsZero() {
		parts = append(parts, "due "+i.Due.Words()+" ("+pr.joinPoints(i.Step.Window.Due)+")")
	}
	if !i.Last.IsZero() && i.Last != i.Due {
		parts = append(parts, "no use after "+i.Last.Words())
	}
	switch i.Step.Expiry.Kind {
	case ExpiresAfter:
		parts = append(parts, fmt.Sprintf("counts for %d days up to the day of surgery", i.Step.Expiry.Days))
	case ThisDate:
		parts = append(parts, "counts for this date only")
	}
	if i.Compressed {
		parts = append(parts, "booked later than it should have been done: do it as soon as possible")
	}
	if i.TooLate {
		parts = append(parts, "its day had passed when the operation was booked and it cannot be shortened: ask "+i.asks())
	}
	if i.Applies == Unknown {
		parts = append(parts, "not yet asked for, because it must be known "+strings.Join(i.Needs, ", and "))
	}
	if len(parts) == 0 {
		return ""
	}
	text := strings.Join(parts, "; ")
	return strings.ToUpper(text[:1]) + text[1:] + "."
}

// asks names who decides when a fixed step is too late.
func (i *Item) asks() string {
	for _, p := range i.Step.Performers {
		if p.Kind == Staff {
			return p.Display
		}
	}
	return "the surgeon or the prescriber"
}

func (pr *Protocol) joinPoints(points []Point) string {
	words := make([]string, 0, len(points))
	for _, p := range points {
		words = append(words, pr.words(p))
	}
	return strings.Join(words, "; ")
}

package readiness

import (
	"fmt"
	"slices"
	"strings"
)

const dayLayout = "Mon 2 Jan 2006"

// words says a point in plain words: "30 days before surgery".
func (pr *Protocol) words(p Point) string {
	n := max(p.Offset.N, -p.Offset.N)
	unit := map[Unit]string{Days: "day", BusinessDays: "business day", Months: "month", Minutes: "minute"}[p.Offset.Unit]
	if p.Offset.Unit == Minutes && n%60 == 0 {
		n, unit = n/60, "hour"
	}
	side := "after"
	if p.Offset.N < 0 {
		side = "before"
	}
	out := pr.at(p)
	if n > 0 {
		out = fmt.Sprintf("%d %s%s %s %s", n, unit, plural(n), side, pr.event(p))
	}
	if p.Clock != nil {
		out = fmt.Sprintf("at %02d:%02d, %s", p.Clock.Hour, p.Clock.Minute, out)
	}
	return out
}

// event says what a distance is counted from: "surgery".
func (pr *Protocol) event(p Point) string {
	switch {
	case p.Anchor == AnchorSurgery && p.Offset.Unit == Minutes:
		return "the start of anaesthesia"
	case p.Anchor == AnchorRaised:
		return "it was raised"
	case p.Anchor == AnchorPaused:
		return "the first day on which something is paused"
	case p.Anchor == AnchorLastDose:
		return "the last dose"
	case p.Anchor == AnchorEarliestDose:
		return "the earliest last dose that may come out"
	case IsAnchor(p.Anchor):
		return p.Anchor
	}
	return "“" + pr.title(p.Anchor) + "” is done"
}

// LastRule says in plain words where the item's last useful moment comes from:
// "2 days before surgery".
func (pr *Protocol) LastRule(i *Item) string {
	switch s := i.Step; {
	case s.Last != nil:
		return pr.words(*s.Last)
	case i.Last.same(i.Due):
		return pr.joinPoints(s.Window.Due, true)
	}
	return "the day before surgery"
}

// at says the moment of an anchor itself: "the day of surgery".
func (pr *Protocol) at(p Point) string {
	hours := p.Offset.Unit == Minutes
	switch {
	case !IsAnchor(p.Anchor):
		return "when " + pr.event(p)
	case p.Anchor == AnchorLastDose, p.Anchor == AnchorEarliestDose:
		return "the day of " + pr.event(p)
	case p.Anchor == AnchorPaused:
		return "on " + pr.event(p)
	case p.Anchor == AnchorRaised && hours:
		return "the moment it was raised"
	case p.Anchor == AnchorRaised:
		return "the day it was raised"
	case hours:
		return pr.event(p)
	}
	return "the day of " + p.Anchor
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
	return m.Day.Format(dayLayout) + m.At.Format(" 15:04 MST")
}

// title is a step's title, or the code itself when the protocol has no such step.
func (pr *Protocol) title(code string) string {
	if s := pr.Step(code); s != nil && s.Title != "" {
		return s.Title
	}
	return code
}

// done says that steps are done: "“Blood tests” is done".
func (pr *Protocol) done(codes []string) string {
	out := make([]string, len(codes))
	for n, c := range codes {
		out[n] = "“" + pr.title(c) + "”"
	}
	if len(out) == 1 {
		return out[0] + " is done"
	}
	return strings.Join(out[:len(out)-1], ", ") + " and " + out[len(out)-1] + " are done"
}

// Why tells the item's rule in plain words, with the numbers of this case.
func (pr *Protocol) Why(i *Item) string {
	parts := append(pr.whyDates(i), i.Step.whyCounts()...)
	switch {
	case i.State == Expired:
		parts = append(parts, "no longer counts, because "+i.Because)
	case i.Because != "":
		parts = append(parts, "asked again, because "+i.Because)
	}
	if i.Compressed && (i.State.Waiting() || i.State == "") {
		parts = append(parts, "booked later than it should have been done: do it as soon as possible")
	}
	if i.TooLate {
		parts = append(parts, "its day had passed when the operation was booked and it cannot be shortened: ask "+i.Asks())
	}
	if i.Applies == Unknown && len(i.Needs) > 0 {
		parts = append(parts, "not yet asked for, because it must be known "+strings.Join(i.Needs, ", and "))
	}
	if len(parts) == 0 {
		return ""
	}
	text := strings.Join(parts, "; ")
	return strings.ToUpper(text[:1]) + text[1:] + "."
}

func (pr *Protocol) whyDates(i *Item) []string {
	var parts []string
	w := i.Step.Window
	if len(i.Waits) > 0 {
		parts = append(parts, "opens when "+pr.done(i.Waits))
	} else if !i.Opens.IsZero() {
		rule := pr.joinPoints(w.Opens, w.OpensEarliest)
		parts = append(parts, "opens "+i.Opens.Words()+bracketed(rule))
	}
	rule := pr.joinPoints(w.Due, true)
	switch {
	case !i.Due.IsZero():
		if i.mayMove() {
			rule += "; on a closed day, the business day before"
		}
		parts = append(parts, "due "+i.Due.Words()+bracketed(rule))
	case rule != "":
		parts = append(parts, "due "+rule+", which is not known yet")
	}
	if !i.Last.IsZero() && !i.Last.same(i.Due) {
		parts = append(parts, "of no use after "+i.Last.Words())
	}
	if !i.LeaveBy.IsZero() && i.State.Waiting() {
		parts = append(parts, "do it by "+i.LeaveBy.Format(dayLayout)+", so that "+pr.chain(i.LeaveFor)+" can still follow")
	}
	return parts
}

// chain names steps that follow each other: "“Further tests” and then “All results read”".
func (pr *Protocol) chain(codes []string) string {
	out := make([]string, len(codes))
	for n, c := range codes {
		out[n] = "“" + pr.title(c) + "”"
	}
	return strings.Join(out, " and then ")
}

// mayMove reports whether the due day is one that moves off closed days.
func (i *Item) mayMove() bool {
	if !i.Due.At.IsZero() || i.Step.Fixed || !i.Step.StaffStep() {
		return false
	}
	for _, p := range i.Step.Window.Due {
		oneDay := slices.Contains(i.Step.Window.Opens, p) // nowhere to move to
		open := p.Offset.Unit == BusinessDays && p.Offset.N != 0
		if p.Clock == nil && p.Offset.Unit != Minutes && !open && !oneDay {
			return true
		}
	}
	return false
}

// whyCounts says how long the step counts once it is done.
func (s *Step) whyCounts() []string {
	var parts []string
	switch s.Expiry.Kind {
	case ExpiresAfter:
		parts = append(parts, fmt.Sprintf("counts for %d day%s up to the day of surgery", s.Expiry.Days, plural(s.Expiry.Days)))
	case ThisDate:
		if s.byTheClock() {
			parts = append(parts, "counts for this date and time only")
		} else {
			parts = append(parts, "counts for this date only")
		}
	case OwnEndDate:
		parts = append(parts, "counts until the end date that was recorded with it")
	}
	if v := s.Expiry.VoidedBy; len(v) > 0 {
		parts = append(parts, "must be done again when the "+strings.Join(v, " or the ")+" changes")
	}
	return parts
}

// Asks names who decides when a fixed step is too late.
func (i *Item) Asks() string {
	for _, p := range i.Step.Performers {
		if p.Kind == Staff && p.Display != "" {
			return "the " + strings.ToLower(p.Display[:1]) + p.Display[1:]
		}
	}
	return "the surgeon or the prescriber"
}

// joinPoints says several points, of which the earliest or the latest counts.
func (pr *Protocol) joinPoints(points []Point, earliest bool) string {
	words := make([]string, 0, len(points))
	for _, p := range points {
		words = append(words, pr.words(p))
	}
	text := strings.Join(words, " or ")
	switch {
	case len(points) < 2:
		return text
	case earliest:
		return text + ", whichever is earlier"
	}
	return text + ", whichever is later"
}

func bracketed(s string) string {
	if s == "" {
		return ""
	}
	return " (" + s + ")"
}

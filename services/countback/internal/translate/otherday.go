package translate

import (
	"fmt"
	"strings"
	"time"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// OtherDays are days that could be met in place of the one that stands.
type OtherDays struct {
	Safe    *readiness.Safe    // nil: nobody has to ask
	IfAsked *readiness.IfAsked // where musts in doubt are too late if they apply
}

// AskOtherDays finds them where the day that stands cannot be met, is closed, is
// held, or is lost if something that is not known turns out so. Once the
// operation has begun nobody asks.
func (f Facility) AskOtherDays(c *readiness.Case, pl *readiness.Plan, p *Protocol, now time.Time) OtherDays {
	if pl.State.Begun() {
		return OtherDays{}
	}
	out := OtherDays{IfAsked: pl.EarliestIfAsked(c, p.Protocol, f.Calendar, now)}
	if len(pl.Infeasible) > 0 || pl.State == readiness.CaseHeld || f.closed(pl.Day) != "" {
		out.Safe = new(readiness.Earliest(c, p.Protocol, f.Calendar, now))
	}
	return out
}

// otherDays says which other days can be met, and which if what is not known
// turns out so.
func (f Facility) otherDays(pl *readiness.Plan, o OtherDays, p *Protocol) []string {
	var out []string
	if o.Safe != nil {
		out = append(out, f.safeWords(pl, o.Safe, p)...)
	}
	if o.IfAsked != nil && (o.Safe == nil || o.IfAsked.Safe.Day != o.Safe.Day) {
		out = append(out, ifAskedWords(o.IfAsked, p))
	}
	return out
}

// safeWords says which day can be met in place of the booked one. Where that is
// merely a closed day, the next that is open may be all that is asked for.
func (f Facility) safeWords(pl *readiness.Plan, s *readiness.Safe, p *Protocol) []string {
	if f.closed(pl.Day) == "" || len(pl.Infeasible) > 0 { // also where there is no day at all
		return safeWords(s, pl.Day, p)
	}
	next := f.nextOperating(pl.Day)
	if !f.meets(s, next) {
		return safeWords(s, pl.Day, p)
	}
	out := "The next operating day, " + next.Format(dayWords) + ", can be met"
	if s.Day == next {
		return []string{inTimeWords(s, p), out + strings.TrimPrefix(earliestWords(s, p), next.Format(dayWords)) + "."}
	}
	if s.Conditional() {
		out += ", as far as is known" // what must be known, and by when, is of another day
	}
	out += "; the earliest that can is " + s.Day.Format(dayWords)
	if len(s.Pressing) > 0 {
		out += ", and each only if what is late or soon due for it is done in time"
	}
	return []string{inTimeWords(s, p), out + "."}
}

// closed says why a day is no operating day here; empty when it is one.
func (f Facility) closed(day calendar.Date) string {
	if day.IsZero() || f.Calendar.IsOperatingDay(day) {
		return ""
	}
	why := f.Calendar.HolidayName(day)
	if why == "" {
		why = day.Format("a Monday")
	}
	return "The day of surgery is not an operating day here: " + why + "."
}

// nextOperating is the first operating day after a day; after no day there is
// none.
func (f Facility) nextOperating(day calendar.Date) calendar.Date {
	if day.IsZero() {
		return day
	}
	for day = day.Add(1); !f.Calendar.IsOperatingDay(day); day = day.Add(1) {
	}
	return day
}

// meets reports whether a day is one of the run of days that can be met.
func (f Facility) meets(s *readiness.Safe, day calendar.Date) bool {
	at := s.Day
	for n := 1; n < s.Run && at < day; n++ {
		at = f.nextOperating(at)
	}
	return !at.IsZero() && at == day
}

// How the sentences begin that say which other days can be met.
const (
	usualFrom     = "Everything can be done in its usual time from "
	knownFrom     = "As far as is known, everything can be done in its usual time from "
	usualNever    = "On no operating day in the next "
	noDay         = "No operating day in the next "
	earliestIs    = "The earliest at all: "
	usualEarliest = "That is the earliest at all"
	failsFrom     = "The next days fail again, the first of them "
	eachReason    = "The first day that each reason allows: "
)

// safeWords says which days can be met, what stands in the way until then, and
// what the answer rests on. What stands only in the way of days before the booked
// one is left out, where that is given.
func safeWords(s *readiness.Safe, booked calendar.Date, p *Protocol) []string {
	out := daysWords(s, p, earliestWords(s, p))
	var until []string
	for _, o := range s.Obstacles {
		if s.Day.IsZero() || !booked.IsZero() && o.Clear <= booked && booked < s.Day {
			continue
		}
		what := o.Ground
		if what == "" {
			what = p.titled(o.Key)
		}
		until = append(until, what+", "+o.Clear.Format(dayWords))
	}
	if len(until) > 0 {
		out = append(out, eachReason+strings.Join(until, "; ")+".")
	}
	return out
}

// daysWords says from which day on everything can be done in its usual time, then
// the earliest day that can be met, and which of the days after it fails again.
// Earliest are the words of that day.
func daysWords(s *readiness.Safe, p *Protocol, earliest string) []string {
	if s.Day.IsZero() {
		return []string{fmt.Sprintf(noDay+"%d days can be met.", p.Horizon)}
	}
	out := []string{inTimeWords(s, p), earliestIs + earliest + "."}
	if s.InTime == s.Day {
		out[1] = usualEarliest + strings.Replace(strings.TrimPrefix(earliest, s.Day.Format(dayWords)), ", ", "; it holds ", 1) + "."
	}
	if !s.Fails.IsZero() {
		out = append(out, failsFrom+s.Fails.Format(dayWords)+".")
	}
	return out
}

// inTimeWords says from which day on everything can be done in its usual time, and
// what could be on no day.
func inTimeWords(s *readiness.Safe, p *Protocol) string {
	if s.InTime.IsZero() {
		return fmt.Sprintf(usualNever+"%d days can everything be done in its usual time.", p.Horizon)
	}
	out := usualFrom
	if s.InTimeDoubt {
		out = knownFrom
	}
	out += s.InTime.Format(dayWords)
	if len(s.Anyway) > 0 {
		keys := make([]readiness.Key, len(s.Anyway))
		for n, o := range s.Anyway {
			keys[n] = o.Key
		}
		out += ", but for what is late or soon due whatever the day: " + titles(keys, p)
	}
	return out + "."
}

// earliestWords says the day of an answer with all that it rests on.
func earliestWords(s *readiness.Safe, p *Protocol) string {
	var doubts, tasks []string
	for _, d := range s.Unknown {
		doubts = append(doubts, doubtWords(d))
	}
	for _, o := range s.Pressing {
		tasks = append(tasks, p.titled(o.Key)+pressingBy(o))
	}
	out := s.Day.Format(dayWords)
	if len(doubts) > 0 {
		out += ", only if these are known: " + strings.Join(doubts, "; ")
	}
	switch {
	case len(tasks) > 0 && len(doubts) > 0:
		out += "; and if these are done: "
	case len(tasks) > 0:
		out += ", if these are done: "
	}
	return out + strings.Join(tasks, "; ")
}

// earliestBrief says the day of an answer, and in short that it rests on
// something.
func earliestBrief(s *readiness.Safe) string {
	return s.Day.Format(dayWords) + ifKnown(s) + ifDone(s)
}

// ifKnown says that the answer rests on what nobody knows, where it does.
func ifKnown(s *readiness.Safe) string {
	if !s.Conditional() {
		return ""
	}
	return ", only if what is not known yet is known in time"
}

// ifDone says that the answer rests on what presses, where it does.
func ifDone(s *readiness.Safe) string {
	switch {
	case len(s.Pressing) == 0:
		return ""
	case s.Conditional():
		return " and what is late or soon due is done in time"
	}
	return ", if what is late or soon due is done in time"
}

// pressingBy says by when something must be done, and when it is due.
func pressingBy(o readiness.Pressing) string {
	var out string
	if !o.By.IsZero() {
		out = " by " + o.By.Words()
	}
	switch {
	case o.Over:
		out += " (its due day, " + o.Due.Words() + ", is over)"
	case !o.Due.IsZero() && o.Due != o.By:
		out += " (due " + o.Due.Words() + ")"
	}
	return out
}

// doubtWords says what must be known, and by when.
func doubtWords(d readiness.Doubt) string {
	return strings.Join(d.Needs, " and ") + " (" + "known by " + d.Within() + ")"
}

// ifAskedWords says which days can be met if musts in doubt turn out to apply.
func ifAskedWords(a *readiness.IfAsked, p *Protocol) string {
	words := strings.Join(daysWords(&a.Safe, p, earliestBrief(&a.Safe)), " ")
	return "If " + titles(a.Keys, p) + " " + turn(a.Keys) + " out to apply: " + strings.ToLower(words[:1]) + words[1:]
}

func turn(keys []readiness.Key) string {
	if len(keys) == 1 {
		return "turns"
	}
	return "turn"
}

// titles lists the titles of items: "“A”, “B” and “C”".
func titles(keys []readiness.Key, p *Protocol) string {
	names := make([]string, len(keys))
	for n, k := range keys {
		names[n] = p.titled(k)
	}
	return listed(names)
}

// listed joins names: "a, b and c".
func listed(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}

// titled is the title of an item's step in quotation marks.
func (p *Protocol) titled(k readiness.Key) string {
	if step := p.Step(k.Step); step != nil {
		return "“" + step.Title + "”"
	}
	return k.Step
}

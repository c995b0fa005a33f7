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
	if s.Conditional() {
		out += ", as far as is known" // what must be known, and by when, is of another day
	}
	if s.Day < next {
		out += "; the earliest that can is " + s.Day.Format(dayWords)
		if len(s.Pressing) > 0 {
			out += ", and each only if what is late or soon due for it is done in time"
		}
		return []string{out + "."}
	}
	return append([]string{out + ifDone(s) + "."}, pressingWords(s, p)...) // of that very day
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

// safeWords says which day can be met, what stands in the way until then, and
// what the answer rests on. What stands only in the way of days before the booked
// one is left out, where that is given.
func safeWords(s *readiness.Safe, booked calendar.Date, p *Protocol) []string {
	if s.Day.IsZero() {
		return []string{fmt.Sprintf("No operating day in the next %d days can be met.", p.Horizon)}
	}
	out := []string{dayWordsOf(s)}
	var until []string
	for _, o := range s.Obstacles {
		if !booked.IsZero() && o.Clear <= booked && booked < s.Day {
			continue
		}
		what := o.Ground
		if what == "" {
			what = p.titled(o.Key)
		}
		until = append(until, what+", "+o.Clear.Format(dayWords))
	}
	if len(until) > 0 {
		out = append(out, "The first day that each reason allows: "+strings.Join(until, "; ")+".")
	}
	return append(out, conditions(s, p)...)
}

// conditions says what the answer rests on: what must be known, and what must be
// done that is late or soon due.
func conditions(s *readiness.Safe, p *Protocol) []string {
	var doubts []string
	for _, d := range s.Unknown {
		doubts = append(doubts, doubtWords(d))
	}
	var out []string
	if len(doubts) > 0 {
		out = append(out, "It holds only if these are known in time: "+strings.Join(doubts, "; ")+".")
	}
	return append(out, pressingWords(s, p)...)
}

// inTime says in short that something presses for a day.
const inTime = ", if what is late or soon due is done in time"

// pressingWords says what must be done for the day of an answer, each by when.
func pressingWords(s *readiness.Safe, p *Protocol) []string {
	var list []string
	for _, o := range s.Pressing {
		list = append(list, p.titled(o.Key)+pressingBy(o))
	}
	if len(list) == 0 {
		return nil
	}
	return []string{"It holds only if these are done in time: " + strings.Join(list, "; ") + "."}
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
	return strings.Join(d.Needs, " and ") + " (by " + d.By.Words() + ")"
}

// dayWordsOf says the day of an answer in one sentence.
func dayWordsOf(s *readiness.Safe) string {
	if s.Conditional() {
		return "Not before " + s.Day.Format(dayWords) + ", and only on conditions" + runAfter(s) + "."
	}
	return "The earliest day that can be met is " + runWords(s) + ifDone(s) + "."
}

// ifDone says that the answer rests on what presses, where it does.
func ifDone(s *readiness.Safe) string {
	if len(s.Pressing) == 0 {
		return ""
	}
	return inTime
}

// runAfter says for how many operating days after it a conditional answer is the
// same.
func runAfter(s *readiness.Safe) string {
	switch s.Run {
	case 1:
		return "; the operating day after it cannot be met"
	case 2:
		return ", as on the operating day after it"
	default:
		return fmt.Sprintf(", as on the %d operating days after it", s.Run-1)
	}
}

// runWords says a day and how many operating days after it can be met as well.
func runWords(s *readiness.Safe) string {
	switch day := s.Day.Format(dayWords); s.Run {
	case 1:
		return day + "; the operating day after it cannot"
	case 2:
		return day + ", and so can the operating day after it"
	default:
		return fmt.Sprintf("%s, and so can the %d operating days after it", day, s.Run-1)
	}
}

// ifAskedWords says which day can be met if musts in doubt turn out to apply.
func ifAskedWords(a *readiness.IfAsked, p *Protocol) string {
	when := "If " + titles(a.Keys, p) + " " + turn(a.Keys) + " out to apply, "
	if a.Safe.Day.IsZero() {
		return when + fmt.Sprintf("no operating day in the next %d days can be met.", p.Horizon)
	}
	if a.Safe.Conditional() {
		return when + "not before " + a.Safe.Day.Format(dayWords) + ", and only on conditions" + runAfter(&a.Safe) + "."
	}
	return when + "the earliest day that can be met is " + runWords(&a.Safe) + ifDone(&a.Safe) + "."
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

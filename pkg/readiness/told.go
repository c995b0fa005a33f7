package readiness

import (
	"fmt"
	"strings"
	"time"

	"example.org/countback/pkg/calendar"
)

// TriggerTold is raised when the operation is on another day, on none, or called
// off, and the person was told what stood before.
const TriggerTold = "told-day-changed"

// What a person may have been told instead of a day.
const (
	toldNoDay = "no-day"
	toldOff   = "called-off"
	toldNth   = "#" // between what was told and the number of the change
)

// Told finds whether the person must be told of another day. Who was told
// something is not recorded everywhere, so whoever could have been is taken to
// have been: the day was known on an earlier day than today, somebody said that a
// step of the case is done, or a calendar was handed out. It is raised once; what
// changes before somebody has told it changes what is to be told, and raises
// nothing more. Who comes in for the operation, or did not come to it, knows.
func Told(b Before, c *Case, p *Protocol, begun bool, cal *calendar.Calendar, now time.Time) []Raised {
	is := standing(c.Day, c.Ending != Running)
	was, out, open, times := standing(b.Day, b.Ended), []Raised(nil), false, 0
	told := was
	for n := range b.Items {
		i := &b.Items[n]
		step := p.Step(i.Key.Step)
		if step == nil || step.Trigger != TriggerTold || i.Raised == nil || i.Key.Round > 1 {
			continue
		}
		r := *i.Raised
		r.Trigger, r.Key = TriggerTold, i.Key.Repeat
		times++
		told = was
		if i.State == Needless { // they came in for the operation
			continue
		}
		if i.State != StateDone { // then they still go by what they were told before that
			told, _, _ = strings.Cut(r.Key, toldNth)
		}
		if i.State.Waiting() {
			if begun {
				continue
			}
			open, r.Why = true, toldWords(told, is)
		}
		out = append(out, r)
	}
	if open || begun || was == is || told == is || c.Ending == NoShow || told == toldNoDay && times == 0 || !b.wasTold(cal, now) {
		return out
	}
	key := fmt.Sprintf("%s%s%d", told, toldNth, times+1)
	return append(out, Raised{Trigger: TriggerTold, Key: key, At: now.In(cal.Zone()), Why: toldWords(told, is)})
}

// GoesBy is the day that the person still goes by, where an item asks to tell them
// of another; zero: it asks nothing of the kind, or what they were told was no day.
func (i *Item) GoesBy() calendar.Date {
	if i.Step.Trigger != TriggerTold || i.Raised == nil || !i.State.Waiting() {
		return 0
	}
	told, _, _ := strings.Cut(i.Raised.Key, toldNth)
	day, err := calendar.ParseDate(told)
	if err != nil {
		return 0
	}
	return day
}

// standing names what is to be told of the day of surgery.
func standing(day calendar.Date, off bool) string {
	switch {
	case off:
		return toldOff
	case day.IsZero():
		return toldNoDay
	}
	return day.String()
}

// wasTold reports whether the person could have been told of the day.
func (b *Before) wasTold(cal *calendar.Calendar, now time.Time) bool {
	if b.Handed || cal.DateOf(b.Dated) < cal.DateOf(now) {
		return true
	}
	for n := range b.Items {
		if e := &b.Items[n].Entry; e.Outcome == Done && e.Record == "" {
			return true
		}
	}
	return false
}

func toldWords(told, is string) string {
	day := func(s string) string {
		d, err := calendar.ParseDate(s)
		if err != nil {
			return s
		}
		return d.Format(dayLayout)
	}
	had := "told " + day(told)
	switch told {
	case toldNoDay:
		had = "told that there is no day"
	case toldOff:
		had = "told that it is called off"
	}
	switch is {
	case told:
		return "So far the person was " + had + "; in between it was otherwise, and now it is so again. Make sure that nobody told them otherwise."
	case toldNoDay:
		return "So far the person was " + had + "; the operation has no day now."
	case toldOff:
		return "So far the person was " + had + "; the operation is called off."
	}
	return "So far the person was " + had + "; the operation is now on " + day(is) + "."
}

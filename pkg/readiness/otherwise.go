package readiness

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// otherwise asks about each last dose that is recorded otherwise than it was
// signed: far earlier than its day, of a medicine that was signed to go on, or
// while it is undecided. The record stands; what the person takes meanwhile is the
// prescriber's to say. It is asked once for each day that is recorded.
func (s *stranding) otherwise(pl *Plan, p *Protocol) {
	for n := range pl.Items {
		i := &pl.Items[n]
		if s.c.Ending != Running || i.State != StateDone || !i.Step.TakesLastDose() || i.Entry.On.IsZero() {
			continue
		}
		why := s.c.otherwise(p, i)
		if why == "" || s.open[i.Key.Repeat] || s.toldOf(i) {
			continue
		}
		key := i.Key.Repeat + taken + i.Entry.On.String()
		for again := 2; s.raised(TriggerStopped, key); again++ { // the day was corrected, and back
			key = fmt.Sprintf("%s%s%s-%d", i.Key.Repeat, taken, i.Entry.On, again)
		}
		s.out = append(s.out, Raised{Trigger: TriggerStopped, Key: key, At: s.now, Why: why, For: s.c.Day, Dose: Moment{Day: i.Entry.On}, Name: s.c.medicineName(i.Key.Repeat)})
	}
}

// otherwise says what is wrong with a last dose that is recorded as taken; empty
// where nothing is.
func (c *Case) otherwise(p *Protocol, i *Item) string {
	if why := c.goesOnAfter(p, i); why != "" {
		return why
	}
	return c.early(p, i)
}

// toldOf reports whether the prescriber was asked already about the day that is
// recorded. What was asked by an earlier version tells it in its key.
func (s *stranding) toldOf(i *Item) bool {
	return slices.ContainsFunc(s.out, func(r Raised) bool {
		switch {
		case r.Trigger != TriggerStopped || medicineOf(r.Key) != i.Key.Repeat || !strings.Contains(r.Key, taken):
			return false
		case r.Dose.IsZero():
			return strings.HasSuffix(r.Key, taken+i.Entry.On.String())
		}
		return r.Dose.Day == i.Entry.On
	})
}

// goesOnAfter says that a prescriber signed that a medicine is not stopped, of
// which somebody recorded the last dose; empty where nobody did.
func (c *Case) goesOnAfter(p *Protocol, i *Item) string {
	e, ok := c.signature(p, i.Key.Repeat)
	if !ok || e.Decided == DecidedLastDose {
		return ""
	}
	return fmt.Sprintf("%s: the last dose is recorded for %s, and it %s What the person takes now must be decided.",
		c.medicineName(i.Key.Repeat), i.Entry.On.Format(dayLayout), e.Decided.words(e))
}

// early says that a last dose was taken far before its day, or while nobody has
// decided on one; empty where it was not.
func (c *Case) early(p *Protocol, i *Item) string {
	if i.undecided() {
		return fmt.Sprintf("%s: the last dose is recorded for %s, and no prescriber has decided on one. What the person takes now must be decided.",
			c.medicineName(i.Key.Repeat), i.Entry.On.Format(dayLayout))
	}
	if p.EarlyDose == 0 || i.Last.IsZero() || i.Entry.On >= i.Last.Day.Add(-c.earlyMargin(p, i.Key.Repeat)) {
		return ""
	}
	days := i.Last.Day.Sub(i.Entry.On)
	return fmt.Sprintf("%s: the last dose is recorded for %s, %d days before the one that stands (%s): until surgery the person is without it for longer than was meant (asked from more than %d days on; %s). Whether it is bridged or taken again must be decided.",
		c.medicineName(i.Key.Repeat), i.Entry.On.Format(dayLayout), days, i.Last.Words(), c.earlyMargin(p, i.Key.Repeat), marked(p.EarlyDoseMark))
}

// earlyMargin is how many days before its day a last dose may be taken without a
// question: those of the protocol, or between two doses where that is more.
func (c *Case) earlyMargin(p *Protocol, medicine string) int {
	margin := p.EarlyDose
	if m := c.medicine(medicine); m != nil {
		if days, known := m.Facts[FactDoseInterval].(float64); known {
			margin = max(margin, int(math.Ceil(days)))
		}
	}
	return margin
}

// marked says in words how a figure was checked.
func marked(mark string) string {
	if mark == "common-practice" {
		return "common practice, no source"
	}
	return mark
}

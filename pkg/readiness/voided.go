package readiness

import (
	"fmt"

	"example.org/countback/pkg/calendar"
)

// voided says in plain words why the item's entry no longer counts.
func (i *Item) voided(c *Case, p *Protocol, later bool) string {
	e, now := i.Entry, c.Snapshot()
	for _, name := range i.Step.Expiry.VoidedBy {
		if was, ok := e.For[name]; ok && was != now[name] {
			return "the " + name + " changed since it was done"
		}
	}
	forDay := func() string {
		if d, err := calendar.ParseDate(e.For[DetailDate]); err == nil {
			return "the operation on " + d.Format(dayLayout)
		}
		return "another date"
	}
	switch {
	case e.Outcome == Failed:
		return "it could not be done for " + forDay()
	case i.advisedOtherwise(c):
		return "the last dose that the rules give changed since it was done"
	case i.disagreed(c):
		return "a second person did not agree with what was signed"
	case i.Step.SignsLastDose() && c.unsaid(i.Key.Repeat, &e):
		return "it was signed that it goes on as usual, and the dose around surgery is the prescriber's to say"
	case i.redecided(c, p):
		return "the prescriber has decided on this medicine since, what becomes of it after it was stopped"
	case i.TooEarly(e.On):
		return "it was done on " + e.On.Format(dayLayout) + ", before it can be done for this date"
	case later:
		return "it was done for " + forDay() + ", and another date was worked towards since"
	}
	switch i.Step.Expiry.Kind {
	case ExpiresAfter:
		return fmt.Sprintf("it was done on %s and would be %d days old on the day of surgery; it counts for %d",
			e.On.Format(dayLayout), c.Day.Sub(e.On), i.Step.Expiry.Days)
	case OwnEndDate:
		if !e.Until.IsZero() {
			return "it counted until " + e.Until.Format(dayLayout)
		}
	}
	if e.Record != "" {
		return "the record of it is of " + e.On.Format(dayLayout) + ", which is outside the days for this date"
	}
	if e.For[DetailDate] == now[DetailDate] {
		return "it was done for another start time"
	}
	return "it was done for " + forDay()
}

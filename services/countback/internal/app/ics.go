package app

import (
	"fmt"
	"io"
	"time"

	ics "github.com/arran4/golang-ical"

	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/translate"
)

// printCalendar writes one all-day entry for each day that something is due,
// and a timed one for each clock point. Titles name the step and no diagnosis.
func printCalendar(plans []casework.Planned, f translate.Facility, now time.Time, out io.Writer) error {
	cal := ics.NewCalendarFor("Countback")
	cal.SetMethod(ics.MethodPublish)
	for _, p := range plans {
		sheet, err := f.Sheet(p.CarePlan.Body, bodies(p.Tasks))
		if err != nil {
			return err
		}
		for _, l := range sheet.Lines {
			if l.DueDay.IsZero() || !l.Asked {
				continue
			}
			e := cal.AddEvent(l.TaskID + "@countback.example")
			e.SetDtStampTime(now)
			e.SetSummary(l.Step)
			e.SetDescription(l.Rule + "\n\n" + sheet.Notice)
			if l.DueAt.IsZero() {
				y, m, d := l.DueDay.YMD()
				day := time.Date(y, time.Month(m), d, 0, 0, 0, 0, time.UTC)
				e.SetAllDayStartAt(day)
				e.SetAllDayEndAt(day.AddDate(0, 0, 1))
				continue
			}
			e.SetStartAt(l.DueAt) // no end: a moment, and RFC 5545 wants an end to be later
		}
	}
	_, err := fmt.Fprint(out, cal.Serialize(ics.WithNewLineWindows))
	return err
}

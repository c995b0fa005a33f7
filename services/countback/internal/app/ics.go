package app

import (
	"context"
	"fmt"
	"io"
	"strings"
	"time"

	ics "github.com/arran4/golang-ical"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/sheet"
	"example.org/countback/services/countback/internal/translate"
)

// printCalendar writes one all-day entry for each day that something is due,
// and a timed one for each clock point. Titles name the step and no diagnosis. The
// first entry of a case is its day of surgery: it says first what the patient's
// sheet would, and so does the calendar. What waits says so in its title.
func printCalendar(ctx context.Context, office *casework.Office, plans []casework.Planned, now time.Time, out io.Writer) error {
	sentences, err := sheet.Load()
	if err != nil {
		return err
	}
	cal := ics.NewCalendarFor("Countback")
	cal.SetMethod(ics.MethodPublish)
	var warnings []string
	for _, p := range plans {
		plan, err := office.Facility().Sheet(p.CarePlan.Body, bodies(p.Tasks))
		if err != nil {
			return err
		}
		h, err := office.Handout(ctx, p.CarePlan.ID)
		if err != nil {
			return err
		}
		if warning := printDay(cal, sentences, h, now, plan.Notice); warning != "" {
			warnings = append(warnings, warning)
		}
		for _, l := range plan.Lines {
			if !l.DueDay.IsZero() && l.Asked {
				printEntry(cal, l, now, plan.Notice)
			}
		}
	}
	if len(warnings) > 0 {
		cal.SetDescription(strings.Join(warnings, " "))
		cal.SetXWRCalDesc(strings.Join(warnings, " "))
	}
	_, err = fmt.Fprint(out, cal.Serialize(ics.WithNewLineWindows))
	return err
}

// printDay writes the day of surgery, on the day of writing where there is none, and
// gives what must be read before all else.
func printDay(cal *ics.Calendar, s *sheet.Sentences, h translate.Handout, now time.Time, notice string) (warning string) {
	title, says, warns := s.Notice(h, sheet.Languages[0])
	e := cal.AddEvent(h.CaseID + ".day@countback.example")
	e.SetDtStampTime(now)
	e.SetSummary(title)
	e.SetDescription(says + "\n\n" + notice)
	e.SetStatus(ics.ObjectStatusConfirmed)
	day := h.Day
	if warns {
		warning = says
		e.SetStatus(ics.ObjectStatusTentative)
	}
	if day.IsZero() || h.State == readiness.CaseCancelled {
		y, m, d := now.Date()
		day = calendar.NewDate(y, int(m), d)
		e.SetStatus(ics.ObjectStatusCancelled)
	}
	wholeDay(e, day)
	return warning
}

func printEntry(cal *ics.Calendar, l translate.SheetLine, now time.Time, notice string) {
	e := cal.AddEvent(l.TaskID + "@countback.example")
	e.SetDtStampTime(now)
	e.SetSummary(l.Step)
	e.SetDescription(l.Rule + "\n\n" + notice)
	if l.State == string(readiness.Paused) {
		e.SetSummary("Waits: " + l.Step)
		e.SetDescription("The case is held: do not do this now. " + l.Rule + "\n\n" + notice)
		e.SetStatus(ics.ObjectStatusTentative)
	}
	if l.DueAt.IsZero() {
		wholeDay(e, l.DueDay)
		return
	}
	e.SetStartAt(l.DueAt) // no end: a moment, and RFC 5545 wants an end to be later
}

func wholeDay(e *ics.VEvent, d calendar.Date) {
	y, m, day := d.YMD()
	at := time.Date(y, time.Month(m), day, 0, 0, 0, 0, time.UTC)
	e.SetAllDayStartAt(at)
	e.SetAllDayEndAt(at.AddDate(0, 0, 1))
}

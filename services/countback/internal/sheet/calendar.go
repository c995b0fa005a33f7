package sheet

import (
	"fmt"
	"strings"
	"time"

	ics "github.com/arran4/golang-ical"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/translate"
)

// refresh is how often a calendar program is asked to read the feed again.
const refresh = "PT2H"

// Calendar puts a handout into an iCalendar object (RFC 5545): an entry for each
// step of the patient and the coach on the day it is due, all day; one with its
// hour for each clock point, in UTC; and one for the day at the hospital. Titles
// name what to do: no diagnosis, no joint, no medicine, no person.
//
// What is no longer asked stays as a cancelled entry under its UID, so that
// programs which keep a copy take it away; it carries no day that somebody could
// act on. The object depends on the handout alone: the same plan gives the same
// bytes. zone is the facility's.
func (s *Sentences) Calendar(h translate.Handout, choice string, zone *time.Location) (string, error) {
	b := &feed{speaker: &speaker{Sentences: s, lang: Language(h.Prefers, choice)}, h: &h, zone: zone, stamp: h.Changed}
	for n := range h.Lines {
		if at := h.Lines[n].Changed; at.After(b.stamp) {
			b.stamp = at
		}
	}
	b.cal = ics.NewCalendarFor("Countback")
	b.cal.SetMethod(ics.MethodPublish)
	b.cal.SetName(b.say("calendar-name"))
	b.cal.SetXWRCalName(b.say("calendar-name"))
	b.cal.SetRefreshInterval(refresh)
	b.cal.SetXPublishedTTL(refresh)
	b.hospitalDay()
	for n := range h.Lines {
		if l := &h.Lines[n]; l.Own() && l.Item.Applies != readiness.Unknown {
			b.entry(l)
		}
	}
	if len(b.missing) > 0 {
		return "", fmt.Errorf("sentences: there is no %s", strings.Join(b.missing, ", "))
	}
	return b.cal.Serialize(ics.WithNewLineWindows), nil
}

// feed makes one calendar.
type feed struct {
	*speaker
	h     *translate.Handout
	zone  *time.Location
	stamp time.Time // of the youngest change
	cal   *ics.Calendar
}

// begin starts an entry. Its sequence is the sum of two numbers that only rise:
// how often the item changed, and how often something was told of the case.
func (b *feed) begin(id string, version int64, changed time.Time) *ics.VEvent {
	e := b.cal.AddEvent(id + "@countback.example")
	e.SetDtStampTime(b.stamp)
	e.SetModifiedAt(changed)
	e.SetSequence(int(version - 1 + b.h.Sequence))
	e.SetClass(ics.ClassificationPrivate)
	e.SetTimeTransparency(ics.TransparencyTransparent)
	return e
}

// hospitalDay is the day of surgery: in doubt while the case is held or cannot
// be met, cancelled when there is none. Where the sheet has something to say
// first, so has this entry, in its title, too: many programs show nothing else.
func (b *feed) hospitalDay() {
	e := b.begin(b.h.CaseID+".day", 1, b.h.Changed)
	title, says, warns := dayWords(b.speaker, b.h)
	if warns { // programs that show a calendar's own words show them first
		b.cal.SetDescription(says)
		b.cal.SetXWRCalDesc(says)
	}
	if b.h.State == readiness.CaseCancelled || b.h.Day.IsZero() {
		b.cancel(e, b.h.Changed, title)
		b.describe(e, says)
		return
	}
	e.SetStatus(ics.ObjectStatusTentative)
	if GoesAhead(b.h.State) {
		e.SetStatus(ics.ObjectStatusConfirmed)
	}
	allDay(e, b.h.Day)
	e.SetSummary(title)
	b.describe(e, says)
}

// dayWords are the title and the words of the day of surgery; warns reports whether
// they begin with what must be read before all else.
func dayWords(b *speaker, h *translate.Handout) (title, says string, warns bool) {
	title, says = b.say("calendar-day"), b.say("calendar-day-says")
	switch id := first(h); {
	case id == "closed":
		return title, b.say("closed-title") + ". " + b.say("closed"), false
	case id != "":
		return b.say("calendar-"+id+"-title", "day", title), b.say("calendar-"+id+"-says") + " " + b.say("stopped"), true
	case h.Untold:
		return title, b.say("calendar-moved-says") + " " + b.say("stopped") + " " + says, true
	case h.Stranded:
		return title, b.say("stopped") + " " + says, true
	}
	return title, says, false
}

// Notice is the entry for the day of surgery in another calendar than the
// patient's: its title, and what it says; warns reports whether that must be read
// before all else. No diagnosis, joint, medicine or person is named.
func (s *Sentences) Notice(h translate.Handout, lang string) (title, says string, warns bool) {
	return dayWords(&speaker{Sentences: s, lang: lang}, &h)
}

func (b *feed) entry(l *translate.HandoutLine) {
	i := &l.Item
	unfit := unfit(l)
	if unfit && l.Version == 1 {
		return // it never stood in the calendar
	}
	e := b.begin(l.TaskID, l.Version, l.Changed)
	if unfit || b.calledOff(l) {
		if b.waits(l) {
			b.cancel(e, l.Changed, b.say("calendar-waits"))
			says := "calendar-waits-says"
			if l.Part == translate.PartMedicine {
				says = "medicines-rule" // whether it was stopped already is not known here
			}
			b.describe(e, b.say(says))
			return
		}
		b.cancel(e, l.Changed, b.say("calendar-cancelled"))
		return
	}
	e.SetStatus(ics.ObjectStatusConfirmed)
	if i.Due.At.IsZero() {
		allDay(e, i.Due.Day)
	} else {
		e.SetStartAt(i.Due.At) // no end: a moment
	}
	words, ok := l.Says[b.lang]
	if !ok {
		words = l.Says[translate.English]
	}
	e.SetSummary(words.Title)
	b.describe(e, words.Text)
}

// unfit reports whether the item itself keeps it out of the calendar: it is not
// asked, waits, has no day, or its day is not signed.
func unfit(l *translate.HandoutLine) bool {
	return !current(l) || l.Item.State == readiness.Paused || l.Item.Due.IsZero() || !Signed(l)
}

// calledOff reports whether the state of the case takes an entry away.
func (b *feed) calledOff(l *translate.HandoutLine) bool {
	i := &l.Item
	switch {
	case i.State == readiness.StateDone:
		return false
	case b.h.State == readiness.CaseCancelled, b.h.State == readiness.CaseClosed:
		return true
	}
	return !GoesAhead(b.h.State) && i.Step.PausesOnHold
}

// waits reports whether what has no place in the calendar now is still to be done
// some day: it is paused, or its day is not known or not signed.
func (b *feed) waits(l *translate.HandoutLine) bool {
	return current(l) && b.h.State != readiness.CaseCancelled && b.h.State != readiness.CaseClosed
}

// cancel leaves an entry that says only that it is called off, or waits, on the
// day on which that was said: the day it stood for must not be read again. What
// waits is cancelled, too, so that programs take away the copy with its day.
func (b *feed) cancel(e *ics.VEvent, said time.Time, title string) {
	y, m, d := said.In(b.zone).Date()
	allDay(e, calendar.NewDate(y, int(m), d))
	e.SetStatus(ics.ObjectStatusCancelled)
	e.SetSummary(title)
}

func (b *feed) describe(e *ics.VEvent, text string) {
	e.SetDescription(text + "\n\n" + b.say("calendar-ask") + " " + b.say("caution-emergency"))
}

// allDay sets a whole day; its end is the day after, which is not part of it.
func allDay(e *ics.VEvent, d calendar.Date) {
	y, m, day := d.YMD()
	at := time.Date(y, time.Month(m), day, 0, 0, 0, 0, time.UTC)
	e.SetAllDayStartAt(at)
	e.SetAllDayEndAt(at.AddDate(0, 0, 1))
}

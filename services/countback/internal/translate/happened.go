package translate

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// What a person reports of the day of surgery: codes of Task.output.type.
const (
	// OutputArrived is when the person came, as valueDateTime or valueDate.
	OutputArrived = "arrived"
	// OutputWentHome is when the person left the hospital, ditto.
	OutputWentHome = "went-home"
	// OutputNotOperated is that the operation did not take place: valueBoolean true.
	OutputNotOperated = "not-operated"
)

// happening are those codes.
var happening = []string{OutputArrived, OutputWentHome, OutputNotOperated}

// Happened is what a completed Task reports of the day of surgery.
func (f Facility) Happened(w *Work) (out readiness.Happened, ok bool) {
	if w == nil || w.Outcome != readiness.Done {
		return out, false
	}
	r := elementOf("output", w.Output)
	if r == nil {
		return out, false
	}
	came, left, not := f.outcome(r)
	out = readiness.Happened{Came: came.At, Left: left.At, NotDone: not, CameDay: came.whole, LeftDay: left.whole}
	return out, !came.At.IsZero() || !left.At.IsZero() || not
}

// elementOf is a Task with an element that was kept as it was sent; nil: none was.
func elementOf(name string, value []byte) *fhir.Resource {
	if len(value) == 0 {
		return nil
	}
	task := `{"resourceType":"Task","status":"completed","intent":"order","` + name + `":` + string(value) + `}`
	r, issues := fhir.Parse([]byte(task), len(task))
	if len(issues) > 0 {
		return nil
	}
	return r
}

// told is a moment that an output names. One that names a day alone is its noon.
type told struct {
	At    time.Time
	Day   calendar.Date
	times int // how often it is there
	whole bool
}

// outcome reads the outputs. A day without an hour is read as its noon.
func (f Facility) outcome(task *fhir.Resource) (came, left told, not bool) {
	for _, out := range task.Get("output").Items() {
		switch outputCode(out) {
		case OutputArrived:
			came.read(f, out)
		case OutputWentHome:
			left.read(f, out)
		case OutputNotOperated:
			not = not || out.Get("valueBoolean").Bool()
		}
	}
	if came.Day == left.Day && came.whole != left.whole { // the one that has no hour agrees with the other
		if came.whole {
			came.At = left.At
		} else {
			left.At = came.At
		}
	}
	return came, left, not
}

func (t *told) read(f Facility, out *fhir.Node) {
	t.times++
	if m := f.momentOf(out.String("valueDateTime")); !m.At.IsZero() {
		t.At, t.Day = m.At, m.Day
		return
	}
	for _, s := range []string{out.String("valueDate"), out.String("valueDateTime")} {
		if day := f.day(s); !day.IsZero() {
			t.At, t.Day, t.whole = f.Calendar.At(day, 12, 0), day, true
			return
		}
	}
}

// happened judges what is reported, element by element.
func (f Facility) happened(sent *fhir.Resource, item *readiness.Item, o WorkOptions) fhir.Issues {
	came, left, not := f.outcome(sent)
	surgery, home := readiness.AskedDay(item.Key.Repeat)
	no := func(code, text string) fhir.Issues { return refuse("output", code, "Task.output"+text) }
	switch said := came.times + left.times; {
	case !not && said == 0:
		return no("required", " is missing: say when the person came ("+OutputArrived+") and when they went home ("+OutputWentHome+"), or that the operation did not take place ("+OutputNotOperated+"; system "+SystemOutput+")")
	case not && said > 0:
		return no("business-rule", " says that the operation did not take place ("+OutputNotOperated+"), and when the person came or went home beside it: say one of them")
	case not:
		return nil
	case home && left.times == 0:
		return no("required", " "+OutputWentHome+" is missing: that the person came is known; say when they went home, or leave this open")
	}
	for _, t := range []struct {
		code string
		told
	}{{OutputArrived + " (when the person came)", came}, {OutputWentHome + " (when they went home)", left}} {
		switch {
		case t.times > 1:
			return no("business-rule", " "+t.code+" is there more than once")
		case t.times == 1 && t.Day.IsZero():
			return no("value", " "+t.code+" must name at least a day, as valueDateTime or valueDate")
		case t.Day > o.Today, !t.whole && t.At.After(o.Now):
			return no("business-rule", " "+t.code+" lies in the future: say what has happened")
		case t.times == 1 && t.Day < surgery:
			return no("business-rule", " "+t.code+" lies before the day of surgery, "+surgery.Format(dayWords))
		}
	}
	if left.times == 1 && came.times == 1 && (left.Day < came.Day || left.At.Before(came.At)) {
		return no("business-rule", " "+OutputWentHome+" lies before "+OutputArrived)
	}
	return nil
}

// Report takes what a person reported on a Task of the case into its booking, and
// keeps it in words: who said it, when, and what the records say otherwise.
func (b *Booking) Report(h readiness.Happened, w *Work, f Facility) {
	surgery := b.Case.Day
	said := whoseWord(w)
	if against := b.Case.Reports(h, f.Calendar); against != "" {
		b.told(said + against + ". The record counts" + findOut)
		return
	}
	if h.NotDone {
		b.told(said + "that the operation of " + surgery.Format(dayWords) + " did not take place, and the booking still has that day: have it corrected there, with the new day or as called off.")
		b.notDone = "the operation of " + surgery.Format(dayWords) + " did not take place, and the booking has no other day yet"
		return
	}
	if b.Case.Ending != readiness.Running {
		b.told(said + h.Words(f.Calendar) + ", and the booking says that it was called off" + findOut)
		return
	}
	b.told(said + h.Words(f.Calendar) + "; no record has said so.")
}

const findOut = ": find out which is right, and have it corrected there or here."

// ReportOther keeps in words what a person reported of the operation on another day
// than the one that is booked now: both are said, and the booking counts.
func (b *Booking) ReportOther(h readiness.Happened, w *Work, day calendar.Date, f Facility) {
	if h.NotDone {
		return // and it was moved, as it should be
	}
	now := "has no day now"
	if !b.Case.Day.IsZero() {
		now = "now says " + b.Case.Day.Format(dayWords)
	}
	b.told(whoseWord(w) + "of the operation of " + day.Format(dayWords) + " " + h.Words(f.Calendar) + ", and the booking " + now + findOut)
}

// whoseWord is who reported something on a Task, and when.
func whoseWord(w *Work) string {
	who := cmp.Or(NameOf(w.Owner), lastAuthor(w.Note), "A person")
	return fmt.Sprintf("%s reported on %s ", who, DayOf(w.On).Format(dayWords))
}

func (b *Booking) told(words string) { b.Told = strings.TrimSpace(b.Told + " " + words) }

// lastAuthor is who wrote the last note of a Task.
func lastAuthor(notes []byte) string {
	out, r := "", elementOf("note", notes)
	if r == nil {
		return ""
	}
	for _, n := range r.Get("note").Items() {
		if s := strings.TrimSpace(n.String("authorString")); s != "" {
			out = s
		}
	}
	return out
}

// reports reports whether the code is one of what a person reports.
func reports(code string) bool { return slices.Contains(happening, code) }

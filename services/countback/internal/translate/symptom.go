package translate

import (
	"slices"
	"strings"
	"time"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// Sorted is what follows from a symptom report. It is no judgement of the
// person's state: it says who is to look, and how soon.
type Sorted struct {
	Level   string // from CodeSystem/urgency
	Advice  string // what the person is told at once
	Trigger string // the event that is raised in the case
	Closed  bool   // the office was closed
}

// Sort sorts a response to a questionnaire with levels of urgency, received at
// a moment. The most urgent answer decides. One that is unknown counts as yes,
// and so does a required question that was not answered, unless the response is
// still being filled in. Without any urgent answer it is the last level. False
// when nothing follows: the questionnaire has no levels, the response was
// entered in error, or is being filled in without an urgent answer so far.
func (q *Questionnaire) Sort(r *fhir.Resource, at time.Time, cal *calendar.Calendar) (Sorted, bool) {
	status := r.String("status")
	if len(q.levels) == 0 || status == "entered-in-error" {
		return Sorted{}, false
	}
	answers, _ := q.Read(r)
	unfinished := status == "in-progress"
	worst := len(q.levels)
	for _, i := range q.order {
		if i.urgent != nil && i.urgent.level < worst && i.counts(answers, unfinished) {
			worst = i.urgent.level
		}
	}
	if worst == len(q.levels) {
		if unfinished {
			return Sorted{}, false
		}
		worst--
	}
	l := q.levels[worst]
	out := Sorted{Level: l.code, Advice: l.advice, Trigger: l.trigger}
	if out.Closed = !q.officeOpen(at, cal); out.Closed {
		out.Advice, out.Trigger = l.adviceClosed, l.triggerWhenShut
	}
	return out, true
}

// counts reports whether the answer is urgent.
func (i *question) counts(a Answers, unfinished bool) bool {
	switch a.To(i.linkID) {
	case Yes, Unknown:
		return true
	case Unanswered:
		return i.required && !unfinished
	case Value:
		return i.urgent.reached(a[i.linkID][0])
	}
	return false
}

// nearly keeps a conversion between units from lowering a value below the limit
// that it stands for.
const nearly = 1e-9

// reached reports whether a quantity is at or over the limit. What cannot be
// true is not known, and counts.
func (u *urgency) reached(v *fhir.Node) bool {
	if u.limit == nil {
		return true
	}
	t, ok := celsius(v)
	return !ok || t > *u.limit-nearly || u.least != nil && t < *u.least || u.most != nil && t > *u.most
}

// officeOpen reports whether the office is open at a moment.
func (q *Questionnaire) officeOpen(at time.Time, cal *calendar.Calendar) bool {
	day := cal.DateOf(at)
	minute := func(d time.Duration) time.Time { return cal.At(day, 0, int(d/time.Minute)) }
	return cal.IsBusinessDay(day) && !at.Before(minute(q.opens)) && at.Before(minute(q.shuts))
}

// hear brings what responses say into the cases of the bookings: facts, where
// the booking's own records do not give them, and symptom reports.
func (p *Protocol) hear(bookings []Booking, records []*Record, f Facility) {
	for name, v := range p.answered(records, f) {
		for n := range bookings {
			if facts := bookings[n].Case.Facts; facts[name] == nil {
				facts[name] = v
			}
		}
	}
	reports := slices.DeleteFunc(slices.Clone(records), func(r *Record) bool { return p.questionnaires.Of(r.Resource) == nil })
	slices.SortFunc(reports, func(a, b *Record) int { return strings.Compare(a.ID, b.ID) })
	for _, r := range reports {
		sorted, ok := p.questionnaires.Of(r.Resource).Sort(r.Resource, r.Updated, f.Calendar)
		b, opening := lastOperated(bookings, r.Updated, f.Calendar), "The person reported after going home"
		if b == nil {
			b, opening = concerned(bookings, r.Updated, f.Calendar), "The person reported, and no operation that has taken place is known here"
		}
		if ok && b != nil {
			b.Case.Raised = append(b.Case.Raised, readiness.Raised{
				Trigger: sorted.Trigger, Key: reportKey(r), At: r.Updated,
				Why: opening + p.questionnaires.Of(r.Resource).reported(r, f),
			})
		}
	}
}

// reportKey names one version of a report: what is corrected is read again.
func reportKey(r *Record) string {
	return r.Ref() + "/_history/" + r.String("meta", "versionId")
}

// lastOperated is the booking of the latest operation that had begun at a
// moment; nil when there is none.
func lastOperated(bookings []Booking, at time.Time, cal *calendar.Calendar) *Booking {
	var last *Booking
	for n := range bookings {
		b := &bookings[n]
		c := &b.Case
		if !b.Meets || c.Ending != readiness.Running || c.Day.IsZero() || c.Day > cal.DateOf(at) ||
			c.Left.IsZero() && !c.Start.IsZero() && at.Before(c.Start) {
			continue
		}
		if last == nil || b.Opens && !last.Opens || b.Opens == last.Opens && c.Day > last.Case.Day {
			last = b
		}
	}
	return last
}

// concerned is the booking that a report is put to where no operation is known to
// have begun: what is known may be wrong, and whoever reports chest pain before the
// day or after it was called off has to be called back all the same. It is the
// nearest of those that stand, else of those that were called off; nil where there
// is none.
func concerned(bookings []Booking, at time.Time, cal *calendar.Calendar) *Booking {
	var near *Booking
	far := func(b *Booking) [3]int {
		out := [3]int{}
		if b.Case.Ending != readiness.Running {
			out[0] = 1
		}
		if b.Case.Day.IsZero() {
			out[1] = 1
		}
		out[2] = max(int(b.Case.Day-cal.DateOf(at)), int(cal.DateOf(at)-b.Case.Day))
		return out
	}
	for n := range bookings {
		b := &bookings[n]
		if !b.Meets && b.Case.Ending == readiness.Running {
			continue
		}
		if near == nil {
			near = b
			continue
		}
		was, is := far(near), far(b)
		if slices.Compare(is[:], was[:]) < 0 {
			near = b
		}
	}
	return near
}

// Raises reports whether the protocol has a step that an event brings in.
func (p *Protocol) Raises(trigger string) bool {
	return slices.ContainsFunc(p.Steps, func(s readiness.Step) bool { return s.Trigger == trigger })
}

// authored is when a response was filled in; zero when it does not say.
func (f Facility) authored(r *Record) time.Time {
	s := r.String("authored")
	if at := f.instant(s); !at.IsZero() {
		return at
	}
	return f.Calendar.StartOf(f.day(s))
}

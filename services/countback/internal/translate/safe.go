package translate

import (
	"slices"
	"strings"
	"time"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// SafeAnswer is what a question about other days is answered from.
type SafeAnswer struct {
	Case  *readiness.Case // as it is booked
	Plan  *readiness.Plan // of it
	Safe  readiness.Safe  // ditto
	Holds []HoldView      // ditto
	Now   time.Time
	// IfAsked is which day could be met if musts in doubt turned out to apply that
	// are too late for the booked day; nil: none is.
	IfAsked *readiness.IfAsked
}

// SafeParameters writes the answer to "if not that day, when?" as the operation
// $earliest-safe-date gives it.
func (f Facility) SafeParameters(a SafeAnswer, p *Protocol) ([]byte, error) {
	out := fhir.NewParameters()
	if !a.Safe.Day.IsZero() {
		out.Add(dayOf(&a.Safe))
	}
	out.Add(fhir.Parameter{Name: "run", ValueInteger: &a.Safe.Run})
	if !a.Safe.InTime.IsZero() {
		out.Add(dateParameter("in-time-from", a.Safe.InTime))
	}
	if !a.Safe.Fails.IsZero() {
		out.Add(dateParameter("fails-again", a.Safe.Fails))
	}
	out.Add(dateParameter("tried-until", f.Today(a.Now).Add(p.Horizon)))
	if !a.Plan.Day.IsZero() {
		out.Add(f.bookedDay(a, p))
	}
	for _, o := range a.Safe.Obstacles {
		out.Add(f.obstacle(o, a, p))
	}
	for _, d := range a.Safe.Unknown {
		out.Add(f.doubt(d, p))
	}
	for _, o := range a.Safe.Pressing {
		out.Add(f.pressing("if-done", o, p))
	}
	for _, o := range a.Safe.Anyway {
		out.Add(f.pressing("late-anyway", o, p))
	}
	if a.IfAsked != nil {
		out.Add(p.ifAsked(a.IfAsked))
	}
	for _, words := range f.otherDays(a.Plan, OtherDays{&a.Safe, a.IfAsked}, p) {
		out.Add(stringParameter("words", words))
	}
	out.Add(stringParameter("notice", p.notice()))
	return fhir.Marshal(out)
}

// dayOf is the day of an answer. One that rests on what nobody knows has another
// name, so that no reader takes it for a day that can be met.
func dayOf(s *readiness.Safe) fhir.Parameter {
	if s.Conditional() {
		return dateParameter("not-before", s.Day)
	}
	return dateParameter("day", s.Day)
}

// ifAsked names the steps that may apply too late, and the day if they do.
func (p *Protocol) ifAsked(a *readiness.IfAsked) fhir.Parameter {
	out := fhir.Parameter{Name: "if-applies"}
	for _, k := range a.Keys {
		out.Part = append(out.Part, p.named(k)...)
	}
	if !a.Safe.Day.IsZero() {
		out.Part = append(out.Part, dayOf(&a.Safe))
	}
	out.Part = append(out.Part, fhir.Parameter{Name: "run", ValueInteger: &a.Safe.Run}, stringParameter("words", ifAskedWords(a, p)))
	return out
}

// bookedDay says whether the day that stands is an operating day, every must can
// still be met for it, and nothing holds it.
func (f Facility) bookedDay(a SafeAnswer, p *Protocol) fhir.Parameter {
	pl := a.Plan
	closed := f.closed(pl.Day)
	met := len(pl.Infeasible) == 0 && pl.State != readiness.CaseHeld && closed == ""
	out := fhir.Parameter{Name: "booked-day", Part: []fhir.Parameter{
		dateParameter("day", pl.Day), {Name: "met", ValueBoolean: &met},
	}}
	if closed != "" {
		out.Part = append(out.Part, stringParameter("why", closed))
	}
	for _, h := range a.Holds {
		if h.Ended == "" {
			out.Part = append(out.Part, stringParameter("why", h.Sentence()))
		}
	}
	for _, r := range pl.Infeasible {
		out.Part = append(out.Part, stringParameter("why", infeasible(pl, r, p)))
	}
	return out
}

func (f Facility) obstacle(o readiness.Obstacle, a SafeAnswer, p *Protocol) fhir.Parameter {
	out := fhir.Parameter{Name: "obstacle", Part: p.named(o.Key)}
	if !o.Clear.IsZero() {
		name := "clear"
		if o.Assumed {
			name = "not-before"
		}
		out.Part = append(out.Part, dateParameter(name, o.Clear))
	}
	if o.Ground != "" {
		out.Part = append(out.Part, stringParameter("why", strings.ToUpper(o.Ground[:1])+o.Ground[1:]+"."))
	} else if s, ok := o.Stands(a.Case, p.Protocol, f.Calendar, a.Now); ok {
		out.Part = append(out.Part, stringParameter("why",
			"With surgery on "+s.Plan.Day.Format(dayWords)+": "+infeasible(s.Plan, s.Reason, p)))
	}
	return out
}

func (f Facility) doubt(d readiness.Doubt, p *Protocol) fhir.Parameter {
	out := fhir.Parameter{Name: "unknown", Part: p.named(d.Key)}
	for _, need := range d.Needs {
		out.Part = append(out.Part, stringParameter("needs", need))
	}
	out.Part = append(out.Part, f.momentParameter("by", d.By)...)
	return out
}

// pressing is a must that has to be done for the day of the answer to hold, or on
// any day.
func (f Facility) pressing(name string, o readiness.Pressing, p *Protocol) fhir.Parameter {
	parts := slices.Concat(p.named(o.Key), f.momentParameter("due", o.Due), f.momentParameter("by", o.By))
	return fhir.Parameter{Name: name, Part: parts}
}

// momentParameter is a moment as a date or an instant; none for no moment.
func (f Facility) momentParameter(name string, m readiness.Moment) []fhir.Parameter {
	out, at := fhir.Parameter{Name: name}, f.written(m)
	switch {
	case m.IsZero():
		return nil
	case m.At.IsZero():
		out.ValueDate = &at
	default:
		out.ValueDateTime = &at
	}
	return []fhir.Parameter{out}
}

// named are the parts that name a step.
func (p *Protocol) named(k readiness.Key) []fhir.Parameter {
	title := k.Step
	if s := p.Step(k.Step); s != nil && s.Title != "" {
		title = s.Title
	}
	return []fhir.Parameter{{Name: "step", ValueCode: &k.Step}, stringParameter("title", title)}
}

// notice is what stands on everything that people may act from.
func (p *Protocol) notice() string {
	if p.Approved {
		return Caution
	}
	return strings.Join([]string{ExampleNotice, Caution}, " ")
}

func dateParameter(name string, d calendar.Date) fhir.Parameter {
	s := d.String()
	return fhir.Parameter{Name: name, ValueDate: &s}
}

func stringParameter(name, s string) fhir.Parameter {
	return fhir.Parameter{Name: name, ValueString: &s}
}

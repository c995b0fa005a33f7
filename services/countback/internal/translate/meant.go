package translate

import (
	"encoding/json"
	"slices"
	"time"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// What a person answers who is asked which records belong together: codes of
// Task.output.type.
const (
	// OutputMeant names the one that is meant, of those in the inputs of the Task,
	// as valueReference.
	OutputMeant = "meant-record"
	// OutputNone says that it is none of them, as valueBoolean true.
	OutputNone = "none-of-them"
)

// InputChoice is the code of a Task.input that names a record between which and
// others a person is asked to choose, as valueReference.
const InputChoice = "may-be-meant"

// MeantNone is Work.Meant where a person said that it is none of the records.
const MeantNone = "none"

// Said is what a person said of a booking and a record: that they belong together,
// or that they do not.
type Said struct {
	Booking, Record string // references
	Belongs         bool
	At              time.Time
}

// Asks is a question which records belong to a booking.
type Asks struct {
	Key     string
	Choices []string // the references between which a person chooses
	shared  []string // where the choices are appointments: the procedures that they all name
}

// Answer is what a choice says; MeantNone: that it is none of them.
func (a *Asks) Answer(booking, choice string, at time.Time) []Said {
	var out []Said
	for _, c := range a.Choices {
		if a.shared == nil {
			out = append(out, Said{Booking: booking, Record: c, Belongs: c == choice, At: at})
		}
		for _, p := range a.shared {
			out = append(out, Said{Booking: c, Record: p, Belongs: c == choice, At: at})
		}
	}
	return out
}

// open reports whether what is raised of a booking's records is no question that
// was answered.
func (b *Booking) open(r *readiness.Raised) bool {
	return len(r.Among) == 0 || b.Asks != nil && b.Asks.Key == r.Key
}

// said is what a person said of whether a record belongs to an appointment. That
// one does not means nothing any more once the one that does was entered in error,
// or is gone: then it may be any of them again.
func (l *linker) said(a, r *Record) readiness.Answer {
	n := slices.IndexFunc(a.Said, func(s Said) bool { return s.Record == r.Ref() })
	switch {
	case n < 0:
		return readiness.Unknown
	case a.Said[n].Belongs:
		return readiness.Yes
	}
	for _, s := range a.Said {
		stands := func(o *Record) bool { return o.Ref() == s.Record && !o.inError() }
		if s.Belongs && !slices.ContainsFunc(l.procedures, stands) && !slices.ContainsFunc(l.requests, stands) {
			return readiness.Unknown
		}
	}
	return readiness.No
}

// lastSaid is when a person last said anything of the records of a booking.
func lastSaid(a *Record) time.Time {
	var last time.Time
	for _, s := range a.Said {
		if s.At.After(last) {
			last = s.At
		}
	}
	return last
}

// asks is what a person is asked about a booking, and since when. What is asked
// after an answer is another question.
func (g *group) asks(p *Protocol, primary string) (*Asks, time.Time) {
	a := &Asks{Key: primary}
	at := g.told()
	if last := lastSaid(g.all()[0]); !last.IsZero() {
		a.Key += "/after/" + last.UTC().Format(time.RFC3339Nano)
		if last.After(at) {
			at = last
		}
	}
	switch {
	case len(g.unclear) > 0:
		for _, r := range g.unclear {
			a.Choices = append(a.Choices, r.Ref())
		}
	case len(g.rivals) > 0:
		a.Choices = g.rivals
		for _, r := range g.contested {
			a.shared = append(a.shared, r.Ref())
		}
	case p.factsOf(g.all()[:1])["joint"] == nil: // a hip and a knee
		for _, r := range slices.Concat(g.procedures, g.requests) {
			if p.factsOf([]*Record{r})["joint"] != nil {
				a.Choices = append(a.Choices, r.Ref())
			}
		}
	}
	if len(g.unclear) == 0 && len(a.Choices) < 2 { // there is nothing to choose between
		a.Choices = nil
	}
	return a, at
}

// share marks the bookings that stand and lay claim to one procedure.
func share(groups []group) {
	claims := map[*Record][]string{}
	for n := range groups {
		for _, p := range groups[n].procedures {
			if !ended(groups[n].appointment) {
				claims[p] = append(claims[p], groups[n].appointment.Ref())
			}
		}
	}
	for n := range groups {
		g := &groups[n]
		for _, p := range g.procedures {
			if len(claims[p]) < 2 || ended(g.appointment) {
				continue
			}
			g.contested = append(g.contested, p)
			for _, a := range claims[p] {
				if !slices.Contains(g.rivals, a) {
					g.rivals = append(g.rivals, a)
				}
			}
		}
	}
}

// meant takes what a person answers who was asked which record is meant.
func meant(w *Work, sent *fhir.Resource, item *readiness.Item) fhir.Issues {
	var named []string
	none := false
	for _, out := range sent.Get("output").Items() {
		switch outputCode(out) {
		case OutputMeant:
			named = append(named, out.String("valueReference", "reference"))
		case OutputNone:
			none = none || out.Get("valueBoolean").Bool()
		}
	}
	var choices []string
	if item.Raised != nil {
		choices = item.Raised.Among
	}
	kind := "(type " + SystemOutput + "|" + OutputMeant + ", valueReference)"
	switch {
	case len(choices) == 0 && len(named) == 0 && !none:
		return nil
	case len(choices) == 0:
		return refuse("output", "business-rule", "Task.output: this step does not ask which record is meant")
	case len(named) == 0 && !none:
		return refuse("output", "required", "Task.output is missing: name the record that is meant, one of those in Task.input "+kind+", or say that it is none of them (type "+OutputNone+", valueBoolean true, with statusReason.text)")
	case len(named) > 1 || none && len(named) > 0:
		return refuse("output", "business-rule", "Task.output contradicts itself: one record is meant, or none of them")
	case none && reasonText(sent) == "":
		return refuse("statusReason.text", "required", "Task.statusReason.text is missing: say how you know that it is none of them")
	case none:
		w.Meant = MeantNone
	case !slices.Contains(choices, named[0]):
		return refuse("output", "business-rule", "Task.output "+OutputMeant+" names none of the records in Task.input "+kind)
	default:
		w.Meant = named[0]
	}
	w.Reason = reasonText(sent)
	return nil
}

// answered reports whether an output is a signature or an answer of ours.
func answered(raw json.RawMessage) bool {
	var out struct {
		Type struct {
			Coding []struct{ System, Code string }
		}
	}
	if json.Unmarshal(raw, &out) != nil {
		return false
	}
	for _, c := range out.Type.Coding {
		if c.System == SystemOutput && (slices.Contains([]string{OutputLastDose, OutputDecision, OutputDoseWords, OutputMeant, OutputNone, OutputAgreed}, c.Code) || reports(c.Code)) {
			return true
		}
	}
	return false
}

// OperationOf is the operation that a record says by itself, in words.
func (p *Protocol) OperationOf(r *Record) string { return operation(p.factsOf([]*Record{r})) }

// OnDay is the day on which a record says that it is; zero: it does not say.
func (f Facility) OnDay(r *Record) string {
	for _, name := range []string{"start", "occurrenceDateTime"} {
		if d := f.day(r.String(name)); !d.IsZero() {
			return d.String()
		}
	}
	return f.performed(r).String()
}

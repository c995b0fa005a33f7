package translate

import (
	"encoding/json"
	"slices"
	"strings"
	"time"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// What a prescriber signs on the Task of a medicine: codes of Task.output.type.
const (
	// OutputLastDose is a last dose, as valueDate or valueDateTime.
	OutputLastDose = "last-dose"
	// OutputDecision is what becomes of the medicine: a code of SystemDecision, as
	// valueCodeableConcept, valueCoding or valueCode.
	OutputDecision = "medicine-decision"
	// OutputDoseWords is the dose in which it is taken, in the prescriber's own words
	// for the person, as valueString: beside the decision readiness.DecidedOtherDose.
	OutputDoseWords = "dose-words"
)

// SystemDecision is the code system of what may be decided for a medicine.
const SystemDecision = Base + "/CodeSystem/medicine-decision"

// DecisionLastDose is the code for a last dose: the one in OutputLastDose, else
// the advised one. The others are the readiness.Decision constants.
const DecisionLastDose = "last-dose"

// signing is what a Task's output signs.
type signing struct {
	decision string // empty: none is named
	last     readiness.Moment
	doses    int      // outputs with a last dose
	choices  int      // outputs with a decision
	words    []string // of outputs with the dose in words
}

// LastDose is the last dose that a person's work signs; zero: none, or the
// advised one.
func (f Facility) LastDose(w *Work) readiness.Moment {
	if w == nil {
		return readiness.Moment{}
	}
	return f.moment(w.Signed)
}

// signing reads what is signed; it judges the values only one by one.
func (f Facility) signing(sent *fhir.Resource, o WorkOptions) (signing, fhir.Issues) {
	var s signing
	for _, out := range sent.Get("output").Items() {
		switch outputCode(out) {
		case OutputLastDose:
			s.doses++
			s.last = f.momentOf(out.String("valueDateTime"))
			if s.last.IsZero() {
				s.last = readiness.Moment{Day: f.day(out.String("valueDate"))}
			}
			if issues := s.dosed(o); len(issues) > 0 {
				return s, issues
			}
		case OutputDoseWords:
			s.words = append(s.words, strings.TrimSpace(out.String("valueString")))
		case OutputDecision:
			s.choices++
			switch s.decision = decisionIn(out); s.decision {
			case DecisionLastDose, string(readiness.DecidedGoOn), string(readiness.DecidedNotTaken), string(readiness.DecidedOtherDose):
			default:
				return s, refuse("output", "code-invalid", "Task.output "+OutputDecision+" must be one of last-dose, go-on, not-taken, other-dose of "+SystemDecision+", as valueCodeableConcept, valueCoding or valueCode")
			}
		}
	}
	return s, nil
}

// dosed refuses a last dose that names no day, or lies after the operation.
func (s *signing) dosed(o WorkOptions) fhir.Issues {
	surgery, _ := calendar.ParseDate(o.Snapshot[readiness.DetailDate])
	start, err := time.Parse(time.RFC3339, o.Snapshot[readiness.DetailTime])
	switch {
	case s.last.IsZero():
		return refuse("output", "value", "Task.output last-dose must name at least a day, as valueDate or valueDateTime")
	case !surgery.IsZero() && s.last.Day > surgery:
		return refuse("output", "business-rule", "Task.output last-dose lies after the day of surgery")
	case err == nil && !s.last.At.IsZero() && s.last.At.After(start):
		return refuse("output", "business-rule", "Task.output last-dose lies after the start of anaesthesia")
	}
	return nil
}

// outputCode is the code of ours in an output's type; empty when it has none.
func outputCode(out *fhir.Node) string {
	for _, c := range out.Get("type", "coding").Items() {
		if c.String("system") == SystemOutput {
			return c.String("code")
		}
	}
	return ""
}

func decisionIn(out *fhir.Node) string {
	for _, c := range append(codings(out.Get("valueCodeableConcept")), out.Get("valueCoding")) {
		if c.String("system") == SystemDecision {
			return c.String("code")
		}
	}
	return out.String("valueCode")
}

func codings(concept *fhir.Node) []*fhir.Node {
	var out []*fhir.Node
	for _, c := range concept.Get("coding").Items() {
		out = append(out, c)
	}
	return out
}

// sign takes what a named prescriber signs into the work. A signature says no
// more than it says: with a reason or an output beside it, it must name what is
// decided, and what departs from the advice has a reason.
func (f Facility) sign(w *Work, sent *fhir.Resource, item *readiness.Item, o WorkOptions) fhir.Issues {
	s, issues := f.signing(sent, o)
	switch {
	case len(issues) > 0:
		return issues
	case !item.Step.SignsLastDose() && s.doses+s.choices+len(s.words) > 0:
		return refuse("output", "business-rule", "Task.output: last-dose, medicine-decision and dose-words are a prescriber's signature, and this step signs nothing: say in executionPeriod.end when a dose was taken")
	case !item.Step.SignsLastDose():
		return nil
	case s.choices > 1 || s.doses > 1:
		return refuse("output", "business-rule", "Task.output contradicts itself: one decision and one last dose are signed at most")
	case s.decision != "" && s.decision != DecisionLastDose && s.doses > 0:
		return refuse("output", "business-rule", "Task.output contradicts itself: it names a last dose, and a decision ("+s.decision+") by which there is none")
	case s.decision == "" && s.doses == 0 && (reasonText(sent) != "" || sent.Get("output").Exists()):
		return refuse("output", "business-rule", "Task.output names neither a last dose (type "+SystemOutput+"|"+OutputLastDose+") nor a decision (type "+OutputDecision+", a code of "+SystemDecision+"), and more than a plain signature was given: sign one of them there, or, where nothing is decided, give the status failed with the reason, and no last dose is told to the patient")
	}
	if issues := s.worded(o); len(issues) > 0 {
		return issues
	}
	return f.signs(w, &s, sent, o)
}

// signs judges one decision against the advice.
func (f Facility) signs(w *Work, s *signing, sent *fhir.Resource, o WorkOptions) fhir.Issues {
	reason := reasonText(sent)
	goesOn := s.decision != "" && s.decision != DecisionLastDose
	same := s.last.Day == o.Advised.Day && s.last.At.Equal(o.Advised.At)
	switch {
	case goesOn && reason == "" && !(s.decision == string(readiness.DecidedOtherDose) && o.SetsDose):
		return refuse("statusReason.text", "required", "Task.statusReason.text is missing: say why the medicine goes on or is taken in another dose, or how it is known that it is not taken")
	case !goesOn && s.doses == 0 && o.Advised.IsZero():
		return refuse("output", "required", "Task.output is missing: no last dose is advised for this medicine, so a signature names one (type "+SystemOutput+"|"+OutputLastDose+"), or a decision (type "+OutputDecision+")")
	case s.doses > 0 && !same && reason == "":
		return refuse("statusReason.text", "required", "Task.statusReason.text is missing: say why another last dose is signed than the advised one ("+o.Advised.Words()+")")
	case goesOn:
		w.Decision, w.Words = s.decision, strings.Join(s.words, "")
	default:
		w.Signed = f.written(s.last)
	}
	w.Reason = reason
	return nil
}

// Unsigned takes what was signed, or answered, out of the outputs of a Task that is asked for
// again, so that nobody signs it a second time by sending the Task back.
func Unsigned(outputs json.RawMessage) json.RawMessage {
	var list []json.RawMessage
	if json.Unmarshal(outputs, &list) != nil {
		return outputs
	}
	list = slices.DeleteFunc(list, answered)
	if len(list) == 0 {
		return nil
	}
	out, err := json.Marshal(list)
	if err != nil {
		return outputs
	}
	return out
}

// resigned refuses to change what stands signed: another name, another day and
// another reason are another signature.
func resigned(changed func(string) bool) fhir.Issues {
	for _, name := range []string{"owner", "output", "statusReason"} {
		if changed(name) {
			return refuse(name, "business-rule", "Task."+name+" is part of what was signed: take the signature back first (status requested, with statusReason.text), and sign again")
		}
	}
	return nil
}

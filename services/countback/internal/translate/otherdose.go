package translate

import (
	"slices"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// worded judges what is signed of the dose itself: another one is said in words for
// the person, and of a medicine whose dose is the prescriber's to say nobody signs
// that it goes on as usual.
func (s *signing) worded(o WorkOptions) fhir.Issues {
	other := s.decision == string(readiness.DecidedOtherDose)
	switch {
	case s.decision == string(readiness.DecidedGoOn) && o.SetsDose:
		return refuse("output", "business-rule", "Task.output "+OutputDecision+" go-on: the dose of this medicine around surgery is the prescriber's to say, so it is not signed that it goes on as usual; sign other-dose of "+SystemDecision+", with what the person takes and when in an output of type "+OutputDoseWords+" (valueString)")
	case !other && len(s.words) > 0:
		return refuse("output", "business-rule", "Task.output contradicts itself: "+OutputDoseWords+" belongs to the decision other-dose, and another is signed, or none")
	case len(s.words) > 1:
		return refuse("output", "business-rule", "Task.output contradicts itself: the dose is said in one output of type "+OutputDoseWords)
	case other && (len(s.words) == 0 || s.words[0] == ""):
		return refuse("output", "required", "Task.output "+OutputDoseWords+" is missing: another dose is signed with what the person takes and when, in the prescriber's own words for the person, as valueString beside the decision; the patient's sheet prints these words")
	}
	return nil
}

// otherDoses say of each medicine that is taken in another dose what was signed, and
// by whom.
func otherDoses(pl *readiness.Plan) []string {
	var out []string
	for n := range pl.Items {
		last := &pl.Items[n]
		if last.Decided == "" || !last.Step.TakesLastDose() {
			continue
		}
		signed := slices.ContainsFunc(pl.Items, func(i readiness.Item) bool {
			return i.Key.Repeat == last.Key.Repeat && i.Step.SignsLastDose() && i.State == readiness.StateDone && i.Entry.Decided == readiness.DecidedOtherDose
		})
		if signed && !slices.Contains(out, last.Decided) {
			out = append(out, last.Decided)
		}
	}
	return out
}

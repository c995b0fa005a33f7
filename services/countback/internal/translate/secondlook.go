package translate

import (
	"slices"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// OutputAgreed is the code of a Task.output that says, as a valueBoolean, whether
// a second person agrees with a signature later than the rules give.
const OutputAgreed = "agreed"

// looks takes what a second person says of a signature into the work: that they
// agree, or that they do not and why, with the name of somebody else than who
// signed.
func (f Facility) looks(w *Work, sent *fhir.Resource, item *readiness.Item, o WorkOptions) fhir.Issues {
	if item.Step.Trigger != readiness.TriggerLateSigned {
		return nil
	}
	var said []bool
	for _, out := range sent.Get("output").Items() {
		if outputCode(out) == OutputAgreed && out.Get("valueBoolean").Exists() {
			said = append(said, out.Get("valueBoolean").Bool())
		}
	}
	switch {
	case len(said) == 0:
		return refuse("output", "required", "Task.output is missing: say whether you agree with what was signed (type "+SystemOutput+"|"+OutputAgreed+", valueBoolean); not agreed asks for the signature again")
	case slices.Contains(said, !said[0]):
		return refuse("output", "business-rule", "Task.output contradicts itself: agreed is said once")
	case !said[0] && reasonText(sent) == "":
		return refuse("statusReason.text", "required", "Task.statusReason.text is missing: say why you do not agree with what was signed")
	}
	if issues := another(sent.Bytes(sent.Get("owner")), o.Signer, o, "a second person looks at it"); len(issues) > 0 {
		return issues
	}
	w.Look, w.Reason = string(readiness.Agreed), reasonText(sent)
	if !said[0] {
		w.Look = string(readiness.NotAgreed)
	}
	return nil
}

package translate

import (
	"slices"
	"strings"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// staysAsked refuses a status with which a step would be laid aside that is asked
// until somebody has done it: that nobody was reached does not answer a person who
// reported chest pain. A report that was sent in error is withdrawn where it was made.
func staysAsked(to string, item *readiness.Item) fhir.Issues {
	switch {
	case !item.Step.UntilDone:
		return nil
	case to == "failed":
		return refuse("status", "business-rule", "Task.status failed: this step is asked until somebody has done it, and that it could not be done is no answer; note in Task.note that it was tried, and it stays asked")
	case (to == "rejected" || to == "cancelled") && reportedBy(item):
		return refuse("status", "business-rule", "Task.status "+to+": a report of a person is asked until somebody has answered it; one that was sent in error is withdrawn as a QuestionnaireResponse with the status entered-in-error, and this goes with it")
	}
	return nil
}

// openTo leaves out the moves that are not open to this item, whatever its status.
func openTo(item *readiness.Item, moves []string) []string {
	return slices.DeleteFunc(moves, func(to string) bool { return len(staysAsked(to, item)) > 0 })
}

// reportedBy reports whether the item answers what a person reported, and is a must: a
// hold that answers raised is released, and what may be waived is waived as before.
func reportedBy(item *readiness.Item) bool {
	must := item.Step.Need == readiness.Must || item.Step.Need == readiness.MustToLeave
	return must && item.Step.Trigger != readiness.TriggerHold && item.Raised != nil && strings.HasPrefix(item.Raised.Key, "QuestionnaireResponse/")
}

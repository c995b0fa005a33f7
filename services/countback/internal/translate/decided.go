package translate

import (
	"strings"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// undecided reports whether a step that asks what a prescriber decides does not say
// it: in the reason, or in a note that came with the answer.
func undecided(sent, current *fhir.Resource, s *readiness.Step) bool {
	if !s.AsksPrescriber() || reasonText(sent) != "" {
		return false
	}
	before := map[string]int{}
	for _, n := range current.Get("note").Items() {
		before[n.String("text")]++
	}
	for _, n := range sent.Get("note").Items() {
		text := n.String("text")
		if before[text]--; before[text] < 0 && strings.TrimSpace(text) != "" {
			return false
		}
	}
	return true
}

// stripped refuses to take the name away from what counts only with one.
func stripped(sent *fhir.Resource, s *readiness.Step) fhir.Issues {
	if unnamed(sent, s) || s.Trigger == readiness.TriggerHold && !ownedByPerson(sent.Get("owner")) {
		return refuse("owner", "required", "Task.owner is missing, or names no person: this was recorded with the name of who answers for it, and counts only with one")
	}
	return nil
}

package casework

import (
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/translate"
)

// answers names who answers where nobody else is named: whoever is at the desk says
// what happened, and which record is meant. What a prescriber decided on a medicine
// is the reason of its Task.
func (a *Act) answers(s *readiness.Step) {
	asked := s.Trigger == translate.TriggerUnclear || s.Trigger == readiness.TriggerUnreported
	if asked && (a.Does == ActDone || a.Does == ActHappened) && a.Owner == "" {
		a.Owner = a.By
	}
	if s.AsksPrescriber() && a.Does == ActDone && a.Reason == "" {
		a.Reason, a.Text = a.Text, ""
	}
}

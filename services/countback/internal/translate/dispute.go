package translate

import (
	"slices"
	"time"

	"example.org/countback/pkg/readiness"
)

// disputes asks a person about what the booking rests on and its source says in
// two ways at once: one of the two is used, always the same, but no rule can know
// which is right. A dispute about another booking of the person is not asked here.
func (b *Booking) disputes(records []*Record) {
	if b.Case.Ending != readiness.Running {
		return
	}
	for _, r := range records {
		if r.Disputed.IsZero() || bookings[r.Type] && !slices.Contains(b.Members, r.Ref()) {
			continue
		}
		b.Case.Raised = append(b.Case.Raised, readiness.Raised{
			Trigger: TriggerUnclear, Key: "conflict/" + r.Ref() + "/" + r.Disputed.UTC().Format(time.RFC3339Nano), At: r.Disputed,
			Why: "The source sent two " + r.Type + " messages of one and the same time that do not agree; one of them is used, and a person is asked which is right.",
		})
	}
}

// bookings are the types that a booking is told by.
var bookings = map[string]bool{"Appointment": true, "Procedure": true, "ServiceRequest": true, "Encounter": true}

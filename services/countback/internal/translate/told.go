package translate

import "example.org/countback/pkg/readiness"

// Operation says the operation in words, from the facts of its booking.
func Operation(facts map[string]any) string { return operation(facts) }

// SafeWords says which day can be met, what stands in the way until then, and
// what the answer rests on.
func SafeWords(s *readiness.Safe, p *Protocol) []string { return safeWords(s, 0, p) }

// Infeasible says why a must of the plan cannot be met.
func Infeasible(pl *readiness.Plan, r readiness.Reason, p *Protocol) string {
	return infeasible(pl, r, p)
}

package translate

import (
	"fmt"
	"slices"
	"strings"

	"example.org/countback/pkg/readiness"
)

// Operation says the operation in words, from the facts of its booking.
func Operation(facts map[string]any) string { return operation(facts) }

// SafeWords says which days can be met, what stands in the way until then, and
// what the answer rests on.
func SafeWords(s *readiness.Safe, p *Protocol) []string { return safeWords(s, 0, p) }

// SafeBrief says the same days in short, for where what they rest on stands beside
// them.
func SafeBrief(s *readiness.Safe, p *Protocol) []string {
	if s.Day.IsZero() {
		return daysWords(s, p, "")
	}
	return daysWords(s, p, earliestBrief(s))
}

// OfOtherDays reports whether a sentence of a plan is one of [SafeWords], be it of
// another moment.
func OfOtherDays(words string) bool {
	return slices.ContainsFunc([]string{
		usualFrom, knownFrom, usualNever, noDay, earliestIs, usualEarliest, failsFrom, eachReason,
	}, func(start string) bool { return strings.HasPrefix(words, start) })
}

// PressesWords says how many musts press for a day, and until when there is time for
// the first; empty where none does.
func PressesWords(list []readiness.Pressing) string {
	var first readiness.Moment
	for _, o := range list {
		if !o.By.IsZero() && (first.IsZero() || o.By.Day < first.Day) {
			first = o.By
		}
	}
	out := "1 must that is late or soon due is still to be done"
	if len(list) != 1 {
		out = fmt.Sprintf("%d musts that are late or soon due are still to be done", len(list))
	}
	switch {
	case len(list) == 0:
		return ""
	case first.IsZero():
		return out + "."
	case len(list) == 1:
		return out + ", by " + first.Words() + "."
	}
	return out + ", the first by " + first.Words() + "."
}

// Infeasible says why a must of the plan cannot be met.
func Infeasible(pl *readiness.Plan, r readiness.Reason, p *Protocol) string {
	return infeasible(pl, r, p)
}

package translate

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// A booking without a date has no next operating day, and the plan of one is
// still written: the search for a day must end.
func TestNoNextOperatingDayWithoutADate(t *testing.T) {
	f := chicago(t)
	require.True(t, f.nextOperating(0).IsZero())
	words := f.safeWords(&readiness.Plan{State: readiness.CaseHeld}, &readiness.Safe{}, defaultProtocol(t))
	require.NotContains(t, words, "The next operating day")
}

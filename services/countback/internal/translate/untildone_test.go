package translate

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// What a person must decide, and what stands in the way of harm, is asked until it
// is done: every such step of the default protocol, and no step of the plan itself.
// Which they are is a decision of ours: common practice, no source.
func TestWhichStepsAreAskedUntilDone(t *testing.T) {
	var got, notSo []string
	for _, s := range defaultProtocol(t).Steps {
		switch {
		case s.UntilDone:
			require.NotEmpty(t, s.Trigger, s.Code)
			got = append(got, s.Code)
		case s.Trigger != "":
			notSo = append(notSo, s.Code)
		}
	}
	require.ElementsMatch(t, []string{
		"symptom-report-now", "symptom-report-today", "symptom-report-on-call", "symptom-report", "infection-after-surgery", "tell-the-new-day",
		"clear-hold", "confirm-what-happened", "look-at-late-dose", "restart-or-bridge", "stop-day-while-held", "ask-about-record", "link-booking",
	}, got)
	require.ElementsMatch(t, []string{"ask-for-another-day", "risk-flag"}, notSo, "a day can be declined, and an offer too")
}

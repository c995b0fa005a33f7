package casework

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
)

// The call before surgery is made on the business day before. If it must be made
// two days before at the latest, there is time for it before a Monday and none
// before a Tuesday: the protocol is not refused, and whoever brings it is told.
func TestWindowsThatAreEmptyOnSomeDatesAreTold(t *testing.T) {
	_, text, err := Definitions()
	require.NoError(t, err)
	h := newHouse(t)
	body := signedText(t, "1.1.0", lastDay(t, string(text), "arrival-call", 2)...)
	said := h.preview(body, 0)
	require.True(t, said.Adoptable)
	require.Len(t, said.Issues, 1)
	require.Equal(t, fhir.SeverityWarning, said.Issues[0].Severity)
	require.Regexp(t, `^PlanDefinition\.action\[\d+\]$`, said.Issues[0].Expression)
	require.True(t, strings.HasPrefix(said.Issues[0].Text, "arrival-call has an empty window for some dates: with surgery on Tue 2 Jan 2024 and the holidays "), said.Issues[0].Text)
	require.Equal(t, said.Issues[0].Text, h.adopt(body).Note)
	require.Empty(t, h.preview(signedText(t, "1.2.0"), 0).Issues, "the default protocol leaves time in every calendar")
}

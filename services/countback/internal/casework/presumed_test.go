package casework

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Where nobody reports it, the clock stands for arrival and discharge, and the plan
// says so until somebody does. A worrying message meanwhile is as urgent as ever.
func TestWhatIsOnlyPresumedIsSaid(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	says := func() string { return h.get("CarePlan/"+b.plan).String("text", "div") }
	h.tick(surgery + " 06:00")
	require.NotContains(t, says(), "By the clock alone")

	h.tick(surgery + " 18:00")
	require.Equal(t, "arrived", h.caseRow(b.plan).State)
	require.Contains(t, says(), "By the clock alone: nobody has reported that the person came, or that the operation began. Confirm it.")

	h.tick("2027-01-13 09:00")
	require.Equal(t, "home", h.caseRow(b.plan).State)
	require.Contains(t, says(), "By the clock alone: nobody has reported that the operation took place, or that the person is home. Confirm both.")
	r := filled(t, symptoms, b.patient, "2027-01-13 08:50", no, map[string]any{"chest-pain": yes})
	sent := h.put("QuestionnaireResponse?identifier=https://forms.larkspindle.example/filled|"+symptoms, r)
	require.Contains(t, sent.Advice, "local emergency number")
	require.Equal(t, "-now due requested", h.reports(b.plan))

	// Somebody reports the arrival, and then the discharge.
	h.store(stay("1", b.patient, b.appointment, "arrived", surgery+" 07:00", ""))
	require.Equal(t, "arrived", h.caseRow(b.plan).State)
	require.NotContains(t, says(), "By the clock alone")
	h.store(stay("1", b.patient, b.appointment, "finished", surgery+" 07:00", "2027-01-12 12:00"))
	require.Equal(t, "home", h.caseRow(b.plan).State)
	require.NotContains(t, says(), "By the clock alone")
}

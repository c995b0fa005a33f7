package casework

import (
	"context"
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
	h.letGo(b.plan)
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

// Time ends no hold: a case of which evidence was missing stays held when its hour
// and the days after it pass, and says that nobody has reported anything. A
// worrying message is as urgent as ever, and what is asked of people at home opens
// on its days. That the person came ends what only waited for evidence.
func TestTimeEndsNoHold(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	says := func() string { return h.get("CarePlan/"+b.plan).String("text", "div") }
	h.tick(surgery + " 09:59")
	require.Equal(t, []string{"evidence-missing"}, h.kinds(b.patient))
	require.NotContains(t, says(), "The hour of the operation has passed")
	handout, err := h.office.Handout(context.Background(), b.plan)
	require.NoError(t, err)
	require.False(t, handout.Unreported)

	for _, when := range []string{surgery + " 10:00", "2027-01-13 09:00", "2027-02-20 09:00"} {
		h.tick(when)
		require.Equal(t, "held", h.caseRow(b.plan).State, when)
		require.Equal(t, []string{"evidence-missing"}, h.kinds(b.patient))
		require.Contains(t, says(), "The hour of the operation has passed, and nobody has reported whether it took place.")
		require.NotContains(t, says(), "By the clock alone")
	}
	handout, err = h.office.Handout(context.Background(), b.plan)
	require.NoError(t, err)
	require.True(t, handout.Unreported)
	require.Equal(t, "open", h.step(b.plan, "clinic-visit").State)
	r := filled(t, symptoms, b.patient, "2027-02-20 08:50", no, map[string]any{"chest-pain": yes})
	sent := h.put("QuestionnaireResponse?identifier=https://forms.larkspindle.example/filled|"+symptoms, r)
	require.Contains(t, sent.Advice, "local emergency number")
	require.Equal(t, "-now due requested", h.reports(b.plan))
	m, err := h.office.Morning(context.Background(), MorningOptions{Rows: 5})
	require.NoError(t, err)
	require.EqualValues(t, 1, m.Passed.Total)
	require.Equal(t, ListNow, m.Lists[0].Name)
	require.Len(t, m.Lists[0].Items, 1)

	h.store(stay("1", b.patient, b.appointment, "arrived", surgery+" 07:00", ""))
	require.Equal(t, "arrived", h.caseRow(b.plan).State)
	require.Empty(t, h.kinds(b.patient))
	require.Contains(t, string(h.flags(b.patient)[0].Raw), "Ended: the person came, and the hour of the operation is past.")
	require.NotContains(t, says(), "The hour of the operation has passed")
}

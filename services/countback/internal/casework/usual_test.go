package casework

import (
	"bytes"
	"context"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/sheet"
	"example.org/countback/services/countback/internal/translate"
)

// Who takes only everyday medicines, which published guidance lets go on (each
// rule names its source), needs no prescriber for them: they are listed for the
// review, nothing waits for a signature and nothing is held, and the sheet names
// them without a word on what to do but to ask before anything is changed.
func TestOnlyEverydayMedicines(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	for n, code := range []string{"10582", "40790", "4278", "161", "69120", "17767", "43611"} {
		m := takes(string(rune('1'+n)), b.patient, code, "medicine "+code)
		h.put(by(m), m)
	}
	review := h.advice(b.plan, "medicine-review")
	for _, code := range []string{"10582", "40790", "4278", "161", "69120", "17767", "43611"} {
		require.Contains(t, review, "Medicine "+code+": goes on as usual.")
	}
	require.NotContains(t, review, "No rule here knows")
	require.Contains(t, review, readiness.MedicineCaution)
	for _, i := range h.items(b.plan) {
		require.NotContains(t, []string{"medicine-sign-off", "medicine-stop", "medicine-restart"}, i.Step)
	}
	out, err := h.office.Handout(context.Background(), b.plan)
	require.NoError(t, err)
	require.Empty(t, out.GoesOn)
	require.False(t, slices.ContainsFunc(out.Lines, func(l translate.HandoutLine) bool {
		return l.Part == translate.PartMedicine && l.Item.Applies == readiness.Yes
	}))
	sentences, err := sheet.Load()
	require.NoError(t, err)
	page, err := sentences.Page(out, sheet.Options{PrintedOn: out.Day.Add(-30)})
	require.NoError(t, err)
	require.Len(t, page.Medicines, 1)
	require.Equal(t, "No change is signed for this. Ask before you change anything.", page.Medicines[0].Text)
	require.False(t, page.Medicines[0].Signed)
	var text bytes.Buffer
	require.NoError(t, page.WriteHTML(&text))
	require.Contains(t, text.String(), "Do not stop, start or change a medicine by yourself.")
	require.Contains(t, text.String(), "Medicine 10582, Medicine 40790")

	h.set("2026-12-15 09:00")
	h.work(b.plan, "medicine-review", done(""))
	h.tick("2027-01-08 00:00")
	require.NotContains(t, h.kinds(b.patient), "medicine-timing")

	m := takes("9", b.patient, "7804", "oxycodone")
	h.put(by(m), m)
	require.NotEmpty(t, h.step(b.plan, "medicine-sign-off").ID, "what no rule knows is still decided on")
}

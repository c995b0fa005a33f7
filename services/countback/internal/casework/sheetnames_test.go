package casework

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/translate"
)

// What a sheet is made from names every medicine on record: with what a named
// prescriber signed, or that nobody has. What the rules let go on is signed by
// nobody, and is named too; of one kind, each product.
func TestAHandoutNamesEveryMedicine(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	for n, m := range []struct{ code, text string }{
		{"1364430", "Apixaban"}, {"1191", "Aspirin"}, {"274783", "Insulin glargine"}, {"86009", "Insulin lispro"},
	} {
		r := takes(string(rune('1'+n)), b.patient, m.code, m.text)
		h.put(by(r), r)
	}
	drops := res{
		"resourceType": "MedicationStatement", "identifier": numbered(staySystem, "M-9"), "status": "active",
		"medicationCodeableConcept": res{"text": "grandmother's drops"}, "subject": ref(b.patient),
	}
	h.put(by(drops), drops)
	h.set("2026-12-15 09:00")
	h.work(b.plan, "medicine-review", done(""))
	listed := []translate.Listed{{Medicine: "Apixaban", Asked: true}, {Medicine: "Aspirin"}, {Medicine: "Insulin glargine and Insulin lispro", Asked: true}, {Medicine: "Grandmother's drops", Asked: true}}
	out, err := h.office.Handout(t.Context(), b.plan)
	require.NoError(t, err)
	require.ElementsMatch(t, listed, out.Listed)
	require.Empty(t, out.GoesOn)
	require.Empty(t, out.NotTaken)

	sign := func(medicine string, edits ...edit) {
		for _, i := range h.items(b.plan) {
			if i.Step == "medicine-sign-off" && strings.HasPrefix(extensionTexts(h.get("Task/"+i.ID), "medicine-advice"), medicine) {
				_, err := h.tryWork(i.ID, append([]edit{done(""), named("Dr Corvan Stillmarch")}, edits...)...)
				require.NoError(t, err)
			}
		}
	}
	sign("Apixaban", set("output", []res{lastDose("2027-01-07")}), whyText("Local policy"))
	sign("Insulin", set("output", []res{decides("other-dose"), inWords("Half of it on the evening before.")}))
	sign("Grandmother", set("output", []res{decides("not-taken")}), whyText("Says so"))
	out, err = h.office.Handout(t.Context(), b.plan)
	require.NoError(t, err)
	require.ElementsMatch(t, listed, out.Listed)
	require.Equal(t, []translate.GoesOn{{Medicine: "Insulin glargine and Insulin lispro", SignedBy: "Dr Corvan Stillmarch", Words: "Half of it on the evening before."}}, out.OtherDose)
	require.Empty(t, out.GoesOn)
	require.Equal(t, []translate.GoesOn{{Medicine: "Grandmother's drops", SignedBy: "Dr Corvan Stillmarch"}}, out.NotTaken)
	signed := map[string]string{}
	for _, l := range out.Lines {
		if l.Part == translate.PartMedicine && l.SignedBy != "" {
			signed[l.Medicine] = l.SignedBy
		}
	}
	require.Equal(t, map[string]string{"Apixaban": "Dr Corvan Stillmarch"}, signed)
}

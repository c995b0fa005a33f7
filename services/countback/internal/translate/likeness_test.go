package translate

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// What is only written in words gets no rule; where the words name an ingredient
// that a rule knows, the reviewer is asked.
func TestWordsThatNameAnIngredient(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	for _, r := range []struct{ text, like string }{
		{"Apixaban 5 mg twice a day", "apixaban"},
		{"APIXABAN-5MG", "apixaban"},
		{"insulin glargine 20 units at night", "insulin glargine"},
		{"insulin", "insulin"},
		{"aspirin and clopidogrel", "aspirin and clopidogrel"},
		{"warfarin sodium", "warfarin"},
		{"bexagliflozin", "bexagliflozin"},
		{"apixabanish drops", ""},
		{"grandmother's drops", ""},
		{"5 mg", ""},
	} {
		t.Run(r.text, func(t *testing.T) {
			b := only(t, p, f, atEight(t), statement(t, "x", object{"medicationCodeableConcept": object{"text": r.text}}))
			require.Len(t, b.Case.Medicines, 1)
			m := b.Case.Medicines[0]
			require.Empty(t, m.Rules, "no rule goes by words")
			require.Equal(t, r.like, m.Like)
		})
	}
	b := only(t, p, f, atEight(t), statement(t, "x", rx("999", "Apixaban 5 mg")))
	a := readiness.Advise(&b.Case.Medicines[0], &b.Case, f.Calendar)
	require.Equal(t, "Apixaban 5 mg (code 999): no rule goes by words, and these look like apixaban; code it, or a prescriber decides: "+
		"it goes on, has a last dose on a day, or is not taken.", a.Headline())
}

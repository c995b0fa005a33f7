package sheet

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/translate"
)

// Another dose is told in the words that were signed, as they stand and in whatever
// language they are, with the name; nothing else is said of that medicine but whom to
// ask, and nothing that could be read as its opposite.
func TestAnotherDoseInThePrescribersWords(t *testing.T) {
	const words = "Evening before: 16 units, not 20.\nMorning: none & no tablets."
	for lang, want := range map[string]string{
		"en": `<strong>Insulin glargine</strong>: Dr Wendeline Thatchmarsh signed: <q class="words" translate="no">`,
		"es": `<strong>Insulin glargine</strong>: Esto lo firmó Dr Wendeline Thatchmarsh, con las palabras que siguen: <q class="words" translate="no">`,
	} {
		h := handout(t, readiness.CaseOnTrack)
		h.Lines, h.Prefers = nil, []string{lang}
		h.Listed = []translate.Listed{{Medicine: "Insulin glargine", Asked: true}}
		h.OtherDose = []translate.GoesOn{{Medicine: "Insulin glargine", SignedBy: "Dr Wendeline Thatchmarsh", Words: words}}
		p, text := page(t, h, Options{})
		require.Len(t, p.Medicines, 1)
		require.Equal(t, words, p.Medicines[0].Quote)
		require.False(t, p.Medicines[0].Signed, "no box to tick")
		ask := map[string]string{"en": "Ask us if this is not clear to you.", "es": "Pregúntenos si algo no le queda claro."}[lang]
		require.Contains(t, text, want+strings.ReplaceAll(words, "&", "&amp;")+"</q> "+ask+"</li>")
		require.Equal(t, 1, strings.Count(text, "Insulin glargine"))
		require.NotContains(t, text, sentences(t).Sentences["medicines-go-on"][lang][:20])
		for _, state := range []readiness.CaseState{readiness.CaseHome, readiness.CaseArrived, readiness.CaseCancelled} {
			h.State = state
			p, _ = page(t, h, Options{})
			require.Empty(t, p.Medicines, state)
		}
	}
}

package sheet

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/translate"
)

// A step that sends the person to a list of warning signs names it by the heading
// that it has on the sheet, and sends who is not sure to the emergency number. On
// paper "the first list" may be another one.
func TestStepsNameTheListsByTheirHeadings(t *testing.T) {
	s, p := sentences(t), bundled(t)
	for lang, last := range map[string]string{"en": "call your local emergency number.", "es": "llame al número local de emergencias."} {
		b := &speaker{Sentences: s, lang: lang}
		named := 0
		for n := range p.Steps {
			code := p.Steps[n].Code
			says, _ := p.Says(code, lang)
			for _, vague := range []string{"first list", "second list", "choose the first", "primera lista", "segunda lista", "use la primera."} {
				require.NotContains(t, says.Text, vague, code)
			}
			if strings.Contains(says.Text, b.say("today")) {
				named++
				require.Contains(t, says.Text, b.say("emergency"), code)
				require.True(t, strings.HasSuffix(says.Text, last), code)
			}
		}
		require.Equal(t, 6, named, lang)
	}
}

// What a step says stands on the sheet one sentence to a line where it is a wash or
// the bag: none leans on the one before it for what it is about.
func TestNumberedSentencesStandAlone(t *testing.T) {
	p := bundled(t)
	leaning := map[string][]string{
		"en": {"It", "They", "He", "She", "This", "That", "These", "Those", "Them", "Keep it", "Put it", "Do not use it"},
		"es": {"Esto", "Eso", "Él", "Ella", "Ellos", "Lo", "La", "Los", "Las", "No lo", "No la", "Debe", "Póngalo"},
	}
	for lang, starts := range leaning {
		seen := 0
		for n := range p.Steps {
			code := p.Steps[n].Code
			if part := p.Part(code); part != translate.PartWash && part != translate.PartBag {
				continue
			}
			says, _ := p.Says(code, lang)
			for _, one := range sentencesOf(says.Text) {
				seen++
				for _, start := range starts {
					require.False(t, strings.HasPrefix(one, start+" "), "%s: %s", code, one)
				}
			}
		}
		require.Greater(t, seen, 40, lang)
	}
}

package sheet

import (
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/translate"
)

// counts are what readability formulas are made of.
type counts struct{ words, sentences, syllables int }

// countOf counts by rule: a word is a run of letters, a number is one word of as
// many syllables as digits; a sentence ends at . ! ? before a space or the end.
func countOf(text string, syllables func(string) int) (c counts) {
	for _, f := range strings.Fields(text) {
		word := strings.TrimFunc(f, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
		if word != "" {
			c.words++
			c.syllables += syllables(word)
		}
		if strings.HasSuffix(f, ".") || strings.HasSuffix(f, "?") || strings.HasSuffix(f, "!") {
			c.sentences++
		}
	}
	if last := strings.TrimSpace(text); last != "" && !strings.ContainsRune(".?!", rune(last[len(last)-1])) {
		c.sentences++
	}
	return c
}

// fleschKincaid is the grade level of Kincaid, Fishburne, Rogers and Chissom,
// Research Branch Report 8-75, Naval Technical Training, 1975 (published; read
// as restated in secondary texts).
func fleschKincaid(c counts) float64 {
	return 0.39*float64(c.words)/float64(c.sentences) + 11.8*float64(c.syllables)/float64(c.words) - 15.59
}

// perspicuity is the index of Szigriszt Pazos, thesis, Universidad Complutense de
// Madrid, 1993, on which the scale INFLESZ stands (Barrio-Cantalejo et al., An
// Sist Sanit Navar 2008;31:135-152) (published; read as restated in secondary
// texts). Szigriszt's own table: 76 to 85 is read at 11 years, 66 to 75 at 12.
func perspicuity(c counts) float64 {
	return 206.835 - 62.3*float64(c.syllables)/float64(c.words) - float64(c.words)/float64(c.sentences)
}

// englishSyllables counts runs of vowels, less a silent e.
func englishSyllables(word string) int {
	word = strings.ToLower(word)
	n, vowel, digits := 0, false, 0
	for _, r := range word {
		is := strings.ContainsRune("aeiouy", r)
		if is && !vowel {
			n++
		}
		vowel = is
		if unicode.IsDigit(r) {
			digits++
		}
	}
	for _, silent := range []struct {
		ends   string
		unless []string
	}{
		{"e", []string{"le", "ee", "ye", "ie", "oe"}},
		{"es", []string{"ses", "xes", "zes", "ches", "shes", "ces", "ges", "les", "ies", "etes"}},
		{"ed", []string{"ted", "ded", "eed", "ied"}},
	} {
		if !strings.HasSuffix(word, silent.ends) || n == 1 {
			continue
		}
		heard := false
		for _, u := range silent.unless {
			heard = heard || strings.HasSuffix(word, u)
		}
		if !heard {
			n--
			break
		}
	}
	for _, two := range []string{"eo", "ia", "io", "ua", "iu"} { // two vowels that are two syllables
		if strings.Contains(word, two) && !strings.Contains(word, "tion") && !strings.Contains(word, "sion") &&
			!strings.Contains(word, "cial") && !strings.Contains(word, "tial") && !strings.Contains(word, "qua") &&
			!strings.Contains(word, "people") && !strings.Contains(word, "lian") && !strings.Contains(word, "gua") {
			n++
			break
		}
	}
	return max(n, digits, 1)
}

// spanishSyllables follows the rules of the Ortografía of the Real Academia
// Española, 2010 (from memory): vowels that touch are one syllable unless two
// strong ones meet, or a weak one with an accent meets a strong one.
func spanishSyllables(word string) int {
	w := strings.ToLower(word)
	for _, p := range [][2]string{{"que", "qe"}, {"qui", "qi"}, {"qué", "qé"}, {"quí", "qí"}, {"gue", "ge"}, {"gui", "gi"}, {"gué", "gé"}, {"guí", "gí"}} {
		w = strings.ReplaceAll(w, p[0], p[1])
	}
	const strong, weak, stressed = "aeoáéó", "iuü", "íú"
	n, digits := 0, 0
	var before rune
	rs := []rune(w)
	for k, r := range rs {
		if unicode.IsDigit(r) {
			digits++
		}
		vowel := strings.ContainsRune(strong+weak+stressed, r) || r == 'y' && k == len(rs)-1
		switch {
		case !vowel:
			r = 0
		case before == 0, strings.ContainsRune(strong, r) && strings.ContainsRune(strong+stressed, before),
			strings.ContainsRune(stressed, r) && strings.ContainsRune(strong, before):
			n++
		}
		before = r
	}
	return max(n, digits, 1)
}

// The formulas give what is published for a text.
func TestReadabilityFormulas(t *testing.T) {
	// The worked example of the encyclopedia articles on the test: 24 syllables,
	// 13 words, grade 11.3 (secondary).
	platypus := countOf("The Australian platypus is seemingly a hybrid of a mammal and reptilian creature.", englishSyllables)
	require.Equal(t, counts{words: 13, sentences: 1, syllables: 24}, platypus)
	require.InDelta(t, 11.3, fleschKincaid(platypus), 0.05)

	// The easiest text there can be, one word of one syllable to a sentence,
	// scores 206.835 − 62.3 − 1 (worked by hand).
	require.InDelta(t, 143.535, perspicuity(countOf("Sí.", spanishSyllables)), 1e-9)
	// Counted by hand: es-pe-re-un-mi-nu-to | no-tra-gue-el-a-gua: 13 syllables in
	// 7 words and 2 sentences: 206.835 − 62.3·13/7 − 7/2.
	require.InDelta(t, 87.635, perspicuity(countOf("Espere un minuto. No trague el agua.", spanishSyllables)), 0.001)
}

func TestSyllables(t *testing.T) {
	for word, n := range map[string]int{
		"call": 1, "close": 1, "operation": 4, "medicine": 3, "walked": 1, "needed": 2, "table": 2, "nurses": 2, "pieces": 2,
		"people": 2, "emergency": 4, "diabetes": 4, "video": 3, "special": 2, "question": 2, "allergies": 3, "11": 2,
	} {
		require.Equal(t, n, englishSyllables(word), word)
	}
	// Divisions as the Ortografía gives the rules (from memory): diphthong,
	// hiatus, silent u, ü that is heard, y at the end.
	for word, n := range map[string]int{
		"ciudad": 2, "día": 2, "país": 2, "aéreo": 4, "guitarra": 3, "queso": 2, "pingüino": 3, "buey": 1, "construir": 2,
		"operación": 4, "cirujano": 4, "llámenos": 3, "oír": 2, "sangre": 2, "antiséptico": 5, "agua": 2, "quien": 1,
	} {
		require.Equal(t, n, spanishSyllables(word), word)
	}
}

// bundled is the protocol inside.
func bundled(t *testing.T) *translate.Protocol {
	t.Helper()
	defs, body, err := casework.Definitions()
	require.NoError(t, err)
	r, issues := fhir.Parse(body, casework.DefinitionLimit)
	require.Empty(t, issues)
	p, err := translate.ReadProtocol(r, defs)
	require.NoError(t, err)
	return p
}

// patientTexts are all texts that reach a patient, by what they are called.
func patientTexts(t *testing.T, lang string) map[string]string {
	t.Helper()
	out := map[string]string{}
	p := bundled(t)
	for n := range p.Steps {
		words, ok := p.Says(p.Steps[n].Code, lang)
		require.True(t, ok, "%s is not said in %q", p.Steps[n].Code, lang)
		out[p.Steps[n].Code] = words.Text
	}
	s, err := Load()
	require.NoError(t, err)
	var fixed, lists []string
	for id, one := range s.Sentences {
		text := blank.ReplaceAllString(one[lang], "X")
		if strings.HasSuffix(text, ".") {
			out["sentence "+id] = text
			fixed = append(fixed, text)
		}
	}
	for id, list := range s.Lists {
		lists = lists[:0]
		for _, one := range list {
			lists = append(lists, one[lang]+".")
		}
		out["list "+id] = strings.Join(lists, " ")
	}
	require.Greater(t, len(fixed), 25)
	return out
}

// Every text is read at about 11 years: no step above English grade 6 (ages 11
// to 12) or below the Spanish band of 12 years, and on the average clearly
// easier. Fixed sentences are short, and one long word tips them: they get two
// grades, or ten points, more.
func TestReadingAge(t *testing.T) {
	for _, c := range []struct {
		lang      string
		syllables func(string) int
		score     func(counts) float64
		harder    func(score, limit float64) bool
		limit     float64 // of a step
		slack     float64 // of a fixed sentence
		mean      float64 // of the steps
	}{
		{"en", englishSyllables, fleschKincaid, func(s, l float64) bool { return s > l }, 6, 2, 4.5},
		{"es", spanishSyllables, perspicuity, func(s, l float64) bool { return s < l }, 66, -10, 76},
	} {
		t.Run(c.lang, func(t *testing.T) {
			sum, n := 0.0, 0
			for name, text := range patientTexts(t, c.lang) {
				score := c.score(countOf(text, c.syllables))
				limit := c.limit
				if strings.HasPrefix(name, "sentence ") {
					limit += c.slack
				} else if !strings.HasPrefix(name, "list ") {
					sum, n = sum+score, n+1
				}
				if c.harder(score, limit) {
					t.Errorf("%s reads too hard: %.1f, the limit is %.1f", name, score, limit)
				}
			}
			t.Logf("%d steps, on the average %.2f", n, sum/float64(n))
			if mean := sum / float64(n); c.harder(mean, c.mean) {
				t.Errorf("on the average %.1f, the limit is %.1f", mean, c.mean)
			}
		})
	}
}

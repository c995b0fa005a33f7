package translate

import (
	"io/fs"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/api"
)

// Names are compared without accents and titles, in English and in Spanish.
func TestNamesOfOnePerson(t *testing.T) {
	for _, r := range []struct {
		a, b string
		same bool
	}{
		{"Dra. Inés Ávilamar", "Ines Avilamar", true},
		{"Ines A\u0301vilamar", "Dr. INÉS ÁVILAMAR", true},
		{"Prof. Dr. Corvan Stillmarch", "Stillmarch, Corvan MD", true},
		{"Srta. Núñezmar", "Nunezmar", true},
		{"É. Stillmarch", "Elvan Stillmarch", true},
		{"Dra. Inés Ávilamar", "Dr. Corvan Ávilamar", false},
		{"Dra. Inés Ávilamar", "Dra. Corva Stillmarch", false},
	} {
		t.Run(r.a+" and "+r.b, func(t *testing.T) {
			require.Equal(t, r.same, sameName(r.a, r.b))
			require.Equal(t, r.same, sameName(r.b, r.a))
		})
	}
}

// What stands for a person names nobody, in either language.
func TestWordsThatAreNobody(t *testing.T) {
	for text, somebody := range map[string]bool{
		"the surgeon": false, "unknown": false, "la doctora": false, "Dra.": false, "el cirujano": false, "El medico": false, "anestesiologa de turno": false,
		"Dra. Ávilamar": true, "Dr Wendeline Thatchmarsh": true, "Do": true, "Dr De": true, "La": true,
	} {
		t.Run(text, func(t *testing.T) { require.Equal(t, somebody, namesSomebody(text)) })
	}
	body, err := fs.ReadFile(api.Words, "words/words.json")
	require.NoError(t, err)
	lists, err := readWords(body)
	require.NoError(t, err)
	for _, list := range []map[string]bool{lists.ofNobody, lists.small, lists.noIngredient} {
		for word := range list {
			require.Equal(t, []string{word}, wordsOf(word), "%q is one word", word)
		}
	}
	_, err = readWords([]byte("{"))
	require.Error(t, err)
}

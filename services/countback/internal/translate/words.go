package translate

import (
	"encoding/json"
	"strings"
	"sync"
	"unicode"

	"golang.org/x/text/unicode/norm"

	"example.org/countback/api"
)

// wordLists are the lists of words by which what people write is read, each word
// without accents.
type wordLists struct {
	ofNobody     map[string]bool // stand for a person and name none, titles among them
	small        map[string]bool // the same, where they are written in small letters
	noIngredient map[string]bool // begin no name of an ingredient
}

// theWords are those of api/words/words.json, of every language.
var theWords = sync.OnceValue(func() wordLists {
	b, err := api.Words.ReadFile("words/words.json")
	if err != nil {
		panic(err) // it is embedded
	}
	out, err := readWords(b)
	if err != nil {
		panic(err)
	}
	return out
})

func readWords(b []byte) (wordLists, error) {
	var read struct {
		OfNobody     map[string][]string `json:"of-nobody"`
		Small        map[string][]string `json:"of-nobody-in-small-letters"`
		NoIngredient map[string][]string `json:"no-ingredient"`
	}
	if err := json.Unmarshal(b, &read); err != nil {
		return wordLists{}, err
	}
	return wordLists{folded(read.OfNobody), folded(read.Small), folded(read.NoIngredient)}, nil
}

func folded(byLanguage map[string][]string) map[string]bool {
	out := map[string]bool{}
	for _, list := range byLanguage {
		for _, word := range list {
			out[fold(word)] = true
		}
	}
	return out
}

// fold is a text in small letters and without accents: people leave them out
// where others write them.
func fold(s string) string {
	return strings.ToLower(strings.Map(func(r rune) rune {
		if unicode.Is(unicode.Mn, r) {
			return -1
		}
		return r
	}, norm.NFD.String(s)))
}

// wordsOf are the folded words of letters of a text.
func wordsOf(s string) []string {
	return lettersOf(fold(s))
}

// lettersOf are the words of letters of a text, as they are written.
func lettersOf(s string) []string {
	return strings.FieldsFunc(s, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsMark(r) })
}

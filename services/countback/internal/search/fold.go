package search

import (
	"strings"
	"unicode"
)

// folds pairs letters with what they are compared as. R4 wants string search to
// ignore case and accents; this covers Latin-1 and Latin Extended-A, and
// combining marks are dropped for all scripts.
const folds = "àa áa âa ãa äa åa āa ăa ąa çc ćc ĉc ċc čc ďd đd ðd èe ée êe ëe ēe ĕe ėe ęe ěe " +
	"ĝg ğg ġg ģg ĥh ħh ìi íi îi ïi ĩi īi ĭi įi ıi ĵj ķk ĺl ļl ľl ŀl łl ñn ńn ņn ňn " +
	"òo óo ôo õo öo øo ōo ŏo őo ŕr ŗr řr śs ŝs şs šs țt ţt ťt ŧt șs ùu úu ûu üu ũu ūu ŭu ůu űu ųu " +
	"ŵw ýy ÿy ŷy źz żz žz"

var foldTo = func() map[rune]rune {
	m := map[rune]rune{}
	for pair := range strings.FieldsSeq(folds) {
		r := []rune(pair)
		m[r[0]] = r[1]
	}
	return m
}()

// fold is the form in which strings are compared: lower case, no accents, runs
// of white space as one blank.
func fold(s string) string {
	var b strings.Builder
	blank := false
	for _, r := range s {
		switch {
		case unicode.IsSpace(r):
			blank = b.Len() > 0
			continue
		case unicode.Is(unicode.Mn, r):
			continue
		}
		if blank {
			b.WriteByte(' ')
			blank = false
		}
		r = unicode.ToLower(r)
		switch r {
		case 'ß':
			b.WriteString("ss")
			continue
		case 'æ':
			b.WriteString("ae")
			continue
		case 'œ':
			b.WriteString("oe")
			continue
		}
		if to, ok := foldTo[r]; ok {
			r = to
		}
		b.WriteRune(r)
	}
	return b.String()
}

package sheet

import (
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"example.org/countback/api"
)

// Sentences are the fixed sentences in every language.
type Sentences struct {
	About     string                               `json:"about"`
	Reviewed  map[string]string                    `json:"reviewed"` // by language: by whom; empty: nobody licensed has read it
	Fever     struct{ Celsius, Fahrenheit string } `json:"fever"`
	Weekdays  map[string][]string                  `json:"weekdays"` // from Sunday
	Months    map[string][]string                  `json:"months"`
	Sentences map[string]map[string]string         `json:"sentences"`
	Lists     map[string][]map[string]string       `json:"lists"`
}

// Languages are those that the sheet is written in, the default first.
var Languages = []string{"en", "es"}

// Load reads the embedded sentences and refuses a set that lacks a language.
func Load() (*Sentences, error) {
	b, err := api.Sheet.ReadFile("sheet/sentences.json")
	if err != nil {
		return nil, err
	}
	return Read(b)
}

// Read reads sentences. It refuses those that lack a language, or whose
// languages do not fill in the same words.
func Read(b []byte) (*Sentences, error) {
	var s Sentences
	if err := json.Unmarshal(b, &s); err != nil {
		return nil, err
	}
	for _, lang := range Languages {
		if len(s.Weekdays[lang]) != 7 || len(s.Months[lang]) != 12 {
			return nil, fmt.Errorf("sentences: the week or the year is not whole in %q", lang)
		}
	}
	for id, one := range s.Sentences {
		if err := complete(id, one); err != nil {
			return nil, err
		}
	}
	for id, list := range s.Lists {
		for n, one := range list {
			if err := complete(fmt.Sprintf("%s %d", id, n+1), one); err != nil {
				return nil, err
			}
		}
	}
	return &s, nil
}

var blank = regexp.MustCompile(`\{[a-z]+\}`)

func complete(id string, one map[string]string) error {
	var first []string
	for n, lang := range Languages {
		if strings.TrimSpace(one[lang]) == "" {
			return fmt.Errorf("sentences: %s has no %q", id, lang)
		}
		filled := blank.FindAllString(one[lang], -1)
		slices.Sort(filled)
		if n == 0 {
			first = filled
		} else if !slices.Equal(first, filled) {
			return fmt.Errorf("sentences: %s fills in %v in %q, and %v in %q", id, filled, lang, first, Languages[0])
		}
	}
	return nil
}

// Language is the one that a sheet is written in: what the patient prefers, as
// far as there is a sheet in it, else the page's choice, else the default.
func Language(prefers []string, choice string) string {
	for _, lang := range append(slices.Clone(prefers), choice) {
		if slices.Contains(Languages, lang) {
			return lang
		}
	}
	return Languages[0]
}

// speaker says sentences in one language. What it was asked for and does not
// know is gathered, so that it fails a build of the page and never prints a gap.
type speaker struct {
	*Sentences
	lang    string
	missing []string
}

// say fills the pairs of name and value into a sentence.
func (s *speaker) say(id string, pairs ...string) string {
	text, ok := s.Sentences.Sentences[id][s.lang]
	if !ok {
		s.missing = append(s.missing, id)
	}
	for n := 0; n+1 < len(pairs); n += 2 {
		text = strings.ReplaceAll(text, "{"+pairs[n]+"}", pairs[n+1])
	}
	return text
}

// has reports whether a sentence exists.
func (s *speaker) has(id string) bool { return s.Sentences.Sentences[id] != nil }

func (s *speaker) list(id string) []string {
	var out []string
	for _, one := range s.Lists[id] {
		out = append(out, one[s.lang])
	}
	if out == nil {
		s.missing = append(s.missing, id)
	}
	return out
}

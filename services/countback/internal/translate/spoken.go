package translate

import (
	"strings"

	"example.org/countback/pkg/fhir"
)

// Parts of the patient's sheet, as the extension sheet-part names them; their
// meaning is in CodeSystem/sheet-part.
const (
	PartWash     = "wash"
	PartFasting  = "fasting"
	PartMedicine = "medicine"
	PartBag      = "bag"
	PartArrival  = "arrival"
)

// English is the language that a protocol is written in.
const English = "en"

// Spoken is what a step says to the patient and the coach in one language.
type Spoken struct{ Title, Text string }

// spokenStep is what a step has for the patient's sheet.
type spokenStep struct {
	part string
	says map[string]Spoken // by language
}

// Part is the part of the patient's sheet in which a step stands; empty: the
// list of what to do.
func (p *Protocol) Part(step string) string { return p.spoken[step].part }

// Says is what a step tells the patient and the coach in a language. In one
// that the protocol has no translation for, ok is false and the words are those
// that the protocol is written in.
func (p *Protocol) Says(step, language string) (words Spoken, ok bool) {
	said := p.spoken[step].says
	if words, ok = said[language]; ok {
		return words, true
	}
	return said[English], language == English
}

// speak reads what the sheet needs of an action: its part, and title and text
// with their translations. Translations stand in the definition itself, in the
// standard extension: whoever approves a changed text has the translation before
// them, and a hospital's own protocol brings its own.
func speak(a *fhir.Node) spokenStep {
	out := spokenStep{part: text(a, "sheet-part"), says: map[string]Spoken{}}
	out.says[English] = Spoken{Title: a.String("title")}
	for lang, title := range translations(a.Get("_title")) {
		out.says[lang] = Spoken{Title: title}
	}
	for _, e := range extensions(a, "instruction") {
		if value(part(e, "audience")).Text() != "patient" {
			continue
		}
		said := part(e, "text")
		words := out.says[English]
		words.Text = value(said).Text()
		out.says[English] = words
		told := translations(said.Get("_valueMarkdown"))
		for lang, t := range told {
			words := out.says[lang]
			words.Text = t
			out.says[lang] = words
		}
	}
	for lang, words := range out.says {
		if lang != English && (words.Title == "" || words.Text == "") {
			delete(out.says, lang) // half a translation is none
		}
	}
	return out
}

// translations reads the standard translation extensions of a primitive, by
// language.
func translations(sibling *fhir.Node) map[string]string {
	out := map[string]string{}
	for _, e := range sibling.Get("extension").Items() {
		if e.String("url") != "http://hl7.org/fhir/StructureDefinition/translation" {
			continue
		}
		lang, _, _ := strings.Cut(value(part(e, "lang")).Text(), "-")
		out[lang] = value(part(e, "content")).Text()
	}
	return out
}

package desk

import (
	"bytes"
	"fmt"
	"net/http"
	"slices"

	"github.com/gin-gonic/gin"

	"example.org/countback/services/countback/internal/sheet"
)

// sheetPolicy lets the sheet carry its own style: it is one document that can be
// kept and printed anywhere, and has no script.
const sheetPolicy = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// papers are what a sheet may be asked for; the first leaves it to the printer.
var papers = []string{"", "A4", "Letter"}

// sheetPage is the patient's sheet, without the desk around it: what is on the
// screen is what is printed. ?language= asks for it in one language, whatever the
// patient prefers: the coach may read another. ?paper= is A4 or Letter.
func (d *Desk) sheetPage(c *gin.Context) error {
	o := d.Sheet
	o.PrintedOn = d.Calendar.DateOf(d.Now())
	o.Language, o.Paper = c.Query("language"), c.Query("paper")
	if !slices.Contains(papers, o.Paper) || o.Language != "" && !slices.Contains(sheet.Languages, o.Language) {
		return fmt.Errorf("%w: there is no sheet in this language or for this paper", errForm)
	}
	h, err := d.Office.Handout(c.Request.Context(), c.Param("id"))
	if err != nil {
		return err
	}
	p, err := d.sentences.Page(h, o)
	if err != nil {
		return err
	}
	var out bytes.Buffer
	if err := p.WriteHTML(&out); err != nil {
		return err
	}
	c.Header("Content-Security-Policy", sheetPolicy)
	c.Data(http.StatusOK, "text/html; charset=utf-8", out.Bytes())
	return nil
}

// sheetIn is a link to the sheet in another language than the one that it is in
// by itself.
type sheetIn struct{ Lang, Words string }

var languageWords = map[string]string{"en": "in English", "es": "in Spanish"}

// otherSheets are the sheets in the other languages for a person who prefers some.
func (d *Desk) otherSheets(prefers []string) []sheetIn {
	var out []sheetIn
	for _, lang := range sheet.Languages {
		if lang != sheet.Language(prefers, d.Sheet.Choice) {
			out = append(out, sheetIn{lang, languageWords[lang]})
		}
	}
	return out
}

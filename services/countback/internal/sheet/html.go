package sheet

import (
	"embed"
	"html/template"
	"io"
)

//go:embed sheet.html
var files embed.FS

var pageTemplate = template.Must(template.ParseFS(files, "sheet.html"))

// WriteHTML writes the page as one document that needs nothing else: no script,
// no font, no picture from anywhere.
func (p Page) WriteHTML(w io.Writer) error { return pageTemplate.Execute(w, p) }

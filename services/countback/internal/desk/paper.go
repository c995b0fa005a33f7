package desk

import (
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"html/template"
	"strings"
	"unicode"
)

// PaperStyle is what stands in the margin of each printed page: what or whom it is
// about and as of when, and which page it is. Sheets get parted, and one without a
// name belongs to nobody.
func (p page) PaperStyle() template.CSS {
	slip := p.Slip
	if slip == "" {
		slip = p.Title
	}
	return template.CSS(`@page{margin:10mm 10mm 15mm;` +
		`@bottom-left{content:` + cssString(slip+" · as of "+p.AsOf) + `;font:8.5pt sans-serif}` +
		`@bottom-right{content:"page " counter(page) " of " counter(pages);font:8.5pt sans-serif}}`)
}

// cssString is a text as CSS quotes it: whatever is not a letter, a digit or a
// blank is escaped by its number, and the blank after a number belongs to it.
func cssString(text string) string {
	var b strings.Builder
	for _, r := range text {
		if unicode.IsLetter(r) || unicode.IsDigit(r) || r == ' ' {
			b.WriteRune(r)
			continue
		}
		fmt.Fprintf(&b, `\%06x `, r)
	}
	return `"` + b.String() + `"`
}

// policy is the Content-Security-Policy of a page that carries one style itself,
// known by its digest; empty: none.
func policy(style template.CSS) string {
	own := ""
	if style != "" {
		sum := sha256.Sum256([]byte(style))
		own = " 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
	}
	return "default-src 'none'; style-src 'self'" + own + "; script-src 'self'; connect-src 'self'; img-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
}

package app

import (
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"
)

// The page of a case offers the patient's sheet in the language that they prefer, and
// in the other one, which is then in that language.
func TestTheSheetInTheOtherLanguage(t *testing.T) {
	a := played(t)
	get := func(path string) string {
		status, body := send(t, http.MethodGet, a.DeskURL()+path, nil)
		require.Equal(t, http.StatusOK, status)
		return string(body)
	}
	for family, c := range map[string]struct{ state, own, other, words string }{
		"Duskmeadow":  {"behind", "es", "en", "in English"},
		"Underhollow": {"on-track", "en", "es", "in Spanish"},
	} {
		path := "/case/" + caseOf(t, a, family, c.state)
		page := get(path)
		require.Contains(t, page, `<a href="/desk`+path+`/sheet">sheet to print</a> · <a href="/desk`+path+`/sheet?language=`+c.other+`">sheet `+c.words+`</a> ·`)
		require.NotContains(t, page, "?language="+c.own)
		require.Contains(t, get(path+"/sheet"), `<html lang="`+c.own+`">`)
		require.Contains(t, get(path+"/sheet?language="+c.other), `<html lang="`+c.other+`">`)
	}
}

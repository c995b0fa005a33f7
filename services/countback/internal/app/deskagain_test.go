package app

import (
	"html"
	"io"
	"net/http"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"
)

// What is late from the moment at which it was asked for again says since when it is
// asked: beside the due day, on the case and in the morning.
func TestDeskSaysWhenItWasAskedAgain(t *testing.T) {
	a := played(t)
	read := func(path string) string {
		resp, err := http.Get(a.DeskURL() + path)
		require.NoError(t, err)
		defer resp.Body.Close()
		body, err := io.ReadAll(resp.Body)
		require.NoError(t, err)
		return html.UnescapeString(string(body))
	}
	id := caseOf(t, a, "Brindlecrest", "on-track")
	again := regexp.MustCompile(`Infection check, first(?s:.*?)<b>due (Wed 14 Oct 2026[^<]*)</b>(?:<span>no use[^<]*</span>)?<span>asked again on (Wed 18 Nov 2026)</span>`)
	require.Regexp(t, again, read("/case/"+id))
	require.Regexp(t, `<b>due [^<]*</b><span>asked again on [^<]*</span>`, read("?more=rest"))
}

package app

import (
	"io"
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"
)

// What is late or soon due stands under the other day that rests on it, each by
// when; and what room is stands once on a page that shows some.
func TestDeskWords(t *testing.T) {
	a := played(t)
	const room = "Room is how long "
	for path, says := range map[string][]string{
		"":       {room + "the tightest must may still wait."},
		"/cases": {room + "the tightest must may still wait."},
		"/weeks": {room + "the tightest must may still wait."},
		"/case/" + caseOf(t, a, "Ravensbourne", "held"): {
			room + "each may still wait.",
			`<caption>Late or soon due, and to be done in time for Fri 4 Dec 2026</caption>`,
			`<tr><td>Teeth check, first</td><td>Fri 13 Nov 2026 (over)</td><td>Thu 3 Dec 2026</td></tr>`,
			`<tr><td>Implants confirmed</td><td>Fri 27 Nov 2026</td><td>Wed 2 Dec 2026</td></tr>`,
		},
	} {
		resp, err := http.Get(a.DeskURL() + path)
		require.NoError(t, err)
		body, err := io.ReadAll(resp.Body)
		require.NoError(t, err)
		require.NoError(t, resp.Body.Close())
		require.Equal(t, http.StatusOK, resp.StatusCode, path)
		for _, text := range says {
			require.Contains(t, string(body), text, path)
		}
		require.NotRegexp(t, "(?s)"+room+".*"+room, string(body), path)
	}
}

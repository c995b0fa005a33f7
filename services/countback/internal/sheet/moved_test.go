package sheet

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// A sheet of a day that changed says so first, as the calendar does, until somebody
// has told the person: with the question about stopped medicines, and the day itself
// as one that stands. What does not go ahead says that instead.
func TestASheetSaysFirstThatTheDayChanged(t *testing.T) {
	for lang, want := range map[string][2]string{
		"en": {"Your hospital day has changed", "Have you already stopped a medicine for the operation? Call us today."},
		"es": {"Su día del hospital cambió", "¿Ya dejó una medicina por la operación? Llámenos hoy."},
	} {
		h := handout(t, readiness.CaseOnTrack)
		h.Prefers, h.Untold, h.Stranded = []string{lang}, true, true
		p, text := page(t, h, Options{})
		require.Equal(t, want[0], p.Banner.Title)
		require.Len(t, p.Banner.Lines, 2)
		require.Less(t, strings.Index(text, want[0]), strings.Index(text, p.Emergency.Title))
		require.Less(t, strings.Index(text, want[1]), strings.Index(text, p.Emergency.Title))
		require.NotContains(t, p.Day, "?", "the day itself stands")
		_, says, warns := sentences(t).Notice(h, lang)
		require.True(t, warns)
		require.True(t, strings.HasPrefix(says, want[0]+"."), "as the calendar says it")
		require.Contains(t, says, want[1])

		h.State = readiness.CaseHeld
		p, _ = page(t, h, Options{})
		require.Equal(t, sentences(t).Sentences["held-title"][lang], p.Banner.Title)
		h.State = readiness.CaseHome
		p, _ = page(t, h, Options{})
		require.NotEqual(t, want[0], p.Banner.Title, "it is behind them")
		h.State, h.Untold, h.Stranded = readiness.CaseOnTrack, false, false
		p, _ = page(t, h, Options{})
		require.Nil(t, p.Banner, "they were told")
	}
}

package sheet

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// A sheet reads in the order of the days that it names first: what is for a day
// before what is due by a later one, however long that has been open already; what is
// late first of all, with its day; an hour within its day; what is wanted as soon as
// possible today; what begins on a day without an end at that day.
func TestSheetReadsInDateOrder(t *testing.T) {
	h := handout(t, readiness.CaseBehind)
	h.Lines = h.Lines[:7]
	at := func(n int, opens, due string) {
		i := &h.Lines[n].Item
		i.Applies, i.Opens, i.Due = readiness.Yes, readiness.Moment{}, readiness.Moment{}
		if opens != "" {
			i.Opens.Day = day(t, opens)
		}
		if due != "" {
			i.Due.Day = day(t, due)
		}
	}
	at(0, "", "2026-11-19")
	h.Lines[0].Item.Due.At = time.Date(2026, 11, 19, 7, 0, 0, 0, time.UTC)
	at(2, "2026-11-19", "2026-11-19") // tomorrow, the whole day
	at(3, "2026-10-01", "2026-11-30") // open for long
	at(4, "2026-10-01", "2026-11-17") // late
	at(6, "2026-11-20", "")           // from a day on
	h.Lines[4].Item.State = readiness.Late
	p, _ := page(t, h, Options{}) // on 18 November
	require.Equal(t, []string{
		"By Tuesday 17 November | A ride home", "Thursday 19 November, at 7:00 in the morning | Stop full meals",
		"Thursday 19 November | Antiseptic wash, first", "From Friday 20 November | Your pets cared for",
		"By Monday 30 November | Pack your bag",
	}, titles(p.Steps))
	h.Lines[3].Item.Compressed = true
	p, _ = page(t, h, Options{})
	require.Equal(t, []string{"A ride home", "Pack your bag"}, []string{p.Steps[0].Title, p.Steps[1].Title}, "as soon as possible is today")
}

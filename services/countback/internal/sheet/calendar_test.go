package sheet

import (
	"strings"
	"testing"
	"time"

	ics "github.com/arran4/golang-ical"
	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/translate"
)

// entries are the titles of a calendar's entries by UID, with status and day.
func entries(t *testing.T, h translate.Handout) map[string]string {
	t.Helper()
	for n := range h.Lines {
		h.Lines[n].Version, h.Lines[n].Changed = 2, time.Date(2026, 11, 17, 20, 0, 0, 0, time.UTC)
	}
	h.Changed = time.Date(2026, 11, 18, 15, 0, 0, 0, time.UTC)
	text, err := sentences(t).Calendar(h, "en", time.UTC)
	require.NoError(t, err)
	again, err := sentences(t).Calendar(h, "en", time.UTC)
	require.NoError(t, err)
	require.Equal(t, text, again, "the same plan gives the same bytes")
	cal, err := ics.ParseCalendar(strings.NewReader(text))
	require.NoError(t, err)
	out := map[string]string{}
	for _, e := range cal.Events() {
		uid := strings.TrimSuffix(e.Id(), "@countback.example")
		require.NotContains(t, out, uid)
		get := func(p ics.ComponentProperty) string { return e.GetProperty(p).Value }
		out[uid] = get(ics.ComponentPropertyStatus) + " " + get(ics.ComponentPropertyDtStart) + " " + get(ics.ComponentPropertySummary)
	}
	return out
}

// Whatever pauses, is not signed or is called off stands cancelled, without the
// day that it stood for.
func TestCalendarByState(t *testing.T) {
	const gone = "CANCELLED 20261117 This step is called off"
	always := map[string]string{
		"c.day": "CONFIRMED 20261130 Hospital day", "c.ride-home": "CONFIRMED 20261123 A ride home",
		"c.bag-packed": "CONFIRMED 20261129 Pack your bag", "c.antiseptic-wash-1": "CONFIRMED 20261128 Antiseptic wash, first",
		"c.stop-solids": "CONFIRMED 20261129T233000Z Stop full meals", "c.medicine-stop": gone,
	}
	for _, c := range []struct {
		name    string
		change  func(*translate.Handout)
		differs map[string]string
	}{
		{"on track", func(*translate.Handout) {}, nil},
		{"signed", func(h *translate.Handout) { h.Lines[7].SignedBy = "Dr Wendeline Thatchmarsh" }, map[string]string{
			"c.medicine-stop": "CONFIRMED 20261127 Last dose of a medicine",
		}},
		{"held", func(h *translate.Handout) {
			h.State, h.Lines[7].SignedBy = readiness.CaseHeld, "Dr Wendeline Thatchmarsh"
		}, map[string]string{
			"c.day": "TENTATIVE 20261130 Hospital day", "c.antiseptic-wash-1": gone, "c.stop-solids": gone,
		}},
		{"cannot be met", func(h *translate.Handout) { h.State = readiness.CaseInfeasible }, map[string]string{
			"c.day": "TENTATIVE 20261130 Hospital day", "c.antiseptic-wash-1": gone, "c.stop-solids": gone,
		}},
		{"no date", func(h *translate.Handout) { h.State, h.Day = readiness.CaseHeld, 0 }, map[string]string{
			"c.day": "CANCELLED 20261118 This step is called off", "c.antiseptic-wash-1": gone, "c.stop-solids": gone,
		}},
		{"cancelled, one thing done", func(h *translate.Handout) {
			h.State, h.Lines[4].Item.State = readiness.CaseCancelled, readiness.StateDone
		}, map[string]string{
			"c.day": "CANCELLED 20261118 This step is called off", "c.antiseptic-wash-1": gone, "c.stop-solids": gone, "c.bag-packed": gone,
		}},
		{"waived", func(h *translate.Handout) { h.Lines[4].Item.State = readiness.StateWaived }, map[string]string{"c.ride-home": gone}},
	} {
		t.Run(c.name, func(t *testing.T) {
			h := handout(t, readiness.CaseOnTrack)
			c.change(&h)
			want := map[string]string{}
			for uid, says := range always {
				want[uid] = says
			}
			for uid, says := range c.differs {
				want[uid] = says
			}
			require.Equal(t, want, entries(t, h))
		})
	}
}

// What the patient reads in the calendar is in the patient's language.
func TestCalendarLanguage(t *testing.T) {
	h := handout(t, readiness.CaseOnTrack)
	h.Prefers = []string{"es"}
	require.Equal(t, "CONFIRMED 20261123 Quién le lleva a casa", entries(t, h)["c.ride-home"])
}

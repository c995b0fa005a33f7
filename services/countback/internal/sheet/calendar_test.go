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
	const gone, waits = "CANCELLED 20261117 This step is called off", "CANCELLED 20261117 This step waits"
	always := map[string]string{
		"c.day": "CONFIRMED 20261130 Hospital day", "c.ride-home": "CONFIRMED 20261123 A ride home",
		"c.bag-packed": "CONFIRMED 20261129 Pack your bag", "c.antiseptic-wash-1": "CONFIRMED 20261128 Antiseptic wash, first",
		"c.stop-solids": "CONFIRMED 20261129T233000Z Stop full meals", "c.medicine-stop": waits,
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
			"c.day": "TENTATIVE 20261130 On hold: Hospital day", "c.antiseptic-wash-1": waits, "c.stop-solids": waits,
		}},
		{"cannot be met", func(h *translate.Handout) { h.State = readiness.CaseInfeasible }, map[string]string{
			"c.day": "TENTATIVE 20261130 It may have to move: Hospital day", "c.antiseptic-wash-1": waits, "c.stop-solids": waits,
		}},
		{"no date", func(h *translate.Handout) { h.State, h.Day = readiness.CaseHeld, 0 }, map[string]string{
			"c.day": "CANCELLED 20261118 No day now: Hospital day", "c.antiseptic-wash-1": waits, "c.stop-solids": waits,
		}},
		{"paused by a hold of its own", func(h *translate.Handout) { h.Lines[3].Item.State = readiness.Paused }, map[string]string{"c.bag-packed": waits}},
		{"cancelled, one thing done", func(h *translate.Handout) {
			h.State, h.Lines[4].Item.State = readiness.CaseCancelled, readiness.StateDone
		}, map[string]string{
			"c.day": "CANCELLED 20261118 Called off: Hospital day", "c.antiseptic-wash-1": gone, "c.stop-solids": gone, "c.bag-packed": gone,
			"c.medicine-stop": gone,
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

// The hospital day says first what the sheet says first, in every language, and
// a step that waits says so; neither names the person, the joint or the medicine,
// and neither reads as if the day stood.
func TestCalendarSaysFirstWhatTheSheetSays(t *testing.T) {
	for state, want := range map[readiness.CaseState][2]string{
		readiness.CaseHeld:       {"Your hospital day is on hold.", "Su día del hospital está en espera."},
		"unreported":             {"This day has passed. It was on hold,", "Este día ya pasó. Estaba en espera,"},
		readiness.CaseInfeasible: {"Your hospital day may have to move.", "Puede que su día del hospital cambie."},
		readiness.CaseCancelled:  {"Your hospital day has been called off.", "Su día del hospital se ha cancelado."},
		"bewildered":             {"Your hospital day is on hold.", "Su día del hospital está en espera."},
		"undated":                {"Your hospital day has no date now.", "Su día del hospital no tiene fecha ahora."},
	} {
		for n, lang := range Languages {
			h := handout(t, state)
			if state == "undated" {
				h.State, h.Day = readiness.CaseHeld, 0
			}
			for k := range h.Lines {
				h.Lines[k].Version = 2
			}
			text, err := sentences(t).Calendar(h, lang, time.UTC)
			require.NoError(t, err)
			cal, err := ics.ParseCalendar(strings.NewReader(text))
			require.NoError(t, err)
			plain := strings.NewReplacer("\r\n ", "", `\,`, ",").Replace(text)
			require.Contains(t, plain, "X-WR-CALDESC:"+want[n], "programs show it beside the name of the calendar")
			for _, e := range cal.Events() {
				says := ""
				if d := e.GetProperty(ics.ComponentPropertyDescription); d != nil {
					says = d.Value
				}
				for _, word := range []string{"Hesper", "hip", "cadera", "Apixaban"} {
					require.NotContains(t, e.GetProperty(ics.ComponentPropertySummary).Value+says, word)
				}
				switch e.Id() {
				case "c.day@countback.example":
					require.True(t, strings.HasPrefix(says, want[n]), "%s %s: %s", state, lang, says)
					require.Contains(t, says, sentences(t).Sentences["stopped"][lang])
					require.NotContains(t, says, sentences(t).Sentences["calendar-day-says"][lang])
				case "c.stop-solids@countback.example":
					require.Equal(t, state != readiness.CaseCancelled, strings.Contains(says, sentences(t).Sentences["calendar-waits-says"][lang]))
				}
			}
		}
	}
}

// What a medicine that was stopped for another day asks is said first, too; where all
// is well the calendar says nothing of itself.
func TestCalendarOfAStrandedMedicine(t *testing.T) {
	h := handout(t, readiness.CaseOnTrack)
	text, err := sentences(t).Calendar(h, "en", time.UTC)
	require.NoError(t, err)
	require.NotContains(t, text, "X-WR-CALDESC")
	h.Stranded = true
	text, err = sentences(t).Calendar(h, "en", time.UTC)
	require.NoError(t, err)
	require.Contains(t, strings.ReplaceAll(text, "\r\n ", ""), "X-WR-CALDESC:Have you already stopped a medicine for the operation? Call us today.")
	require.NotContains(t, text, "SUMMARY:Have you")

	h.Untold = true // the day changed, and nobody has told them
	text, err = sentences(t).Calendar(h, "en", time.UTC)
	require.NoError(t, err)
	require.Contains(t, strings.ReplaceAll(text, "\r\n ", ""), "X-WR-CALDESC:Your hospital day has changed. This is the day now.")
	require.Contains(t, text, "SUMMARY:Hospital day")
}

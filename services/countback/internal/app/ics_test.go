package app

import (
	"bytes"
	"strings"
	"testing"

	ics "github.com/arran4/golang-ical"
	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/sheet"
)

// The calendar of a plan says first what the sheet says first, in its own words and
// in its first entry, without a diagnosis; what waits says so in its title.
func TestPlanCalendarSaysFirstThatItIsHeld(t *testing.T) {
	a, all := handouts(t)
	sentences, err := sheet.Load()
	require.NoError(t, err)
	plans, err := a.Office.Plans(t.Context())
	require.NoError(t, err)
	calendarOf := func(caseID string) *ics.Calendar {
		var out bytes.Buffer
		for _, p := range plans {
			if p.CarePlan.ID == caseID {
				require.NoError(t, printCalendar(t.Context(), a.Office, []casework.Planned{p}, a.Clock.Now(), &out))
			}
		}
		cal, err := ics.ParseCalendar(&out)
		require.NoError(t, err)
		return cal
	}
	of := func(e *ics.VEvent, name ics.ComponentProperty) string { return e.GetProperty(name).Value }
	about := func(cal *ics.Calendar) string {
		for _, p := range cal.CalendarProperties {
			if p.IANAToken == "X-WR-CALDESC" {
				return p.Value
			}
		}
		return ""
	}

	held := all["Alaric Ravensbourne 2026-12-07"]
	cal := calendarOf(held.CaseID)
	says := sentences.Sentences["calendar-held-says"]["en"]
	require.True(t, strings.HasPrefix(about(cal), says), about(cal))
	first := cal.Events()[0]
	require.Equal(t, "On hold: Hospital day", of(first, ics.ComponentPropertySummary))
	require.True(t, strings.HasPrefix(of(first, ics.ComponentPropertyDescription), says))
	require.Equal(t, []string{"20261207", "TENTATIVE"}, []string{of(first, ics.ComponentPropertyDtStart), of(first, ics.ComponentPropertyStatus)})
	waits := 0
	for _, e := range cal.Events() {
		title := of(e, ics.ComponentPropertySummary)
		for _, word := range []string{"urin", "infection (", "Alaric", "knee"} {
			require.NotContains(t, title, word)
		}
		require.NotEqual(t, "Stop full meals", title, "nobody fasts for a day that may not be")
		if strings.HasPrefix(title, "Waits: ") {
			waits++
			require.Equal(t, "TENTATIVE", of(e, ics.ComponentPropertyStatus))
		}
	}
	require.Greater(t, waits, 5)

	goes := all["Hesper Copperquill 2026-11-30"]
	cal = calendarOf(goes.CaseID)
	require.Empty(t, about(cal))
	require.Equal(t, []string{"Hospital day", "CONFIRMED"}, []string{of(cal.Events()[0], ics.ComponentPropertySummary), of(cal.Events()[0], ics.ComponentPropertyStatus)})
}

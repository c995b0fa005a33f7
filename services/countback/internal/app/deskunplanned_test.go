package app

import (
	"context"
	"encoding/json"
	"net/http"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// unplannedOf is the appointment of a person of the story who has no case.
func unplannedOf(t testing.TB, a *App, family string) string {
	t.Helper()
	var r struct{ ID string }
	people := found(t, a, "Patient?name="+family)
	require.Len(t, people, 1)
	require.NoError(t, json.Unmarshal(people[0], &r))
	booked := found(t, a, "Appointment?patient="+r.ID)
	require.Len(t, booked, 1)
	require.NoError(t, json.Unmarshal(booked[0], &r))
	return "Appointment/" + r.ID
}

// A booking that opened no case is seen in the morning, and found by the name of
// its person, with the reason and with what was received. What is called off stands
// on no list but the one of all.
func deskUnplanned(t *testing.T, ctx context.Context, a *App) {
	do(t, ctx, chromedp.Navigate(a.DeskURL()))
	list := text(t, ctx, `section[aria-labelledby=without]`)
	for _, in := range []string{
		"Bookings without a plan 2", "Rosalund Hollowbarley", "A replacement for a broken bone. new Fri 27 Nov 2026, 07:05 Wed 9 Dec", "Ottoline Wrenfurrow", "555-0115", "P-1009", "Wed 9 Dec 2026", "in 12 days", "Revision of the right knee replacement",
		"A revision of an earlier joint replacement.", "Mon 2 Nov 2026",
	} {
		require.Contains(t, strings.Join(strings.Fields(list), " "), in)
	}
	require.Contains(t, text(t, ctx, ".jump"), "Bookings without a plan 2")
	require.Equal(t, 1, strings.Count(list, "new\n"), "the other came weeks ago")
	click(t, ctx, `section[aria-labelledby=without] tr:last-child td a`)
	main := text(t, ctx, "#main")
	for _, in := range []string{"Ottoline Wrenfurrow", "It has no plan: a revision of an earlier joint replacement.", `"resourceType": "Appointment"`, "A-1009"} {
		require.Contains(t, main, in)
	}

	for _, words := range []string{"wrenfurrow", "P-1009"} {
		do(t, ctx, chromedp.Navigate(a.DeskURL()+"/cases?find="+words))
		main := text(t, ctx, "#main")
		require.Contains(t, main, "No open case is like that.")
		require.Contains(t, main, "A revision of an earlier joint replacement.")
	}
	do(t, ctx, chromedp.Navigate(a.DeskURL()+"/cases"))
	require.NotContains(t, text(t, ctx, "#main"), "Wrenfurrow", "nobody was looked for")
	do(t, ctx, chromedp.Navigate(a.DeskURL()+"/unplanned?list=all"))
	require.Contains(t, text(t, ctx, "#main"), "Called off: cancelled.")
	do(t, ctx, chromedp.Navigate(a.DeskURL()+"/unplanned"))
	require.NotContains(t, text(t, ctx, "#main"), "Called off")
	for _, path := range []string{"/received/Patient/x", "/received/Appointment/nobody"} {
		status, _ := send(t, http.MethodGet, a.DeskURL()+path, nil)
		require.Equal(t, http.StatusNotFound, status, path)
	}
}

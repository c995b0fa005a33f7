package app

import (
	"context"
	"encoding/json"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// The coordinator sees what another day would change, agrees, and asks for it; it
// stands everywhere that it is asked for and that the booking says otherwise; the
// plan moves, and the request closes, when the booking comes with that day.
func deskAsk(t *testing.T, ctx context.Context, a *App) {
	const day, words = "2027-01-20", "Wed 20 Jan 2027"
	id := caseOf(t, a, "Thimblewood", "on-track")
	sayWho(t, ctx, a, "Idony Quillfeather", "/desk/case/"+id)
	before, told := dueDays(t, a, id), events(t, a)
	do(t, ctx, chromedp.SetValue(chromedp.CSS("form.ask input"), day))
	click(t, ctx, "form.ask button")
	require.Contains(t, text(t, ctx, "#main"), "Nothing has changed")
	do(t, ctx, chromedp.SendKeys(chromedp.CSS(".asks input[name=reason]"), "The coach is away until the middle of January"))
	resp, err := chromedp.RunResponse(ctx, chromedp.KeyEvent("\r")) // with the keyboard alone
	require.NoError(t, err)
	require.EqualValues(t, http.StatusOK, resp.Status)
	require.Contains(t, text(t, ctx, "#news"), "The plan stays as it is until the booking moves")
	require.Contains(t, text(t, ctx, ".asked"), "Asked to move to "+words+" by Idony Quillfeather; the booking still says Wed 9 Dec 2026.")
	require.Contains(t, text(t, ctx, ".d0"), "Wed 9 Dec 2026")
	accessible(t, ctx, "another day is asked for")
	shot(t, ctx, "case-asked")
	require.Equal(t, before, dueDays(t, a, id), "no day moves before the booking does")
	require.Equal(t, told["tasks.opened"]+1, events(t, a)["tasks.opened"])
	require.Equal(t, told["case.redated"], events(t, a)["case.redated"])

	// What can be pressed is the same on the case and in the morning.
	pressed := map[string]string{}
	for _, path := range []string{"/case/" + id, "?more=decisions"} {
		do(t, ctx, chromedp.Navigate(a.DeskURL()+path))
		out, err := chromedp.Run(ctx, chromedp.Evaluate[string](`[...[...document.querySelectorAll("#main tr")].find(r => r.textContent.includes("asks for `+words+`") || r.textContent.includes("Asked to move to `+words+`")).querySelectorAll("form button")].map(b => b.textContent).join("; ")`))
		require.NoError(t, err)
		pressed[path] = out
		require.Contains(t, out, "It was declined", path)
		require.Contains(t, out, "Take it back", path)
		require.NotContains(t, out, "Could not be done", path)
		require.NotContains(t, out, "Waive", path)
	}
	require.Equal(t, pressed["/case/"+id], pressed["?more=decisions"])

	asks := "Task?code=ask-for-another-day&group-identifier=" + url.QueryEscape("http://countback.example/fhir/identifier/case|"+id)
	var task struct {
		ID, Status string
		Focus      struct{ Reference string }
		Requester  struct{ Display string }
		Extension  []struct {
			URL            string
			ValueReference struct{ Reference string }
		}
	}
	tasks := found(t, a, asks)
	require.Len(t, tasks, 1)
	require.NoError(t, json.Unmarshal(tasks[0], &task))
	require.Equal(t, []string{"requested", "Idony Quillfeather"}, []string{task.Status, task.Requester.Display})
	for path, says := range map[string]string{
		"": "asks for " + words, "/cases?find=Thimblewood": "Asked to move to " + words, "/case/" + id + "/moved?to=2027-01-27": "Asked to move to " + words,
	} {
		do(t, ctx, chromedp.Navigate(a.DeskURL()+path))
		require.Contains(t, text(t, ctx, "#main"), says, path)
	}
	asked, err := chromedp.Run(ctx, chromedp.Evaluate[int](`document.querySelectorAll(".asks").length`))
	require.NoError(t, err)
	require.Zero(t, asked, "one day is asked for at a time")

	status, body := send(t, http.MethodGet, a.URL()+"/"+task.Focus.Reference, nil)
	require.Equal(t, http.StatusOK, status)
	var booking map[string]any
	require.NoError(t, json.Unmarshal(body, &booking))
	delete(booking, "meta")
	for _, at := range []string{"start", "end"} {
		booking[at] = strings.ReplaceAll(booking[at].(string), "2026-12-09", day)
	}
	moved, err := json.Marshal(booking)
	require.NoError(t, err)
	status, body = send(t, http.MethodPut, a.URL()+"/"+task.Focus.Reference, moved)
	require.Equal(t, http.StatusOK, status, string(body))

	require.NoError(t, json.Unmarshal(found(t, a, asks)[0], &task))
	require.Equal(t, "completed", task.Status)
	require.NotEqual(t, before, dueDays(t, a, id))
	record := ""
	for _, e := range task.Extension {
		record += e.ValueReference.Reference
	}
	require.Equal(t, task.Focus.Reference+"/_history/2", record, "it names the booking that came with the day")
	do(t, ctx, chromedp.Navigate(a.DeskURL()+"/case/"+id))
	main := text(t, ctx, "#main")
	require.NotContains(t, main, "the booking still says")
	require.Contains(t, main, words)
}

// dueDays are the Tasks of a case without those that ask for another day, with the day
// that each is due.
func dueDays(t *testing.T, a *App, id string) map[string]string {
	t.Helper()
	out := map[string]string{}
	for _, raw := range found(t, a, "Task?_count=200&group-identifier="+url.QueryEscape("http://countback.example/fhir/identifier/case|"+id)) {
		var task struct {
			ID          string
			Code        struct{ Coding []struct{ Code string } }
			Restriction struct{ Period struct{ End string } }
		}
		require.NoError(t, json.Unmarshal(raw, &task))
		if task.Code.Coding[0].Code != "ask-for-another-day" {
			out[task.ID] = task.Restriction.Period.End
		}
	}
	return out
}

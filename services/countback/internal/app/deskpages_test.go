package app

import (
	"context"
	"encoding/json"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// appearance sets what the person's system prefers, and how wide its window is.
func appearance(scheme string, width int64) chromedp.Action[chromedp.Void] {
	return chromedp.Steps(chromedp.EmulateViewport(width, 900), chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}},
		})
		return err
	}))
}

// Every page can be used by everyone: no finding of axe-core, light and dark, at
// a desk and on a phone; and no page is wider than the window it is read in.
func TestDeskPages(t *testing.T) {
	ctx := browser(t)
	a := played(t)
	sayWho(t, ctx, a, "Idony Quillfeather", "/desk")
	held, behind := caseOf(t, a, "Ravensbourne", "held"), caseOf(t, a, "Marshlantern", "behind")
	for name, path := range map[string]string{
		"morning":   "",
		"cases":     "/cases",
		"none":      "/cases?find=nobody-is-called-this",
		"held":      "/case/" + held,
		"behind":    "/case/" + behind,
		"home":      "/case/" + caseOf(t, a, "Gravelbloom", "home"),
		"cancelled": "/case/" + caseOf(t, a, "Cloverhitch", "cancelled"),
		"me":        "/me",
	} {
		t.Run(name, func(t *testing.T) {
			for _, look := range []struct {
				scheme string
				width  int64
			}{{"light", 1280}, {"dark", 1280}, {"light", 390}, {"dark", 640}} { // 640 is 1280 at 200 %
				do(t, ctx, appearance(look.scheme, look.width), chromedp.Navigate(a.DeskURL()+path))
				main := text(t, ctx, "body")
				for _, always := range []string{"does not replace", "your local emergency number", "America/Chicago", "main", "Fri 27 Nov 2026"} {
					require.Contains(t, main, always)
				}
				wide, err := chromedp.Run(ctx, chromedp.Evaluate[bool](`document.documentElement.scrollWidth > document.documentElement.clientWidth`))
				require.NoError(t, err)
				shot(t, ctx, name+"-"+look.scheme+"-"+map[int64]string{1280: "desk", 390: "phone", 640: "zoomed"}[look.width])
				require.False(t, wide, "wider than the window at %d", look.width)
				if look.width == 1280 == (look.scheme == "light") { // each colour and each layout once
					accessible(t, ctx, name)
				}
			}
		})
	}
}

// With the keyboard alone the first stop leads past the navigation, and a form is
// reached, filled in and sent.
func TestDeskByKeyboard(t *testing.T) {
	ctx := browser(t)
	a := played(t)
	do(t, ctx, chromedp.Navigate(a.DeskURL()+"/me"), chromedp.KeyEvent("\t"))
	first, err := chromedp.Run(ctx, chromedp.Evaluate[string](`document.activeElement.textContent`))
	require.NoError(t, err)
	require.Equal(t, "To the content", first)
	do(t, ctx, chromedp.KeyEvent("\r"), chromedp.KeyEvent("\t"), chromedp.KeyEvent("Idony"))
	resp, err := chromedp.RunResponse(ctx, chromedp.KeyEvent("\r"))
	require.NoError(t, err)
	require.EqualValues(t, http.StatusOK, resp.Status)
	require.Contains(t, text(t, ctx, ".me"), "Idony")
}

// One press on the list of the morning is a change of the Task, told in an event;
// a page that is open elsewhere follows.
func TestDeskMorning(t *testing.T) {
	ctx := browser(t)
	a := played(t)
	sayWho(t, ctx, a, "Idony Quillfeather", "/desk")
	main := text(t, ctx, "#main")
	for _, in := range []string{"Hesper Copperquill", "The call before surgery", "555-0104", "Fenwin Gravelbloom", "Call after discharge", "Alaric Ravensbourne"} {
		require.Contains(t, main, in)
	}
	require.Less(t, strings.Index(main, "Infection check, last"), strings.Index(main, "Call after discharge"), "a must before what may be left out")
	before := events(t, a)
	row, err := chromedp.Run(ctx, chromedp.Evaluate[string](`[...document.querySelectorAll("#main tr")].find(r => r.textContent.includes("The call before surgery") && r.textContent.includes("Copperquill")).id`))
	require.NoError(t, err)
	id := strings.TrimPrefix(row, "i-")
	click(t, ctx, `form.quick[action="/desk/task/`+id+`"] button`)
	require.Contains(t, text(t, ctx, "#news"), "Recorded as done")
	require.NotContains(t, text(t, ctx, "#main"), "The call before surgery")
	require.Equal(t, before["tasks.done"]+1, events(t, a)["tasks.done"])
	status, body := send(t, http.MethodGet, a.URL()+"/Task/"+id, nil)
	require.Equal(t, http.StatusOK, status)
	var task struct {
		Status string
		Note   []struct{ AuthorString string }
	}
	require.NoError(t, json.Unmarshal(body, &task))
	require.Equal(t, "completed", task.Status)
	require.Equal(t, "Idony Quillfeather", task.Note[0].AuthorString)

	// What a client of the API records is brought to the page by itself.
	other := found(t, a, "Task?code=discharge-call&status=requested")
	require.NotEmpty(t, other)
	var sent map[string]any
	require.NoError(t, json.Unmarshal(other[0], &sent))
	sent["status"] = "completed"
	put, err := json.Marshal(sent)
	require.NoError(t, err)
	status, body = send(t, http.MethodPut, a.URL()+"/Task/"+sent["id"].(string), put)
	require.Equal(t, http.StatusOK, status, string(body))
	_, err = chromedp.Run(ctx, chromedp.Poll[bool](`document.getElementById("news").textContent.startsWith("Brought up to date")`))
	require.NoError(t, err)
	require.NotContains(t, text(t, ctx, "#main"), "Call after discharge")
}

// The list of cases is narrowed by each filter, and pages follow on each other
// without a gap.
func TestDeskCases(t *testing.T) {
	a := played(t)
	page := func(query string) string {
		status, body := send(t, http.MethodGet, a.DeskURL()+"/cases"+query, nil)
		require.Equal(t, http.StatusOK, status)
		return string(body)
	}
	for query, want := range map[string][]string{
		"?find=ravens":          {"Alaric Ravensbourne"},
		"?find=RAVENSBOURNE+al": {"Alaric Ravensbourne"},
		"?find=P-1016":          {"Alaric Ravensbourne"},
		"?state=held":           {"Alaric Ravensbourne", "Sunniva Moorgather"},
		"?week=2026-12-09":      {"Alaric Ravensbourne", "Jorvin Saltharrow", "Corisande Thimblewood", "Perrin Oatfeather"},
		"?state=no-date":        nil,
		"?find=%25":             nil,
	} {
		body := page(query)
		got := strings.Count(body, `<a class="title"`)
		require.Equal(t, len(want), got, query)
		for _, w := range want {
			require.Contains(t, body, w, query)
		}
	}
	surgeon := found(t, a, "Practitioner?name=Palewater")
	require.Len(t, surgeon, 1)
	var r struct{ ID string }
	require.NoError(t, json.Unmarshal(surgeon[0], &r))
	require.Contains(t, page("?surgeon="+url.QueryEscape("Practitioner/"+r.ID)), "Hesper Copperquill")
	require.NotContains(t, page("?surgeon="+url.QueryEscape("Practitioner/"+r.ID)), "Ravensbourne")
}

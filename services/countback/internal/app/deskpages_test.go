package app

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"net/http"
	"net/url"
	"strconv"
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
func deskPages(t *testing.T, ctx context.Context, a *App) {
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
		"moved":     "/case/" + behind + "/moved?to=2027-01-20",
		"weeks":     "/weeks",
		"report":    "/programme?from=2026-09-01&to=2027-03-01",
		"me":        "/me",
		"calendar":  "/case/" + behind + "/calendar",
		"unplanned": "/unplanned",
		"received":  "/received/" + unplannedOf(t, a, "Wrenfurrow"),
		"no case":   "/cases?find=Wrenfurrow",
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
				if look.width == 390 {
					require.Empty(t, smallTargets(t, ctx), "too small for a finger")
				}
				if look.width == 1280 == (look.scheme == "light") { // each colour and each layout once
					accessible(t, ctx, name)
				}
			}
		})
	}
}

// smallTargets are the buttons, fields and such that are lower than 44 px, a
// finger's width; links within a text are not counted (WCAG 2.2, 2.5.5; published).
func smallTargets(t *testing.T, ctx context.Context) string {
	t.Helper()
	out, err := chromedp.Run(ctx, chromedp.Evaluate[string](`[...document.querySelectorAll("button, select, summary, nav a, .jump a, .dial, input:not([type=hidden])")]
		.filter(e => e.getClientRects().length && e.getBoundingClientRect().height < 43.9).map(e => e.tagName + " " + e.textContent.trim().slice(0, 30)).join("; ")`))
	require.NoError(t, err)
	return out
}

// With the keyboard alone the first stop leads past the navigation, and a form is
// reached, filled in and sent.
func deskByKeyboard(t *testing.T, ctx context.Context, a *App) {
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
func deskMorning(t *testing.T, ctx context.Context, a *App) {
	sayWho(t, ctx, a, "Idony Quillfeather", "/desk")
	main := text(t, ctx, "#main")
	for _, in := range []string{"Hesper Copperquill", "The call before surgery", "555-0104", "Fenwin Gravelbloom", "Call after discharge", "Alaric Ravensbourne"} {
		require.Contains(t, main, in)
	}
	require.Less(t, strings.Index(main, "Infection check, last"), strings.Index(main, "Call after discharge"), "a must before what may be left out")
	decide, calls := text(t, ctx, `section[aria-labelledby=decisions]`), text(t, ctx, `section[aria-labelledby=calls]`)
	require.Less(t, strings.Index(decide, "Alaric Ravensbourne"), strings.Index(decide, "Sunniva Moorgather"), "of two holds the one whose surgery is nearer")
	require.Contains(t, decide, "Alaric Ravensbourne", "a hold waits for a decision before its day has come")
	require.Less(t, strings.Index(calls, "Hesper Copperquill"), strings.Index(calls, "Amabelle Frostkettle"), "near goes before late")
	lacking, err := chromedp.Run(ctx, chromedp.Evaluate[int](`[...document.querySelectorAll("#main tr")].filter(r => r.textContent.includes("Hold to be looked at") && r.querySelector("form"))
		.filter(r => !r.querySelector("form.clear input[name=owner]") || !r.querySelector("form.clear input[name=reason]")).length`))
	require.NoError(t, err)
	require.Zero(t, lacking, "a hold is released by who says why")
	before := events(t, a)
	row, err := chromedp.Run(ctx, chromedp.Evaluate[string](`[...document.querySelectorAll("#main tr")].find(r => r.textContent.includes("The call before surgery") && r.textContent.includes("Copperquill")).id`))
	require.NoError(t, err)
	id := strings.TrimPrefix(row, "i-")
	tried := `tr[id="i-` + id + `"] form:has(input[value="tried"])`
	do(t, ctx, chromedp.Click(chromedp.CSS(`tr[id="i-`+id+`"] details.acts summary`)))
	require.Contains(t, text(t, ctx, `tr[id="i-`+id+`"]`), "this step will then not be done at all")
	click(t, ctx, tried+" button")
	require.Contains(t, text(t, ctx, `tr[id="i-`+id+`"]`), "“Tried, not reached.” Idony Quillfeather")
	require.Equal(t, before["tasks.done"], events(t, a)["tasks.done"])
	require.Contains(t, text(t, ctx, `tr[id="i-`+id+`"] p.quick`), "Record the answers")
	do(t, ctx, chromedp.Click(chromedp.CSS(`tr[id="i-`+id+`"] details.acts summary`)))
	click(t, ctx, `tr[id="i-`+id+`"] form:has(input[value="done"]) button`)
	require.Contains(t, text(t, ctx, "#news"), "Hesper Copperquill, “The call before surgery”: Recorded as done.")
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
func deskCases(t *testing.T, _ context.Context, a *App) {
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
		"?week=2026-12-09": {
			"Alaric Ravensbourne", "Isolde Quenchbury", "Jorvin Saltharrow", "Corisande Thimblewood",
			"Bertrand Larkwhistle", "Perrin Oatfeather", "Edric Fallowmere",
		},
		"?state=no-date": nil,
		"?find=%25":      nil,
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

// What would change with another day is shown before anything is done, and
// looking changes nothing.
func deskWhatIf(t *testing.T, ctx context.Context, a *App) {
	id := caseOf(t, a, "Marshlantern", "behind")
	before := versions(t, a)
	told := events(t, a)
	do(t, ctx, chromedp.Navigate(a.DeskURL()+"/case/"+id), chromedp.SetValue(chromedp.CSS("form.ask input"), "2027-01-20"))
	click(t, ctx, "form.ask button")
	main := text(t, ctx, "#main")
	for _, in := range []string{"Nothing has changed", "Wed 2 Dec 2026", "Wed 20 Jan 2027", "on track", "Medical check-up", "Another time"} {
		require.Contains(t, main, in)
	}
	require.Equal(t, before, versions(t, a))
	require.Equal(t, told, events(t, a))

	for day, says := range map[string]string{
		"2027-01-18": "no operating day here", // a holiday: the third Monday of January, 5 U.S.C. 6103(a), published
		"2026-11-28": "That day could not be met",
	} {
		do(t, ctx, chromedp.Navigate(a.DeskURL()+"/case/"+id+"/moved?to="+day))
		require.Contains(t, text(t, ctx, "#main"), says, day)
	}
	for _, day := range []string{"2026-11-01", "soon", "", "9999-01-01"} {
		status, body := send(t, http.MethodGet, a.DeskURL()+"/case/"+id+"/moved?to="+day, nil)
		require.Contains(t, []int{http.StatusUnprocessableEntity, http.StatusOK}, status, day)
		require.Equal(t, day == "", status == http.StatusOK, day+string(body))
	}
}

// The plots' numbers are those of the lists, as a table and as CSV.
func deskWeeks(t *testing.T, _ context.Context, a *App) {
	table := func(name string) [][]string {
		status, body := send(t, http.MethodGet, a.DeskURL()+"/weeks/"+name, nil)
		require.Equal(t, http.StatusOK, status)
		rows, err := csv.NewReader(bytes.NewReader(body)).ReadAll()
		require.NoError(t, err)
		return rows
	}
	surgeries := map[string][]string{}
	for _, row := range table("surgeries.csv")[1:] {
		surgeries[row[0]] = row[1:]
	}
	require.Len(t, surgeries, 28)
	require.Equal(t, []string{"1", "0", "1", ""}, surgeries["2026-11-30"], "on track, and with musts to find out")
	require.Equal(t, []string{"2", "1", "1", ""}, surgeries["2026-12-07"], "one of them is held, and the other has a must to find out")
	require.Equal(t, []string{"0", "0", "0", "no operating day"}, surgeries["2026-12-05"])

	work := table("workload.csv")
	total := 0
	for _, row := range work[1:] {
		n, err := strconv.Atoi(row[len(row)-2])
		require.NoError(t, err)
		total += n
	}
	waiting := 0
	for _, status := range []string{"draft", "requested", "received", "accepted", "in-progress", "on-hold"} {
		waiting += len(found(t, a, "Task?_count=200&status="+status+"&due=ge2026-11-27&due=le2026-12-24"))
	}
	require.Equal(t, waiting, total, "every Task that waits and is due in these weeks counts once")

	tight := table("tight.csv")
	require.Equal(t, []string{"2026-11-30", "P-1003", "Hesper Copperquill", "on track, 4 to find out"}, tight[1][:4])
	status, _ := send(t, http.MethodGet, a.DeskURL()+"/weeks/other.csv", nil)
	require.Equal(t, http.StatusNotFound, status)
}

// The report's page, its CSV and its MeasureReport say the same numbers.
func deskReport(t *testing.T, ctx context.Context, a *App) {
	t.Helper()
	const from, to = "2026-09-01", "2027-03-01"
	do(t, ctx, chromedp.Navigate(a.DeskURL()+"/programme?from="+from+"&to="+to))
	page := strings.Join(strings.Fields(text(t, ctx, "#main")), " ")
	status, body := send(t, http.MethodGet, a.DeskURL()+"/programme/report.csv?from="+from+"&to="+to, nil)
	require.Equal(t, http.StatusOK, status)
	rows, err := csv.NewReader(bytes.NewReader(body)).ReadAll()
	require.NoError(t, err)
	counted := 0
	for _, row := range rows[1:] {
		if row[1] != "" {
			require.Contains(t, page, strings.SplitN(row[1], ": ", 2)[1])
			continue
		}
		require.Contains(t, page, row[0]+" "+row[2]+" of "+row[3]+":")
		n, err := strconv.Atoi(row[3])
		require.NoError(t, err)
		counted += n
	}
	require.Greater(t, counted, 10, "the demo has cases, and one of them was cancelled")
	require.Contains(t, page, "no reason given")
	href, err := chromedp.Run(ctx, chromedp.Evaluate[string](`document.querySelector("#surgery-cancelled").parentElement.querySelector("a").getAttribute("href")`))
	require.NoError(t, err)
	status, body = send(t, http.MethodGet, strings.TrimSuffix(a.DeskURL(), "/desk")+href, nil)
	require.Equal(t, http.StatusOK, status, string(body))
	var report struct {
		Group []struct{ Population []struct{ Count int } }
	}
	require.NoError(t, json.Unmarshal(body, &report))
	require.Equal(t, []string{rows[1][3], rows[1][2]}, []string{strconv.Itoa(report.Group[0].Population[0].Count), strconv.Itoa(report.Group[0].Population[1].Count)})
	for _, wrong := range []string{"?from=canary", "?from=2027-01-01&to=2026-01-01", "?from=1900-01-01&to=2026-01-01"} {
		status, _ = send(t, http.MethodGet, a.DeskURL()+"/programme/report.csv"+wrong, nil)
		require.Equal(t, http.StatusNotFound, status)
		status, body = send(t, http.MethodGet, a.DeskURL()+"/programme"+wrong, nil)
		require.Equal(t, http.StatusOK, status)
		require.Contains(t, string(body), "the last days are shown instead")
	}
}

// The patient's sheet can be read by everyone, too, in both languages, at a desk
// and on a phone.
func deskSheet(t *testing.T, ctx context.Context, a *App) {
	for _, lang := range []string{"en", "es"} {
		for _, who := range []string{caseOf(t, a, "Duskmeadow", "behind"), caseOf(t, a, "Ravensbourne", "held")} {
			for _, width := range []int64{1280, 390} {
				do(t, ctx, appearance("light", width), chromedp.Navigate(a.DeskURL()+"/case/"+who+"/sheet?language="+lang))
				said, err := chromedp.Run(ctx, chromedp.Evaluate[string](`document.documentElement.lang`))
				require.NoError(t, err)
				require.Equal(t, lang, said, "the question goes before a patient's own preference")
				wide, err := chromedp.Run(ctx, chromedp.Evaluate[bool](`document.documentElement.scrollWidth > document.documentElement.clientWidth`))
				require.NoError(t, err)
				require.False(t, wide, "wider than the window at %d", width)
				shot(t, ctx, "sheet-"+lang+"-"+strconv.FormatInt(width, 10))
				accessible(t, ctx, "sheet "+lang)
			}
		}
	}
}

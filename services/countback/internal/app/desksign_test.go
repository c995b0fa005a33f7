package app

import (
	"context"
	"encoding/json"
	"html"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// taskOf is the Task of a step of a case.
type taskOf struct {
	ID, Status string
	Owner      struct{ Display string }
	Note       []struct{ AuthorString, Text string }
}

func stepTask(t testing.TB, a *App, id, step string) taskOf {
	t.Helper()
	tasks := found(t, a, "Task?code="+step+"&group-identifier="+url.QueryEscape("http://countback.example/fhir/identifier/case|"+id))
	require.NotEmpty(t, tasks)
	var out taskOf
	require.NoError(t, json.Unmarshal(tasks[len(tasks)-1], &out))
	return out
}

// What a prescriber signed is recorded on the case's page with one form: the
// advised day, another day, or that the medicine goes on.
func TestDeskSigns(t *testing.T) {
	ctx, a := browser(t), played(t)
	id := caseOf(t, a, "Quenchbury", "on-track")
	page := "/desk/case/" + id
	sayWho(t, ctx, a, "Idony Quillfeather", page)
	form := `form:has(input[name=does][value=sign])`
	for _, look := range []struct {
		scheme string
		width  int64
	}{{"light", 1280}, {"dark", 390}} {
		do(t, ctx, appearance(look.scheme, look.width), chromedp.Navigate(a.DeskURL()+"/case/"+id))
		_, err := chromedp.Run(ctx, chromedp.Evaluate[any](`document.querySelectorAll("details").forEach(d => { d.open = !!d.querySelector("`+form+`") }); document.querySelector("`+form+`").scrollIntoView(); true`))
		require.NoError(t, err)
		said := text(t, ctx, form)
		for _, choice := range []string{"The last dose as advised: Fri 4 Dec 2026", "A last dose on another day", "It goes on as usual: no last dose", "The person does not take it", "The patient is told what is recorded here, with this name."} {
			require.Contains(t, said, choice)
		}
		wide, err := chromedp.Run(ctx, chromedp.Evaluate[bool](`document.documentElement.scrollWidth > document.documentElement.clientWidth`))
		require.NoError(t, err)
		require.False(t, wide, "wider than the window at %d", look.width)
		shot(t, ctx, "sign-"+look.scheme)
		accessible(t, ctx, "the form of a signature")
	}
	do(t, ctx, chromedp.Click(chromedp.CSS(form+" input[value=go-on]")),
		chromedp.SendKeys(chromedp.CSS(form+" input[name=reason]"), "Mechanical valve"),
		chromedp.SendKeys(chromedp.CSS(form+" input[name=owner]"), "Dr Corvan Stillmarch"))
	clickTo(t, ctx, form+" button", http.StatusUnprocessableEntity)
	require.Contains(t, text(t, ctx, "main"), "The rules give a last dose: for ", "it is asked whether it is meant")
	accessible(t, ctx, "the question whether it is meant")
	do(t, ctx, chromedp.Click(chromedp.CSS("input[name=meant]")))
	click(t, ctx, `form:has(input[name=meant]) button`)
	require.Contains(t, text(t, ctx, "#news"), "Recorded what the prescriber signed")
	task := stepTask(t, a, id, "medicine-sign-off")
	require.Equal(t, []string{"completed", "Dr Corvan Stillmarch"}, []string{task.Status, task.Owner.Display})
	require.Equal(t, "Signed: goes on as usual. Dr Corvan Stillmarch. Mechanical valve.", task.Note[len(task.Note)-1].Text)
	require.Equal(t, "cancelled", stepTask(t, a, id, "medicine-stop").Status)
	require.Contains(t, sheetOf(t, ctx, a, id), "Keep taking it as you do now. Signed by Dr Corvan Stillmarch.")

	// A second person looks at it, on the same page.
	do(t, ctx, chromedp.Navigate(a.DeskURL()+"/case/"+id))
	look := `form:has(input[name=does][value=agree])`
	_, err := chromedp.Run(ctx, chromedp.Evaluate[any](`document.querySelectorAll("details").forEach(d => { d.open = !!d.querySelector("`+look+`") }); document.querySelector("`+look+`").scrollIntoView(); true`))
	require.NoError(t, err)
	shot(t, ctx, "second-look")
	accessible(t, ctx, "the form of a second look")
	do(t, ctx, chromedp.Click(chromedp.CSS(look+" input[value=agree]")), chromedp.SendKeys(chromedp.CSS(look+" input[name=owner]"), "Dr Wendeline Thatchmarsh"))
	click(t, ctx, look+" button")
	require.Contains(t, text(t, ctx, "#news"), "a second person agrees with what was signed")
	require.Equal(t, "completed", stepTask(t, a, id, "look-at-late-dose").Status)
}

func sheetOf(t *testing.T, ctx context.Context, a *App, id string) string {
	t.Helper()
	do(t, ctx, chromedp.Navigate(a.DeskURL()+"/case/"+id+"/sheet"))
	return text(t, ctx, "body")
}

// The form needs no script: a plain POST says the same, and what it lacks is
// answered in words.
func TestDeskSignsWithoutScript(t *testing.T) {
	a := played(t)
	id := caseOf(t, a, "Quenchbury", "on-track")
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	c := &http.Client{Jar: jar}
	post := func(path string, form url.Values) (int, string) {
		resp, err := c.PostForm(strings.TrimSuffix(a.DeskURL(), "/desk")+path, form)
		require.NoError(t, err)
		defer resp.Body.Close()
		body, err := io.ReadAll(resp.Body)
		require.NoError(t, err)
		return resp.StatusCode, string(body)
	}
	post("/desk/me", url.Values{"name": {"Idony Quillfeather"}, "back": {"/desk"}})
	task := stepTask(t, a, id, "medicine-sign-off")
	resp, err := c.Get(a.DeskURL() + "/case/" + id)
	require.NoError(t, err)
	body, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	require.NoError(t, resp.Body.Close())
	version := regexp.MustCompile(`/desk/task/` + regexp.QuoteMeta(task.ID) + `"><input type="hidden" name="back" value="[^"]*"><input type="hidden" name="version" value="(\d+)"><input type="hidden" name="does" value="sign">`).FindSubmatch(body)
	require.NotNil(t, version)
	signs := func(pairs ...string) url.Values {
		out := url.Values{"version": {string(version[1])}, "does": {"sign"}, "back": {"/desk/case/" + id}, "owner": {"Dr Corvan Stillmarch"}}
		for n := 0; n < len(pairs); n += 2 {
			out.Set(pairs[n], pairs[n+1])
		}
		return out
	}
	for says, form := range map[string]url.Values{
		"say what the prescriber signed":              signs(),
		"signed by a prescriber with a name":          signs("signs", "as-advised", "owner", " "),
		"say on which day the last dose is":           signs("signs", "other-day", "reason", "Frail"),
		"decided otherwise than advised":              signs("signs", "go-on"),
		"choose one of them":                          signs("signs", "as-advised", "dose", "2027-01-02"),
		"It does not say what was signed":             signs("signs", "perhaps", "reason", "Frail"),
		"Sign it all the same?":                       signs("signs", "other-day", "reason", "Frail", "dose", "2026-12-07"),
		"This is later than the rules give: for ":     signs("signs", "other-day", "reason", "Frail", "dose", "2026-12-07"),
		"The last dose lies after the day of surgery": signs("signs", "other-day", "reason", "Frail", "dose", "2031-01-02"),
	} {
		code, answer := post("/desk/task/"+task.ID, form)
		answer = html.UnescapeString(answer)
		require.GreaterOrEqual(t, code, 400, says)
		require.Contains(t, answer, says)
	}
	require.NotEqual(t, "completed", stepTask(t, a, id, "medicine-sign-off").Status)
	require.Regexp(t, `<tr id="i-`+regexp.QuoteMeta(task.ID)+`">(?:[^<]|<[^/]|</[^t]|</t[^r])*no use after Fri 4 Dec 2026`, string(body), "a signature after the last dose comes too late")
	require.Regexp(t, `To confirm before signing: [^<]+</b></p><fieldset class="choices">`, html.UnescapeString(string(body)), "inside the form")
	code, shown := post("/desk/task/"+task.ID, signs("signs", "other-day", "reason", "Frail", "dose", "2026-12-07", "meant", "yes"))
	require.Equal(t, http.StatusOK, code)
	require.Equal(t, "completed", stepTask(t, a, id, "medicine-sign-off").Status)
	require.Regexp(t, `(?s)Why it stands so</h2><ul class="why">.*This is later than the rules give: for .* signed by Mon 7 Dec 2026, the rules give Fri 4 Dec 2026`, html.UnescapeString(shown))
}

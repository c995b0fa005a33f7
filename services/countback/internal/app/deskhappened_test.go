package app

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// confirmForm is the form that says what became of an operation.
const confirmForm = `form:has(input[name=does][value=happened])`

// What became of an operation whose day has passed is asked on the first page, and
// recorded with one form.
func TestDeskRecordsWhatHappened(t *testing.T) {
	ctx, a := browser(t), passedDay(t)
	id := caseOf(t, a, "Copperquill", "held")
	sayWho(t, ctx, a, "Idony Quillfeather", "/desk")
	require.Contains(t, text(t, ctx, "#main"), "Confirm whether the operation took place and when the person went home")
	require.Contains(t, text(t, ctx, "table.passed"), "Record what happened")
	do(t, ctx, chromedp.Navigate(a.DeskURL()+"/case/"+id))
	require.Contains(t, text(t, ctx, "ul.why"), "The hour of the operation has passed, and nobody has reported whether it took place.")
	_, err := chromedp.Run(ctx, chromedp.Evaluate[any](`document.querySelectorAll("details").forEach(d => { d.open = !!d.querySelector("`+confirmForm+`") }); document.querySelector("`+confirmForm+`").scrollIntoView(); true`))
	require.NoError(t, err)
	for _, field := range []string{"Day the person came", "Day they went home", "The operation did not take place", "Still in hospital? Then say only when they came."} {
		require.Contains(t, text(t, ctx, confirmForm), field)
	}
	shot(t, ctx, "happened")
	accessible(t, ctx, "the form of what happened")
	do(t, ctx, chromedp.SetValue(chromedp.CSS(confirmForm+" input[name=came]"), "2026-11-30"), chromedp.SetValue(chromedp.CSS(confirmForm+" input[name=came-at]"), "05:40"),
		chromedp.SetValue(chromedp.CSS(confirmForm+" input[name=home]"), "2026-12-01"))
	click(t, ctx, confirmForm+" button")
	require.Contains(t, text(t, ctx, "#news"), "Recorded what happened.")
	require.Contains(t, text(t, ctx, "ul.why"), "Idony Quillfeather reported on Wed 2 Dec 2026 that the person came on Mon 30 Nov 2026, 05:40 and went home on Tue 1 Dec 2026; no record has said so.")
	task := stepTask(t, a, id, "confirm-what-happened")
	require.Equal(t, "completed", task.Status)
	require.Equal(t, "Reported: came 2026-11-30 05:40. went home 2026-12-01. Idony Quillfeather.", task.Note[len(task.Note)-1].Text)
	caseOf(t, a, "Copperquill", "home")
}

// The form needs no script: a plain POST says the same, and what it lacks, or what
// cannot be so, is answered in words.
func TestDeskRecordsWhatHappenedWithoutScript(t *testing.T) {
	a := passedDay(t)
	id := caseOf(t, a, "Copperquill", "held")
	c, read := plainForms(t)
	post := func(path string, form url.Values) (int, string) {
		return read(c.PostForm(strings.TrimSuffix(a.DeskURL(), "/desk")+path, form))
	}
	post("/desk/me", url.Values{"name": {"Idony Quillfeather"}, "back": {"/desk"}})
	task := stepTask(t, a, id, "confirm-what-happened")
	_, page := read(c.Get(a.DeskURL() + "/case/" + id))
	version := regexp.MustCompile(`/desk/task/` + regexp.QuoteMeta(task.ID) + `"><input type="hidden" name="back" value="[^"]*"><input type="hidden" name="version" value="(\d+)"><input type="hidden" name="does" value="happened">`).FindStringSubmatch(page)
	require.NotNil(t, version)
	says := func(pairs ...string) url.Values {
		out := url.Values{"version": {version[1]}, "does": {"happened"}, "back": {"/desk/case/" + id}}
		for n := 0; n < len(pairs); n += 2 {
			out.Set(pairs[n], pairs[n+1])
		}
		return out
	}
	for words, form := range map[string]url.Values{
		"Say when the person came or went home, or that the operation did not take place":                                  says(),
		"it says that the operation did not take place, and when the person came or went home beside it: say one of them.": says("not-done", "yes", "came", "2026-11-30"),
		"The time given for when they went home lies in the future: say what has happened.":                                says("home", "2026-12-24"),
		"The time given for when the person came lies before the day of surgery, Mon 30 Nov 2026.":                         says("came", "2026-11-29"),
		"They would have gone home before they came: correct one of the two.":                                              says("came", "2026-12-01", "home", "2026-11-30"),
		"Say on which day the person went home":                                                                            says("came", "2026-11-30", "home-at", "12:00"),
		"is not a time of day":                                                                                             says("came", "2026-11-30", "came-at", "noon"),
	} {
		code, answer := post("/desk/task/"+task.ID, form)
		require.GreaterOrEqual(t, code, 400, words)
		require.Contains(t, strings.ToLower(answer), strings.ToLower(words))
		require.NotRegexp(t, `Task\.|went-home|arrived \(|not-operated|what was signed`, answer, words)
	}
	require.NotEqual(t, "completed", stepTask(t, a, id, "confirm-what-happened").Status)
	code, shown := post("/desk/task/"+task.ID, says("not-done", "yes"))
	require.Equal(t, http.StatusOK, code)
	require.Contains(t, shown, "Idony Quillfeather reported on Wed 2 Dec 2026 that the operation of Mon 30 Nov 2026 did not take place, and the booking still has that day")
	require.Contains(t, shown, "no date yet")
}

// passedDay is the story, and then some days without anybody.
func passedDay(t *testing.T) *App {
	t.Helper()
	a := played(t)
	a.Clock.Stand(time.Date(2026, 12, 2, 12, 0, 0, 0, a.Office.Facility().Calendar.Zone()))
	require.NoError(t, a.Tick(t.Context()))
	return a
}

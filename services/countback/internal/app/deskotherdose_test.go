package app

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Insulin in another dose, by plain forms: the sheet of the demo prints the words that
// were signed. Taken back, the form offers no "as usual" and says why; what is signed
// without words, or as usual all the same, is answered in words; the new words take
// the place of the old ones on the sheet.
func TestDeskSignsAnotherDose(t *testing.T) {
	a := played(t)
	id := caseOf(t, a, "Underhollow", "on-track")
	c, read := plainForms(t)
	get := func(path string) string {
		code, body := read(c.Get(a.DeskURL() + path))
		require.Equal(t, http.StatusOK, code)
		return body
	}
	post := func(path string, form url.Values) (int, string) { return read(c.PostForm(a.DeskURL()+path, form)) }
	post("/me", url.Values{"name": {"Idony Quillfeather"}, "back": {"/desk"}})
	sheet := get("/case/" + id + "/sheet")
	require.Contains(t, sheet, `Dr Quenby Ashlarke, prescriber signed: <q class="words" translate="no">Tuesday evening, 15 December: take 16 units of insulin glargine instead of 20. `)
	require.NotContains(t, sheet, "Keep taking it as you do now")
	require.Contains(t, get("/case/"+id), "is taken in another dose, as Dr Quenby Ashlarke, prescriber signed")

	does := func(does string, pairs ...string) (int, string) {
		t.Helper()
		task := stepTask(t, a, id, "medicine-sign-off")
		version := regexp.MustCompile(`/desk/task/` + regexp.QuoteMeta(task.ID) + `"><input type="hidden" name="back" value="[^"]*"><input type="hidden" name="version" value="(\d+)"><input type="hidden" name="does" value="` + does + `">`).FindStringSubmatch(get("/case/" + id))
		require.NotNil(t, version)
		form := url.Values{"version": {version[1]}, "does": {does}, "back": {"/desk/case/" + id}}
		for n := 0; n < len(pairs); n += 2 {
			form.Set(pairs[n], pairs[n+1])
		}
		return post("/task/"+task.ID, form)
	}
	code, _ := does("reopen", "reason", "Mistyped")
	require.Equal(t, http.StatusOK, code)
	page := get("/case/" + id)
	require.Contains(t, page, `name="signs" value="other-dose"`)
	require.NotContains(t, page, `name="signs" value="go-on"`)
	require.Contains(t, page, "That it goes on as usual is not signed for this medicine")
	const doctor = "Dr Corvan Stillmarch"
	for says, form := range map[string][]string{
		"what is taken and when":                    {"signs", "other-dose"},
		"sign other-dose":                           {"signs", "go-on", "reason", "Basal dose reduced to 80 percent on the evening before"},
		"another dose is written, and another":      {"signs", "not-taken", "reason", "Says so", "dose-words", "Half of it"},
		"signed by a prescriber with a name":        {"signs", "other-dose", "dose-words", "Half of it", "owner", " "},
		"a day is given, and another choice than a": {"signs", "other-dose", "dose-words", "Half of it", "dose", "2026-12-14"},
	} {
		code, answer := does("sign", append([]string{"owner", doctor}, form...)...)
		require.GreaterOrEqual(t, code, 400, says)
		require.Contains(t, answer, says)
	}
	require.NotEqual(t, "completed", stepTask(t, a, id, "medicine-sign-off").Status)
	code, _ = does("sign", "owner", doctor, "signs", "other-dose", "dose-words", "Take 18 units the evening before.\r\nNone in the morning.")
	require.Equal(t, http.StatusOK, code)
	task := stepTask(t, a, id, "medicine-sign-off")
	require.Equal(t, "completed", task.Status)
	require.Contains(t, task.Note[len(task.Note)-1].Text, "Signed: taken in another dose: “Take 18 units the evening before.")
	sheet = get("/case/" + id + "/sheet")
	require.Contains(t, strings.ReplaceAll(sheet, "\r", ""), doctor+` signed: <q class="words" translate="no">Take 18 units the evening before.`+"\n"+"None in the morning.</q> Ask us if this is not clear to you.")
	require.NotContains(t, sheet, "16 units")
}

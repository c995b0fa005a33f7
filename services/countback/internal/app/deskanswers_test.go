package app

import (
	"context"
	"encoding/json"
	"html"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// fieldNames finds the groups of radio buttons of a form, with what they are asked by.
var fieldNames = regexp.MustCompile(`<input type="radio" name="(q\.[^"]+)" value="no"`)

// hiddenField finds what a form sends along.
func hiddenField(t testing.TB, page, name string) string {
	t.Helper()
	found := regexp.MustCompile(`name="` + name + `" value="([^"]*)"`).FindStringSubmatch(page)
	require.NotNil(t, found, name)
	return html.UnescapeString(found[1])
}

// asked opens the form of an item, and gives it with "no" to every question of yes
// and no, but for what else is said.
func asked(t testing.TB, a *App, task string, but map[string]string) (page string, form url.Values) {
	t.Helper()
	status, body := send(t, http.MethodGet, a.DeskURL()+"/task/"+task+"/answers", nil)
	require.Equal(t, http.StatusOK, status, string(body))
	page = string(body)
	require.NotRegexp(t, `<input type="radio"[^>]* checked`, page, "nothing is answered before anybody has said it")
	form = url.Values{"version": {hiddenField(t, page, "version")}, "form": {hiddenField(t, page, "form")}, "back": {"/desk"}}
	for _, name := range fieldNames.FindAllStringSubmatch(page, -1) {
		form.Set(name[1], "no")
	}
	for name, value := range but {
		if form.Set(name, value); value == "" {
			form.Del(name)
		}
	}
	return page, form
}

// waiting is an item of a step that somebody can do something about now.
func waiting(t testing.TB, a *App, step string) (task, patient, plan string) {
	t.Helper()
	for _, raw := range found(t, a, "Task?code="+step+"&status=requested") {
		var r struct {
			ID  string
			For struct{ Reference string }
		}
		require.NoError(t, json.Unmarshal(raw, &r))
		if len(found(t, a, "Flag?status=active&patient="+r.For.Reference)) == 0 {
			plan, _, _ = strings.Cut(r.ID, ".")
			return r.ID, r.For.Reference, plan
		}
	}
	require.Fail(t, "nobody waits for "+step)
	return "", "", ""
}

// A toothache that is heard on the telephone is written down at the desk, without a
// script: the case is held, the check is done by the answers, and who asked stands
// in the record. That an infection of a tooth stands in the way of an elective
// joint replacement until somebody has judged it: common practice, no source.
func TestDeskRecordsAToothacheHeardOnTheTelephone(t *testing.T) {
	a := played(t)
	task, patient, plan := waiting(t, a, "infection-check-3")
	code, refused := sendForm(t, a, "/task/"+task, url.Values{"version": {"0"}, "does": {"done"}, "back": {"/desk"}})
	require.Equal(t, http.StatusUnprocessableEntity, code)
	require.Contains(t, refused, "record the answers")
	_, row := sendForm(t, a, "/me", url.Values{"name": {"Idony Quillfeather"}, "back": {"/desk/case/" + plan}}) // leads to the case
	require.Regexp(t, `href="/desk/task/`+task+`/answers\?back=`, row[strings.Index(row, `id="i-`+task):][:9000])

	page, form := asked(t, a, task, map[string]string{"q.dental": "yes", "q.dental-began": "2026-11-24", "q.fever": ""})
	require.Contains(t, page, "Do you have a toothache, a swollen or bleeding gum, or an infected tooth?")
	require.Contains(t, html.UnescapeString(page), "Asked only if “Do you have a toothache, a swollen or bleeding gum, or an infected tooth?” is answered with yes.")
	before := len(found(t, a, "QuestionnaireResponse?subject="+patient))
	code, again := sendForm(t, a, "/task/"+task+"/answers", form)
	require.Equal(t, http.StatusUnprocessableEntity, code)
	again = html.UnescapeString(again)
	require.Contains(t, again, "“Have you had a fever in the last two weeks that nobody has explained?” is not answered.")
	require.Contains(t, again, `name="q.dental" value="yes" checked`, "what was written down is still there")
	require.Contains(t, again, `name="q.dental-began" value="2026-11-24"`)
	require.Len(t, found(t, a, "QuestionnaireResponse?subject="+patient), before)

	form.Set("q.fever", "no")
	form.Set("q.wound-began", "2026-11-20")
	code, again = sendForm(t, a, "/task/"+task+"/answers", form)
	require.Equal(t, http.StatusUnprocessableEntity, code)
	require.Contains(t, html.UnescapeString(again), "is answered, and is asked only if", "a day for what was denied is one slip or the other")

	form.Del("q.wound-began")
	code, after := sendForm(t, a, "/task/"+task+"/answers", form)
	require.Equal(t, http.StatusOK, code)
	after = html.UnescapeString(after)
	for _, says := range []string{"The case is held.", "Done by them: Infection check, last", "by Idony Quillfeather, who asked", "The answers are recorded."} {
		require.Contains(t, after, says)
	}
	responses := found(t, a, "QuestionnaireResponse?subject="+patient)
	require.Len(t, responses, before+1)
	var r struct {
		ID, Status, Questionnaire, Authored string
		Author                              struct{ Display string }
	}
	for _, raw := range responses {
		if strings.Contains(string(raw), "Idony Quillfeather") {
			require.NoError(t, json.Unmarshal(raw, &r))
		}
	}
	require.Equal(t, "completed", r.Status)
	require.Equal(t, "http://countback.example/fhir/Questionnaire/infection-and-dental-screening|1.0.0", r.Questionnaire)
	require.True(t, strings.HasPrefix(r.Authored, "2026-11-27T"), r.Authored)
	flags := found(t, a, "Flag?status=active&patient="+patient)
	require.Len(t, flags, 1)
	require.Contains(t, string(flags[0]), "by their own answer")
	status, body := send(t, http.MethodGet, a.URL()+"/Task/"+task, nil)
	require.Equal(t, http.StatusOK, status)
	require.Contains(t, string(body), `"status":"completed"`)
	require.Contains(t, string(body), "QuestionnaireResponse/"+r.ID)
	kept := 0
	for _, raw := range found(t, a, "Provenance?patient="+patient) {
		if strings.Contains(string(raw), "QuestionnaireResponse/"+r.ID+"/_history/1") {
			kept++
		}
	}
	require.Equal(t, 1, kept)

	code, twice := sendForm(t, a, "/task/"+task+"/answers", form)
	require.Equal(t, http.StatusOK, code, twice)
	require.Len(t, found(t, a, "QuestionnaireResponse?subject="+patient), before+1, "a form sent twice is recorded once")
	form.Set("form", "1")
	code, late := sendForm(t, a, "/task/"+task+"/answers", form)
	require.Equal(t, http.StatusConflict, code)
	require.Contains(t, html.UnescapeString(late), "“Infection check, last” is settled: done")
	require.Contains(t, late, `name="q.dental" value="yes" checked`)
	form.Set("version", hiddenField(t, late, "version"))
	code, _ = sendForm(t, a, "/task/"+task+"/answers", form)
	require.Equal(t, http.StatusOK, code, "who has seen that may record them all the same")
}

// What is not known leaves the check open, and is named.
func TestDeskDoesNotTakeNotKnownForANo(t *testing.T) {
	a := played(t)
	task, patient, _ := waiting(t, a, "infection-check-3")
	_, form := asked(t, a, task, map[string]string{"q.fever": "unknown"})
	code, after := sendForm(t, a, "/task/"+task+"/answers", form)
	require.Equal(t, http.StatusOK, code)
	after = html.UnescapeString(after)
	require.Contains(t, after, "Still to be asked, as it was left out or is not known: Have you had a fever in the last two weeks")
	require.Contains(t, after, "“Infection check, last” is still open.")
	require.Empty(t, found(t, a, "Flag?status=active&patient="+patient))
	_, body := send(t, http.MethodGet, a.URL()+"/Task/"+task, nil)
	require.Contains(t, string(body), `"status":"requested"`)
}

// A chest pain that is named in the call after discharge: what must be said stands
// first, also while the form is incomplete, and somebody has a task that cannot
// wait. That it sends to the emergency number: common practice, no source.
func TestDeskRecordsAChestPainHeardOnTheTelephone(t *testing.T) {
	a := played(t)
	task, patient, _ := waiting(t, a, "discharge-call")
	_, form := asked(t, a, task, map[string]string{"q.chest-pain": "yes", "q.bleeding": "", "q.temperature": "101,4", "u.temperature": "http://unitsofmeasure.org|[degF]"})
	urgent := func() int {
		return len(found(t, a, "Task?code=symptom-report-now&status=requested&patient="+patient))
	}
	before := urgent()
	code, again := sendForm(t, a, "/task/"+task+"/answers", form)
	require.Equal(t, http.StatusUnprocessableEntity, code)
	require.Less(t, strings.Index(again, "Call your local emergency number now."), strings.Index(again, "<form"), "first, and before it is complete")
	require.Contains(t, again, "Nothing is recorded yet")
	require.Equal(t, before, urgent())
	form.Set("q.bleeding", "no")
	code, after := sendForm(t, a, "/task/"+task+"/answers", form)
	require.Equal(t, http.StatusOK, code)
	main := after[strings.Index(after, "<main"):]
	require.Less(t, strings.Index(main, "Call your local emergency number now."), strings.Index(main, "What follows from them"))
	require.Contains(t, main, "Symptom report: call the person now (due)")
	require.Contains(t, main, "The hospital has a task to call back.")
	require.Contains(t, html.UnescapeString(main), "These answers do not close it: record it as done when it is.")
	require.Equal(t, before+1, urgent())
	raw := found(t, a, "Task?code=symptom-report-now&status=requested&patient="+patient)
	require.Contains(t, string(raw[len(raw)-1]), `"priority":"stat"`)
	var sent string
	for _, r := range found(t, a, "QuestionnaireResponse?subject="+patient) {
		if strings.Contains(string(r), "Idony Quillfeather") {
			sent = string(r)
		}
	}
	require.Contains(t, sent, `"value":101.4`)
	require.Contains(t, sent, `"code":"[degF]"`)
	code, _ = sendForm(t, a, "/task/"+task, url.Values{"version": {"0"}, "does": {"done"}, "back": {"/desk"}})
	require.Equal(t, http.StatusOK, code, "the call itself is closed by who made it")
}

// Why a check could not be done stands where somebody decides, with who said it, and
// not that a last day has passed which is still to come.
func TestDeskSaysWhyAMustCouldNotBeDone(t *testing.T) {
	a := played(t)
	task, patient, _ := waiting(t, a, "infection-check-3")
	code, after := sendForm(t, a, "/task/"+task, url.Values{"version": {"0"}, "does": {"failed"}, "reason": {"The person says abscess"}, "back": {"/desk"}})
	require.Equal(t, http.StatusOK, code)
	after = html.UnescapeString(after)
	const why = "it could not be done: The person says abscess (said by Idony Quillfeather)"
	for _, list := range []string{"danger", "decisions"} {
		at := strings.Index(after, `<h2 id="`+list+`"`)
		require.Positive(t, at, list)
		section := after[at:]
		section = section[:strings.Index(section, "</section>")]
		require.True(t, strings.Contains(section, why), list)
	}
	flags := found(t, a, "Flag?status=active&patient="+patient)
	require.Len(t, flags, 1)
	require.Contains(t, string(flags[0]), why)
	require.NotContains(t, string(flags[0]), "by its last day")
}

// The form in a browser: nothing that axe-core finds, light and dark, at a desk and
// on a phone.
func deskAnswers(t *testing.T, ctx context.Context, a *App) {
	sayWho(t, ctx, a, "Idony Quillfeather", "/desk")
	for step, first := range map[string]string{"infection-check-3": "q.skin", "discharge-call": "q.chest-pain"} {
		task, _, _ := waiting(t, a, step)
		for _, look := range []struct {
			scheme string
			width  int64
		}{{"light", 1280}, {"dark", 390}} {
			do(t, ctx, appearance(look.scheme, look.width), chromedp.Navigate(a.DeskURL()+"/task/"+task+"/answers"))
			wide, err := chromedp.Run(ctx, chromedp.Evaluate[bool](`document.documentElement.scrollWidth > document.documentElement.clientWidth`))
			require.NoError(t, err)
			shot(t, ctx, "asking-"+step+"-"+look.scheme)
			require.False(t, wide, "wider than the window at %d", look.width)
			if look.width == 390 {
				require.Empty(t, smallTargets(t, ctx), "too small for a finger")
			}
			accessible(t, ctx, "the questions of "+step)
		}
		do(t, ctx, chromedp.Click(chromedp.CSS(`input[name="`+first+`"][value=yes]`)))
		clickTo(t, ctx, "form.questions button", http.StatusUnprocessableEntity)
		require.Contains(t, text(t, ctx, "#main"), "Nothing is recorded yet")
		accessible(t, ctx, "the questions of "+step+", incomplete")
		shot(t, ctx, "asking-again-"+step)
	}
	do(t, ctx, appearance("light", 1280))
}

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

// twoKnees books one knee for somebody of whom two operations may be it, and gives
// the case and the operation of the left knee.
func twoKnees(t *testing.T, a *App) (plan, left string) {
	t.Helper()
	person := `{"fullUrl":"urn:uuid:00000000-0000-4000-8100-000000000001","resource":{"resourceType":"Patient","identifier":[{"system":"https://registry.larkspindle.example/person","value":"P-7701"}],"name":[{"family":"Twofold","given":["Merrow"]}]},"request":{"method":"POST","url":"Patient"}}`
	knee := func(n, code, words string) string {
		return `{"resource":{"resourceType":"Procedure","identifier":[{"system":"https://theatre.larkspindle.example/case","value":"K-770` + n + `"}],"status":"preparation","code":{"coding":[{"system":"http://hl7.org/fhir/sid/icd-10-pcs","code":"` + code + `"}],"text":"` + words + `"},"subject":{"reference":"urn:uuid:00000000-0000-4000-8100-000000000001"},"performedDateTime":"2027-02-1` + n + `"},"request":{"method":"PUT","url":"Procedure?identifier=https://theatre.larkspindle.example/case|K-770` + n + `"}}`
	}
	booked := `{"resource":{"resourceType":"Appointment","identifier":[{"system":"https://theatre.larkspindle.example/appointment","value":"A-7701"}],"status":"booked","serviceType":[{"coding":[{"system":"http://terminology.hl7.org/CodeSystem/service-type","code":"218"}]}],"reasonCode":[{"coding":[{"system":"http://snomed.info/sct","code":"609588000"}]}],"start":"2027-02-11T07:30:00-06:00","end":"2027-02-11T10:00:00-06:00","participant":[{"actor":{"reference":"urn:uuid:00000000-0000-4000-8100-000000000001"},"status":"accepted"}]},"request":{"method":"PUT","url":"Appointment?identifier=https://theatre.larkspindle.example/appointment|A-7701"}}`
	status, body := send(t, http.MethodPost, a.URL(), []byte(`{"resourceType":"Bundle","type":"transaction","entry":[`+
		strings.Join([]string{person, knee("1", "0SRD0J9", "The knee of the first letter"), knee("2", "0SRC0J9", "The knee of the second letter"), booked}, ",")+`]}`))
	require.Equal(t, http.StatusOK, status, string(body))
	var r struct{ ID string }
	require.NoError(t, json.Unmarshal(found(t, a, "Procedure?identifier="+url.QueryEscape("https://theatre.larkspindle.example/case|K-7701"))[0], &r))
	return caseOf(t, a, "Twofold", "on-track"), "Procedure/" + r.ID
}

// Which booking is meant is answered on the case or in the morning by choosing one of
// those that may be, told apart by day, operation and side; what is chosen is linked.
// To close it without a choice is refused.
func deskMeant(t *testing.T, ctx context.Context, a *App) {
	id, left := twoKnees(t, a)
	page := "/desk/case/" + id
	sayWho(t, ctx, a, "Idony Quillfeather", "/desk")
	decide := text(t, ctx, `section[aria-labelledby=decisions]`)
	require.Contains(t, decide, "Which record is meant")
	quick, err := chromedp.Run(ctx, chromedp.Evaluate[int](`[...document.querySelectorAll("tr")].filter(r => r.textContent.includes("Which record is meant") && r.querySelector("form.quick")).length`))
	require.NoError(t, err)
	require.Zero(t, quick, "one press cannot say which")

	do(t, ctx, chromedp.Navigate(strings.TrimSuffix(a.DeskURL(), "/desk")+page))
	row := `tr:has(input[name=means])`
	do(t, ctx, chromedp.Click(chromedp.CSS(row+" details.acts summary")))
	choices := text(t, ctx, row+" fieldset.choices")
	for _, in := range []string{
		"Thu 11 Feb 2027 · left knee replacement · The knee of the first letter · K-7701",
		"Fri 12 Feb 2027 · right knee replacement · The knee of the second letter · K-7702", "None of them",
	} {
		require.Contains(t, choices, in)
	}
	accessible(t, ctx, "which booking is meant")
	shot(t, ctx, "case-meant")
	do(t, ctx, chromedp.Click(chromedp.CSS(row+` input[value="`+left+`"]`)))
	click(t, ctx, row+` form:has(input[name=means]) button`)
	require.Contains(t, text(t, ctx, "#news"), "Merrow Twofold, “Which record is meant”: Recorded which one is meant.")
	main := text(t, ctx, "#main")
	require.Contains(t, main, "left knee replacement")
	require.NotContains(t, main, "none was linked")

	var task struct {
		ID, Status string
		Output     []struct{ ValueReference struct{ Reference string } }
		Note       []struct{ Text string }
	}
	tasks := found(t, a, "Task?code=link-booking&group-identifier="+url.QueryEscape("http://countback.example/fhir/identifier/case|"+id))
	require.Len(t, tasks, 1)
	require.NoError(t, json.Unmarshal(tasks[0], &task))
	require.Equal(t, []string{"completed", left}, []string{task.Status, task.Output[0].ValueReference.Reference})
	require.Equal(t, "Meant: Thu 11 Feb 2027 · left knee replacement · The knee of the first letter · K-7701. Idony Quillfeather.", task.Note[0].Text)
}

// A press that is refused leads back to where it was pressed.
func deskRefused(t *testing.T, ctx context.Context, a *App) {
	id := caseOf(t, a, "Marshlantern", "behind")
	page := "/desk/case/" + id
	do(t, ctx, chromedp.Navigate(strings.TrimSuffix(a.DeskURL(), "/desk")+page+"/moved?to=2026-02-31"))
	back, err := chromedp.Run(ctx, chromedp.Evaluate[string](`document.querySelector("#main a").getAttribute("href")`))
	require.NoError(t, err)
	require.Equal(t, page, back)
	task := id + ".0001"
	for _, row := range []struct {
		path, want string
		form       url.Values
	}{
		{"/task/" + task, page, url.Values{"does": {"done"}}},
		{"/task/" + task, "/desk?more=calls#calls", url.Values{"does": {"done"}, "version": {"1"}, "back": {"/desk?more=calls#calls"}}},
		{"/case/" + id + "/moved", page + "/moved?to=2027-01-20", url.Values{"to": {"2027-01-20"}, "back": {page + "/moved?to=2027-01-20"}}},
		{"/case/" + id + "/moved", page, url.Values{"to": {"soon"}}},
		{"/case/" + id + "/calendar", page, url.Values{"for": {"nobody"}}},
		{"/case/" + id + "/calendar/revoke", page + "/calendar", url.Values{"link": {"none"}, "back": {page + "/calendar"}}},
		{"/task/" + task, "/desk", url.Values{"does": {"done"}, "back": {"https://elsewhere.example/desk"}}},
		{"/case/nobody/calendar", "/desk/cases", url.Values{"for": {"patient"}}},
	} {
		status, body := sendForm(t, a, row.path, row.form)
		require.GreaterOrEqual(t, status, 400, row.path)
		require.Contains(t, body, `<a href="`+strings.ReplaceAll(row.want, "&", "&amp;")+`">Back to where you were</a>`, row.path)
	}
}

// What staff do for a step stands on its case, and in the morning one press away;
// without JavaScript, too.
func deskInstructions(t *testing.T, ctx context.Context, a *App) {
	for path, says := range map[string]string{
		"": "Let the person read the times back.",
		"/case/" + caseOf(t, a, "Copperquill", "on-track"): "Let the person read the times back.",
	} {
		do(t, ctx, chromedp.Navigate(a.DeskURL()+path))
		row := `[...document.querySelectorAll("#main tr")].find(r => r.textContent.includes("The call before surgery") && r.querySelector("details.rule"))`
		shut, err := chromedp.Run(ctx, chromedp.Evaluate[bool](row+`.querySelector("details.rule:not([open])") !== null`))
		require.NoError(t, err)
		require.True(t, shut)
		told, err := chromedp.Run(ctx, chromedp.Evaluate[string](`[...`+row+`.querySelectorAll("details.rule")].find(d => d.textContent.includes("How it is done")).textContent`))
		require.NoError(t, err)
		require.Contains(t, told, says, path)
	}
}

// A booking that a message gives to another person is listed among the sources, with
// both of them.
func deskOtherPerson(t *testing.T, ctx context.Context, a *App) {
	var people [2]struct{ ID string }
	for n, family := range []string{"Twofold", "Wrenfurrow"} {
		require.NoError(t, json.Unmarshal(found(t, a, "Patient?name="+family)[0], &people[n]))
	}
	var booked map[string]any
	require.NoError(t, json.Unmarshal(found(t, a, "Appointment?patient="+people[0].ID)[0], &booked))
	delete(booked, "meta")
	booked["participant"].([]any)[0].(map[string]any)["actor"] = map[string]any{"reference": "Patient/" + people[1].ID}
	sent, err := json.Marshal(booked)
	require.NoError(t, err)
	status, body := send(t, http.MethodPut, a.URL()+"/Appointment/"+booked["id"].(string), sent)
	require.Equal(t, http.StatusOK, status, string(body))
	do(t, ctx, chromedp.Navigate(a.DeskURL()))
	sources := text(t, ctx, `section[aria-labelledby=alarms]`)
	require.Contains(t, sources, "1 record (Appointment) of Merrow Twofold (P-7701) is now of Ottoline Wrenfurrow (P-1009), since Fri 27 Nov 2026, 12:00.")
	click(t, ctx, `section[aria-labelledby=alarms] td a:last-of-type`)
	require.Contains(t, text(t, ctx, "#main"), "Ottoline Wrenfurrow")
}

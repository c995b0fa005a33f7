package fhirapi

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

const (
	symptomForm = "http://countback.example/fhir/Questionnaire/symptom-report"
	toldAtOnce  = "Call your local emergency number now."
)

// symptomReport answers one question of a group with yes; the rest is left out.
func symptomReport(subject, answer string) string {
	return `{"resourceType":"QuestionnaireResponse","questionnaire":"` + symptomForm + `","status":"completed","authored":"2026-12-02",
"subject":{"reference":"` + strings.TrimPrefix(subject, root+"/") + `"},"item":[{"linkId":"emergency-signs","item":[
{"linkId":"chest-pain","answer":[` + answer + `]}]}]}`
}

const answeredYes = `{"valueCoding":{"system":"http://terminology.hl7.org/CodeSystem/v2-0136","code":"Y"}}`

// The advice stands in the response whatever the client prefers, before all else.
func TestAdviceStandsInTheResponse(t *testing.T) {
	for _, prefer := range []string{"", "return=representation", "return=minimal", "return=OperationOutcome"} {
		t.Run("prefers "+prefer, func(t *testing.T) {
			h := open(t)
			who := h.book("1")
			var header []string
			if prefer != "" {
				header = []string{"Prefer", prefer}
			}
			r := h.must(201, "POST", root+"/QuestionnaireResponse", symptomReport(who.patient, answeredYes), header...)
			require.Equal(t, "OperationOutcome", r.String("resourceType"))
			require.Equal(t, "return=OperationOutcome", r.header.Get("Preference-Applied"))
			require.Equal(t, "warning", r.String("issue", "severity"))
			require.True(t, strings.HasPrefix(r.String("issue", "details", "text"), toldAtOnce), string(r.raw))
			location := local(r.header.Get("Location"))
			require.Contains(t, location, "/QuestionnaireResponse/")
			kept := h.must(200, "GET", location, "")
			require.Equal(t, symptomForm, kept.String("questionnaire"))
			require.NotContains(t, h.log.String(), "chest")
			require.NotContains(t, h.log.String(), "emergency")

			id := kept.String("id")
			again := h.must(200, "PUT", root+"/QuestionnaireResponse/"+id, string(kept.raw), header...)
			require.True(t, strings.HasPrefix(again.String("issue", "details", "text"), toldAtOnce), "the second time as the first")
		})
	}
}

// So it does for an entry of a Bundle, at its own place.
func TestAdviceInABundle(t *testing.T) {
	for _, kind := range []string{"transaction", "batch"} {
		t.Run(kind, func(t *testing.T) {
			h := open(t)
			who := h.book("1")
			r := h.must(200, "POST", root, bundleOf(kind,
				entry("", "POST", "QuestionnaireResponse", symptomReport(who.patient, answeredYes)),
				entry("", "POST", "Patient", patient("2"))))
			first := r.entries()[0].Get("response", "outcome")
			require.True(t, strings.HasPrefix(first.String("issue", "details", "text"), toldAtOnce))
			require.Equal(t, "warning", first.String("issue", "severity"))
			require.False(t, r.entries()[1].Get("response", "outcome").Exists())
		})
	}
}

// An operation that has taken place: a task is open before the answer is given.
func TestAdviceAndItsTask(t *testing.T) {
	h := open(t)
	who := h.book("1")
	appointment := h.must(200, "GET", who.booking, "")
	start, err := time.Parse(time.RFC3339, appointment.String("start"))
	require.NoError(t, err)
	h.pass(start.Add(48 * time.Hour).Sub(h.clock()))
	r := h.must(201, "POST", root+"/QuestionnaireResponse", symptomReport(who.patient, answeredYes))
	require.Contains(t, r.String("issue", "details", "text"), "The hospital has a task to call back.")
	task := h.task(who, "symptom-report-now")
	require.Equal(t, "stat", task.String("priority"))
	require.Equal(t, "requested", task.String("status"))
}

// What cannot be read is 422, named by its place; it says whom to call.
func TestUnreadableReport(t *testing.T) {
	h := open(t)
	who := h.book("1")
	bad := symptomReport(who.patient, `{"valueString":"canary yes"}`)
	r := h.must(422, "POST", root+"/QuestionnaireResponse", bad)
	_, expression, text := r.issue()
	require.Equal(t, "QuestionnaireResponse.item[0].item[0].answer[0]", expression)
	require.Contains(t, text, "chest-pain asks for valueCoding")
	require.Contains(t, string(r.raw), "local emergency number now")
	in := h.must(422, "POST", root, bundleOf("transaction", entry("", "POST", "QuestionnaireResponse", bad)))
	_, expression, _ = in.issue()
	require.Equal(t, "Bundle.entry[0].resource.item[0].item[0].answer[0]", expression)
	require.NotContains(t, h.log.String(), "canary")
}

// The forms can be read and found, and replaced under their ids; none is added.
func TestQuestionnaires(t *testing.T) {
	h := open(t)
	found := h.must(200, "GET", root+"/Questionnaire?url="+symptomForm, "")
	require.Equal(t, "1", found.String("total"))
	require.Equal(t, "symptom-report", found.String("entry", "resource", "id"))
	all := h.must(200, "GET", root+"/Questionnaire?status=draft", "")
	require.Equal(t, "3", all.String("total"))
	body := h.must(200, "GET", root+"/Questionnaire/coach-and-home", "")
	require.True(t, json.Valid(body.raw))
	h.must(200, "PUT", root+"/Questionnaire/coach-and-home", string(body.raw))
	own := strings.Replace(string(body.raw), `"version": "1.0.0"`, `"version": "2.0.0"`, 1)
	require.NotEqual(t, own, string(body.raw))
	h.must(200, "PUT", root+"/Questionnaire/coach-and-home", own)
	require.Equal(t, "2.0.0", h.must(200, "GET", root+"/Questionnaire/coach-and-home", "").String("version"))
	h.must(405, "PUT", root+"/Questionnaire/own", strings.Replace(own, `"id": "coach-and-home"`, `"id": "own"`, 1))
	h.must(422, "PUT", root+"/Questionnaire/coach-and-home", strings.Replace(own, `"cane"`, `"coach"`, 1))
	h.must(405, "POST", root+"/Questionnaire", string(body.raw))
}

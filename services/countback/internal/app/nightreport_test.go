package app

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/event"
)

// chestPain is a symptom report with one sign that cannot wait.
func chestPain(patient string) []byte {
	return fmt.Appendf(nil, `{"resourceType":"QuestionnaireResponse","questionnaire":"http://countback.example/fhir/Questionnaire/symptom-report","status":"completed",
"authored":"2026-12-12T02:38:00-06:00","subject":{"reference":"Patient/%s"},"item":[{"linkId":"emergency-signs","item":[
{"linkId":"chest-pain","answer":[{"valueCoding":{"system":"http://terminology.hl7.org/CodeSystem/v2-0136","code":"Y"}}]}]}]}`, patient)
}

// A chest pain that is reported in the night to Saturday, through everything: the
// API, the clock, the broker and the desk. The office is shut then, by the hours
// that the questionnaire gives and the facility's operating days, and what cannot
// wait does not wait for it to open: the person is sent to the emergency number at
// once, somebody is asked to call back within a quarter of an hour, and where
// nobody did, it stands first in the morning, and no press without a word closes
// it. That an answer of chest pain sends to the emergency number first: common
// practice, no source.
func TestChestPainInTheNight(t *testing.T) {
	a := started(t, settings(t))
	status, body := send(t, http.MethodPost, a.URL(), booking(1, "2026-12-07T07:30:00-06:00"))
	require.Equal(t, http.StatusOK, status, string(body))
	zone := a.Office.Facility().Calendar.Zone()
	went := `{"resourceType":"Encounter","status":"finished","class":{"system":"http://terminology.hl7.org/CodeSystem/v3-ActCode","code":"IMP"},
"subject":{"reference":"Patient/%s"},"appointment":[{"reference":"Appointment/%s"}],"period":{"start":"2026-12-07T05:25:00-06:00","end":"2026-12-08T11:10:00-06:00"}}`
	patient, appointment := only(t, a, "Patient"), only(t, a, "Appointment")
	night := time.Date(2026, time.December, 12, 2, 40, 0, 0, zone)
	require.Equal(t, time.Saturday, night.Weekday())
	a.Clock.Stand(night)
	status, body = send(t, http.MethodPost, a.URL()+"/Encounter", fmt.Appendf(nil, went, patient, appointment))
	require.Equal(t, http.StatusCreated, status, string(body))
	require.NoError(t, a.Tick(t.Context()))
	require.NoError(t, a.Published(t.Context()))
	heard := listening(t, a)

	status, body = send(t, http.MethodPost, a.URL()+"/QuestionnaireResponse", chestPain(patient))
	require.Equal(t, http.StatusCreated, status, string(body))
	var told struct {
		ResourceType string
		Issue        []struct {
			Severity string
			Details  struct{ Text string }
		}
	}
	require.NoError(t, json.Unmarshal(body, &told))
	require.Equal(t, []string{"OperationOutcome", "warning"}, []string{told.ResourceType, told.Issue[0].Severity})
	require.True(t, strings.HasPrefix(told.Issue[0].Details.Text, "Call your local emergency number now."), told.Issue[0].Details.Text)

	id := caseOf(t, a, "Testperson", "home")
	task := nightTask(t, a, id)
	require.Equal(t, "requested stat", task.Status+" "+task.Priority)
	due, err := time.Parse(time.RFC3339, task.Restriction.Period.End)
	require.NoError(t, err)
	require.True(t, due.Equal(night.Add(15*time.Minute)), "not at the opening of the office: %s", due)
	require.NotEmpty(t, task.PerformerType[0].Text+task.PerformerType[0].Coding[0].Display, "somebody is asked")
	opened := heard(event.TasksOpened)
	require.Contains(t, opened, task.ID)
	require.Contains(t, opened, `"symptom-report-now"`)
	require.NotContains(t, opened, "chest")
	require.NotContains(t, opened, "Testperson")

	a.Clock.Stand(time.Date(2026, time.December, 12, 7, 0, 0, 0, zone))
	require.NoError(t, a.Tick(t.Context()))
	require.NoError(t, a.Published(t.Context()))
	require.Contains(t, heard(event.TasksLate), task.ID)
	inTheMorning(t, a, task.ID)
	require.Equal(t, "completed", nightTask(t, a, id).Status)
}

// only is the id of the one resource of a type.
func only(t testing.TB, a *App, typ string) string {
	t.Helper()
	list := found(t, a, typ)
	require.Len(t, list, 1)
	var r struct{ ID string }
	require.NoError(t, json.Unmarshal(list[0], &r))
	return r.ID
}

// inTheMorning finds the report before everything, and closes it with what was
// decided, which a blank press does not.
func inTheMorning(t *testing.T, a *App, task string) {
	t.Helper()
	c, read := plainForms(t)
	root := strings.TrimSuffix(a.DeskURL(), "/desk")
	read(c.PostForm(root+"/desk/me", url.Values{"name": {"Idony Quillfeather"}, "back": {"/desk"}}))
	_, page := read(c.Get(a.DeskURL()))
	_, main, found := strings.Cut(page, "<section")
	require.True(t, found)
	first, _, _ := strings.Cut(main, "</section>")
	require.Contains(t, first, `<h2 id="now">Call these people now`)
	require.Contains(t, first, "Number1 Testperson")
	require.Contains(t, first, "/desk/answers/")
	version := regexp.MustCompile(`/desk/task/` + regexp.QuoteMeta(task) + `"><input type="hidden" name="back" value="[^"]*"><input type="hidden" name="version" value="(\d+)"><input type="hidden" name="does" value="done">`).FindStringSubmatch(first)
	require.NotNil(t, version, first)
	require.Contains(t, first, `value="tried"`)
	require.NotContains(t, first, `value="failed"`, "that nobody was reached lays no report aside")
	inVain := url.Values{"version": {version[1]}, "does": {"failed"}, "reason": {"nobody reached"}, "back": {"/desk"}}
	status, says := read(c.PostForm(root+"/desk/task/"+task, inVain))
	require.GreaterOrEqual(t, status, 400)
	require.Contains(t, says, "This is asked until somebody has done it: note that it was tried, and it stays asked.")
	done := url.Values{"version": {version[1]}, "does": {"done"}, "back": {"/desk"}}
	status, says = read(c.PostForm(root+"/desk/task/"+task, done))
	require.GreaterOrEqual(t, status, 400)
	require.Contains(t, says, "what was decided")
	_, page = read(c.Get(a.DeskURL()))
	require.Contains(t, page, "Call these people now", "it still stands there")
	done.Set("text", "Sent to the emergency department")
	done.Set("owner", "Dr Corvan Stillmarch")
	status, page = read(c.PostForm(root+"/desk/task/"+task, done))
	require.Equal(t, http.StatusOK, status)
	require.NotContains(t, page, "Call these people now")
}

// nightTaskOf is what is read of the Task of a report that cannot wait.
type nightTaskOf struct {
	ID, Status, Priority string
	Restriction          struct{ Period struct{ End string } }
	PerformerType        []struct {
		Text   string
		Coding []struct{ Display string }
	}
}

func nightTask(t testing.TB, a *App, caseID string) nightTaskOf {
	t.Helper()
	tasks := found(t, a, "Task?code=symptom-report-now&group-identifier="+url.QueryEscape("http://countback.example/fhir/identifier/case|"+caseID))
	require.Len(t, tasks, 1)
	var out nightTaskOf
	require.NoError(t, json.Unmarshal(tasks[0], &out))
	return out
}

// listening hears what the service's own broker delivers from now on; the
// function gives the next event of a name.
func listening(t *testing.T, a *App) func(name string) string {
	t.Helper()
	nc, err := nats.Connect(a.NATSURL())
	require.NoError(t, err)
	t.Cleanup(nc.Close)
	sub, err := nc.SubscribeSync(event.SubjectAll)
	require.NoError(t, err)
	require.NoError(t, nc.Flush())
	return func(name string) string {
		for {
			m, err := sub.NextMsg(30 * time.Second)
			require.NoError(t, err, name)
			if _, of, err := event.ParseSubject(m.Subject); err == nil && of == name {
				return string(m.Data)
			}
		}
	}
}

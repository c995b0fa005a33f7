package app

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"sort"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// task is what these tests read of a Task.
type task struct {
	ID, Status     string
	Code           struct{ Coding []struct{ Code string } }
	BusinessStatus struct{ Coding []struct{ Code string } }
	Restriction    struct{ Period struct{ Start, End string } }
}

func (k task) step() string { return k.Code.Coding[0].Code }

func tasksOf(t testing.TB, a *App) []task {
	t.Helper()
	var out []task
	for _, raw := range found(t, a, "Task?_count=200") {
		var k task
		require.NoError(t, json.Unmarshal(raw, &k))
		out = append(out, k)
	}
	return out
}

// TestStepsAreData renames every step of the protocol and adds one. Dates,
// Tasks and events follow with no change in Go.
func TestStepsAreData(t *testing.T) {
	body, err := os.ReadFile("../../../../api/protocol/PlanDefinition-hip-or-knee-replacement.json")
	require.NoError(t, err)
	renamed := rename(t, body)
	file := filepath.Join(t.TempDir(), "protocol.json")
	require.NoError(t, os.WriteFile(file, renamed, 0o600))

	plain := started(t, settings(t))
	cfg := settings(t)
	cfg.Protocol = file
	other := started(t, cfg)
	for _, a := range []*App{plain, other} {
		status, answer := send(t, "POST", a.URL(), booking(1, "2026-11-30T07:30:00-06:00"))
		require.Equal(t, 200, status, string(answer))
	}
	want, got := dates(tasksOf(t, plain)), dates(tasksOf(t, other))
	added := "renamed-added 2026-11-20 2026-11-25 upcoming"
	require.Contains(t, got, added)
	got = slices.DeleteFunc(got, func(s string) bool { return s == added })
	for n := range want {
		want[n] = "renamed-" + want[n]
	}
	require.Equal(t, want, got)
	require.Equal(t, events(t, plain), events(t, other))
}

func dates(tasks []task) []string {
	var out []string
	for _, k := range tasks {
		p := k.Restriction.Period
		out = append(out, strings.Join([]string{k.step(), p.Start, p.End, k.BusinessStatus.Coding[0].Code}, " "))
	}
	sort.Strings(out)
	return out
}

// rename puts "renamed-" before every step code, and adds a step of D-10 to D-5.
func rename(t *testing.T, body []byte) []byte {
	t.Helper()
	var definition struct {
		Action []struct{ ID string }
	}
	require.NoError(t, json.Unmarshal(body, &definition))
	out := string(body)
	for _, a := range definition.Action {
		if readiness.IsAnchor(a.ID) {
			continue
		}
		use := regexp.MustCompile(`("(?:id|actionId|valueId)": )"` + regexp.QuoteMeta(a.ID) + `"`)
		out = use.ReplaceAllString(out, `${1}"renamed-`+a.ID+`"`)
	}
	const added = `"action": [
    {"id": "renamed-added", "title": "Added", "description": "An added step.",
     "extension": [{"url": "http://countback.example/fhir/StructureDefinition/evidence-expiry", "extension": [{"url": "kind", "valueCode": "never"}]}],
     "participant": [{"type": "patient", "role": {"coding": [{"system": "http://countback.example/fhir/CodeSystem/role", "code": "patient", "display": "Patient"}]}}],
     "requiredBehavior": "could",
     "relatedAction": [{"actionId": "surgery", "relationship": "before-start",
       "offsetRange": {"low": {"value": 5, "unit": "days", "system": "http://unitsofmeasure.org", "code": "d"},
                       "high": {"value": 10, "unit": "days", "system": "http://unitsofmeasure.org", "code": "d"}}}]},`
	out = strings.Replace(out, `"action": [`, added, 1)
	return []byte(strings.Replace(out, `"version": "`+firstVersion+`"`, `"version": "1.0.0-renamed"`, 1))
}

package wirecheck

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"example.org/countback/testdata"
	"github.com/stretchr/testify/require"
)

// The npm packages that the checks from outside need: the engine for FHIRPath,
// and HL7's official definitions and examples (CC0).
const npmPackages = "fhirpath@5.2.2 hl7.fhir.r4.examples@4.0.1"

// npmFolder gives the folder that holds them: COUNTBACK_NPM, or the one below
// the user's cache.
func npmFolder(t testing.TB) string {
	t.Helper()
	folder := os.Getenv("COUNTBACK_NPM")
	if folder == "" {
		cache, err := os.UserCacheDir()
		require.NoError(t, err)
		folder = filepath.Join(cache, "countback-npm")
	}
	install := fmt.Sprintf("npm install --prefix %s %s", folder, npmPackages)
	for _, name := range []string{"fhirpath", "hl7.fhir.r4.examples"} {
		testdata.NeedFile(t, filepath.Join(folder, "node_modules", name), install)
	}
	return folder
}

// invariantsScript is embedded so that a change of it outdates a cached result.
//
//go:embed testdata/invariants.js
var invariantsScript string

// findings is what testdata/invariants.js prints.
type findings struct {
	Resources    int               `json:"resources"`
	Evaluated    int               `json:"evaluated"`
	NotEvaluated map[string]string `json:"notEvaluated"`
	Problems     []struct {
		File, Path, Key, Severity, Human string
	} `json:"problems"`
}

// errorsOf are the violations of error severity, one a line.
func (f findings) errorsOf() []string {
	var lines []string
	for _, one := range f.Problems {
		if one.Severity == "error" {
			lines = append(lines, fmt.Sprintf("%s %s: %s: %s", one.File, one.Path, one.Key, one.Human))
		}
	}
	return lines
}

// checkInvariants evaluates the official invariants on all resources in one run.
func checkInvariants(t *testing.T, all []golden) findings {
	t.Helper()
	node := testdata.Need(t, "node", "apt-get install nodejs npm")
	packages := npmFolder(t)
	dir := t.TempDir()
	for i, one := range all {
		file := fmt.Sprintf("%04d %s.json", i, strings.NewReplacer("/", "!", "\\", "!").Replace(one.name))
		require.NoError(t, os.WriteFile(filepath.Join(dir, file), one.body, 0o600))
	}
	command := exec.Command(node, "-", packages, dir)
	command.Stdin = strings.NewReader(invariantsScript)
	var stderr strings.Builder
	command.Stderr = &stderr
	out, err := command.Output()
	require.NoError(t, err, stderr.String())
	var report findings
	require.NoError(t, json.Unmarshal(out, &report))
	require.GreaterOrEqual(t, report.Resources, len(all))
	return report
}

// TestInvariants holds every golden against the rules of HL7's own definitions.
func TestInvariants(t *testing.T) {
	report := checkInvariants(t, goldens(t))
	warnings := map[string]int{}
	for _, one := range report.Problems {
		if one.Severity != "error" {
			warnings[one.Key+" ("+one.Human+")"]++
		}
	}
	for warning, n := range warnings {
		t.Logf("%d warnings: %s", n, warning)
	}
	for key, why := range report.NotEvaluated {
		t.Logf("not evaluated: %s: %s", key, why)
	}
	t.Logf("%d resources, %d evaluations", report.Resources, report.Evaluated)
	require.Empty(t, report.errorsOf())
	require.NotZero(t, report.Evaluated)
}

// TestInvariantsAreFound breaks one official rule at a time; the keys are those
// of the R4 definitions.
func TestInvariantsAreFound(t *testing.T) {
	const booking = `{"resourceType":"Appointment","status":%s,"participant":[{"status":"accepted"%s}]%s}`
	const actor = `,"actor":{"reference":"Patient/1"}`
	const times = `,"start":"2027-03-01T09:00:00Z","end":"2027-03-01T10:00:00Z"`
	cases := []struct{ name, body, key string }{
		{"sound booking", fmt.Sprintf(booking, `"booked"`, actor, times), ""},
		{"participant without type and actor", fmt.Sprintf(booking, `"booked"`, ``, times), "app-1"},
		{"start without end", fmt.Sprintf(booking, `"proposed"`, actor, `,"start":"2027-03-01T09:00:00Z"`), "app-2"},
		{"booked without times", fmt.Sprintf(booking, `"booked"`, actor, ``), "app-3"},
		{"reason for cancelling what is booked", fmt.Sprintf(booking, `"booked"`, actor, times+`,"cancelationReason":{"text":"x"}`), "app-4"},
		{"activity with reference and detail", `{"resourceType":"CarePlan","status":"active","intent":"plan","subject":{"reference":"Patient/1"},
			"activity":[{"reference":{"reference":"Task/1"},"detail":{"status":"scheduled"}}]}`, "cpl-3"},
		{"period turned round", `{"resourceType":"Flag","status":"active","code":{"text":"x"},"subject":{"reference":"Patient/1"},
			"period":{"start":"2027-03-02","end":"2027-03-01"}}`, "per-1"},
		{"unit of another system", `{"resourceType":"PlanDefinition","status":"draft","action":[{"title":"a","relatedAction":[
			{"actionId":"b","relationship":"before-start","offsetDuration":{"value":1,"system":"http://a.example","code":"d"}}]}]}`, "drt-1"},
		{"contained but never used", `{"resourceType":"Task","status":"draft","intent":"order","contained":[{"resourceType":"Patient","id":"p"}]}`, "dom-3"},
		{"contained and used by canonical", `{"resourceType":"Questionnaire","status":"draft","contained":[{"resourceType":"ValueSet","id":"v","status":"draft"}],
			"item":[{"linkId":"1","type":"choice","answerValueSet":"#v"}]}`, ""},
		{"extension with a value and parts", `{"resourceType":"Patient","extension":[{"url":"a","valueString":"b","extension":[{"url":"c","valueString":"d"}]}]}`, "ext-1"},
		{"the same below a primitive", `{"resourceType":"Patient","_birthDate":{"extension":[{"url":"a","valueString":"b","extension":[{"url":"c","valueString":"d"}]}]}}`, "ext-1"},
		{"the same inside a bundle", `{"resourceType":"Bundle","type":"collection","entry":[{"fullUrl":"http://a.example/Task/1","resource":
			{"resourceType":"Task","id":"1","status":"draft","intent":"order","restriction":{"period":{"start":"2027-02-02","end":"2027-01-01"}}}}]}`, "per-1"},
		{"Task that was changed before it was made", `{"resourceType":"Task","status":"draft","intent":"order","authoredOn":"2027-02-02","lastModified":"2027-01-01"}`, "inv-1"},
		{"exists asked with a text", `{"resourceType":"Questionnaire","status":"draft","item":[{"linkId":"1","type":"string"},
			{"linkId":"2","type":"string","enableWhen":[{"question":"1","operator":"exists","answerString":"yes"}]}]}`, "que-7"},
		{"report of data that gives groups", `{"resourceType":"MeasureReport","status":"complete","type":"data-collection","measure":"http://a.example/m|1",
			"period":{"start":"2027-01-01","end":"2027-02-01"},"group":[{"measureScore":{"value":1}}]}`, "mrp-1"},
		{"stratum with a value and components", `{"resourceType":"MeasureReport","status":"complete","type":"summary","measure":"http://a.example/m|1",
			"period":{"start":"2027-01-01","end":"2027-02-01"},"group":[{"stratifier":[{"stratum":[{"value":{"text":"x"},
			"component":[{"code":{"text":"y"},"value":{"text":"z"}}]}]}]}]}`, "mrp-2"},
		{"stratifier with a criterion and components", `{"resourceType":"Measure","status":"draft","group":[{"stratifier":[{"description":"x",
			"component":[{"criteria":{"language":"text/plain","expression":"y"}}]}]}]}`, "mea-1"},
		{"element that R4 has not", `{"resourceType":"Task","status":"draft","intent":"order","colour":"red"}`, "unknown"},
	}
	all := make([]golden, len(cases))
	for i, c := range cases {
		all[i] = golden{c.name, []byte(c.body)}
	}
	report := checkInvariants(t, all)
	for i, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			var keys []string
			for _, one := range report.Problems {
				if one.Severity == "error" && strings.HasPrefix(one.File, fmt.Sprintf("%04d ", i)) {
					keys = append(keys, one.Key)
				}
			}
			if c.key == "" {
				require.Empty(t, keys)
			} else {
				require.Equal(t, []string{c.key}, keys)
			}
		})
	}
}

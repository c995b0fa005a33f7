package conformance

import (
	"encoding/json"
	"encoding/xml"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
	"example.org/countback/testdata"
)

// stub is a small server that keeps Patients, well enough for the runner.
type stub struct {
	*httptest.Server
	t        *testing.T
	versions map[string][]string
	asked    []string
	token    string
}

func newStub(t *testing.T) *stub {
	s := &stub{t: t, versions: map[string][]string{}}
	s.Server = httptest.NewServer(s)
	t.Cleanup(s.Close)
	return s
}

func (s *stub) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	s.asked = append(s.asked, r.Method+" "+r.URL.RequestURI())
	s.token = r.Header.Get("Authorization")
	w.Header().Set("Content-Type", "application/fhir+json")
	id := strings.TrimPrefix(r.URL.Path, "/Patient/")
	switch {
	case r.URL.Path == "/metadata":
		fmt.Fprint(w, `{"resourceType":"CapabilityStatement","fhirVersion":"4.0.1","software":{"name":"stub"},"rest":[{"mode":"server","resource":[{"type":"Patient"}]}]}`)
	case r.Method == http.MethodDelete:
		w.WriteHeader(http.StatusNoContent)
	case r.Method == http.MethodPost:
		s.versions["made"] = []string{""}
		w.Header().Set("Location", s.URL+"/Patient/made/_history/1")
		w.WriteHeader(http.StatusCreated)
	case r.Method == http.MethodPut:
		if s.versions[id] = append(s.versions[id], ""); len(s.versions[id]) == 1 {
			w.WriteHeader(http.StatusCreated)
		}
		fmt.Fprint(w, `{"resourceType":"Patient","id":"`+id+`"}`)
	case strings.HasSuffix(id, "/_history"):
		fmt.Fprint(w, `{"resourceType":"Bundle","type":"history","entry":[{"fullUrl":"http://a.example/Patient/example","resource":{"resourceType":"Patient"},"request":{"method":"PUT","url":"Patient/example"},"response":{"status":"200"}}]}`)
	default:
		fmt.Fprint(w, `{"resourceType":"Patient","id":"`+id+`","active":true,"name":[{"family":"Chalmers","given":["Peter","James"]}]}`)
	}
}

// standing is a clock that does not go.
func standing() time.Time { return time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC) }

func (s *stub) play(scripts ...*Script) *Results {
	s.t.Helper()
	r, err := Execute(s.t.Context(), scripts, Options{Base: s.URL, Client: s.Client(), Now: standing, Today: "2026-11-25"})
	require.NoError(s.t, err)
	return r
}

// scriptOf is a script with one test, made of actions.
func scriptOf(t *testing.T, more string, actions ...string) *Script {
	t.Helper()
	s, err := ReadScript([]byte(`{"resourceType":"TestScript","url":"http://a.example/x","name":"x","status":"active",`+more+
		`"test":[{"id":"one","action":[`+strings.Join(actions, ",")+`]}]}`), fstest.MapFS{
		"Patient-filed.json": {Data: []byte(`{"resourceType":"Patient","id":"filed","birthDate":"${today-1}"}`)},
	})
	require.NoError(t, err)
	return s
}

const get = `{"operation":{"type":{"code":"read"},"resource":"Patient","encodeRequestUrl":true,"params":"/p1","responseId":"got"}}`

func assert(members string) string { return `{"assert":{` + members + `,"warningOnly":false}}` }

// TestAsserts holds each kind of assert to an answer that it fits and to one
// that it does not.
func TestAsserts(t *testing.T) {
	for _, c := range []struct{ right, wrong string }{
		{`"response":"okay"`, `"response":"created"`},
		{`"responseCode":"200"`, `"responseCode":"201"`},
		{`"responseCode":"201,200","operator":"in"`, `"responseCode":"201,200","operator":"notIn"`},
		{`"contentType":"json"`, `"contentType":"xml"`},
		{`"contentType":"application/fhir+json"`, `"contentType":"application/json"`},
		{`"headerField":"content-type","operator":"contains","value":"json"`, `"headerField":"content-type","operator":"contains","value":"xml"`},
		{`"headerField":"Location","operator":"empty"`, `"headerField":"Location","operator":"notEmpty"`},
		{`"resource":"Patient"`, `"resource":"Bundle"`},
		{`"direction":"request","requestMethod":"get"`, `"requestMethod":"post"`},
		{`"requestURL":"/Patient/p1","operator":"contains"`, `"requestURL":"/Patient/p2","operator":"contains"`},
		{`"direction":"request","headerField":"Accept","value":"application/fhir+json"`, `"direction":"request","headerField":"Accept","value":"application/fhir+xml"`},
		{`"expression":"Patient.active"`, `"expression":"Patient.active.not()"`},
		{`"expression":"Patient.id","value":"p1"`, `"expression":"Patient.id","value":"p2"`},
		{`"path":"fhir:Patient/fhir:id/@value","value":"p1"`, `"path":"fhir:Patient/fhir:id/@value","value":"p2"`},
		{`"expression":"Patient.name.given","operator":"contains","value":"James"`, `"expression":"Patient.name.given","value":"James"`},
		{`"expression":"Patient.name.given","operator":"in","value":"James,Peter"`, `"expression":"Patient.name.given","operator":"in","value":"James"`},
		{`"expression":"Patient.name.given.count()","operator":"greaterThan","value":"1"`, `"expression":"Patient.name.given.count()","operator":"lessThan","value":"2"`},
		{`"expression":"Patient.photo","operator":"empty"`, `"expression":"Patient.photo","operator":"notEmpty"`},
		{`"expression":"Patient.id","operator":"notEquals","value":"p2"`, `"expression":"Patient.id","operator":"notEquals","value":"p1"`},
		{`"expression":"Patient.name.family","operator":"notContains","value":"x"`, `"expression":"Patient.name.family","operator":"notContains","value":"halm"`},
		{`"expression":"Patient.active","operator":"eval"`, `"expression":"Patient.active.not()","operator":"eval"`},
		{`"minimumId":"few"`, `"minimumId":"more"`},
		{`"validateProfileId":"patient"`, `"validateProfileId":"bundle"`},
		{`"navigationLinks":false`, `"navigationLinks":true`},
		{`"expression":"Patient.id","compareToSourceId":"got","compareToSourceExpression":"Patient.id"`, `"expression":"Patient.id","compareToSourceId":"got","compareToSourceExpression":"Patient.name.family"`},
		{`"expression":"Patient.name.family","value":"${family}"`, `"expression":"Patient.id","value":"${family}"`},
		{`"sourceId":"few","expression":"Patient.name.family","value":"Chalmers"`, `"sourceId":"few","expression":"Patient.active"`},
	} {
		const more = `"contained":[{"resourceType":"Patient","id":"few","name":[{"family":"Chalmers","given":["James"]}]},{"resourceType":"Patient","id":"more","name":[{"family":"Chalmers","given":["Jim"]}]}],
			"fixture":[{"id":"few","resource":{"reference":"#few"}},{"id":"more","resource":{"reference":"#more"}}],
			"profile":[{"id":"patient","reference":"http://hl7.org/fhir/StructureDefinition/Patient"},{"id":"bundle","reference":"http://hl7.org/fhir/StructureDefinition/Bundle"}],
			"variable":[{"name":"family","expression":"Patient.name.family","sourceId":"got"}],`
		s := newStub(t)
		right := s.play(scriptOf(t, more, get, assert(c.right))).Tests()[0]
		require.Equal(t, Pass, right.Verdict, "%s: %+v", c.right, right.Actions)
		wrong := s.play(scriptOf(t, more, get, assert(c.wrong))).Tests()[0]
		require.Equal(t, Fail, wrong.Verdict, c.wrong)
		require.Equal(t, Fail, wrong.Actions[1].Verdict, "it is a disappointment, and no fault of the script: %s", wrong.Actions[1].Message)
		warned := s.play(scriptOf(t, more, get, strings.Replace(assert(c.wrong), `"warningOnly":false`, `"warningOnly":true`, 1))).Tests()[0]
		require.Equal(t, Warning, warned.Verdict, c.wrong)
	}
}

// TestNotUnderstood: what cannot be carried out fails the test, also where the
// script would only warn.
func TestNotUnderstood(t *testing.T) {
	s := newStub(t)
	for _, action := range []string{
		assert(`"expression":"Patient.id","value":"${unheardof}"`),
		assert(`"expression":"Patient.${family}(","operator":"notEmpty"`),
		assert(`"validateProfileId":"unheardof"`),
		`{"assert":{"expression":"Patient.name.given","warningOnly":true}}`, // two texts are no condition
		`{"operation":{"type":{"code":"read"},"resource":"Patient","params":"/1","encodeRequestUrl":true,"destination":2}}`,
		`{"operation":{"type":{"code":"create"},"encodeRequestUrl":true,"contentType":"xml","sourceId":"few"}}`,
	} {
		const more = `"contained":[{"resourceType":"Patient","id":"few"}],"fixture":[{"id":"few","resource":{"reference":"#few"}}],"variable":[{"name":"family","defaultValue":"x"}],`
		got := s.play(scriptOf(t, more, get, action)).Tests()[0]
		require.Equal(t, Fail, got.Verdict, action)
		require.Equal(t, Broken, got.Actions[1].Verdict, action)
	}
}

// TestRefusedScripts are those that would be half understood.
func TestRefusedScripts(t *testing.T) {
	head := `{"resourceType":"TestScript","url":"http://a.example/x","name":"x","status":"active"`
	in := func(action string) string { return head + `,"test":[{"action":[` + action + `]}]}` }
	for name, body := range map[string]string{
		"no JSON": `{`, "another resource": `{"resourceType":"Patient"}`, "without a name": `{"resourceType":"TestScript","url":"u","status":"active"}`,
		"a rule":                 in(`{"assert":{"rule":{"ruleId":"r"},"warningOnly":false}}`),
		"an element of nobody's": in(`{"operation":{"type":{"code":"read"},"encodeRequestUrl":true,"unheardof":1}}`),
		"two kinds":              in(assert(`"response":"okay","resource":"Patient"`)),
		"no kind":                in(assert(`"label":"x"`)),
		"neither":                in(`{}`),
		"an operator":            in(assert(`"expression":"a","operator":"like","value":"b"`)),
		"a response":             in(assert(`"response":"unauthorized"`)),
		"a source of nobody's":   in(assert(`"sourceId":"x","resource":"Patient"`)),
		"FHIRPath not known":     in(assert(`"expression":"Patient.descendants().exists()"`)),
		"XPath":                  in(assert(`"path":"fhir:Patient/fhir:name[1]/@value","value":"x"`)),
		"no encodeRequestUrl":    in(`{"operation":{"type":{"code":"read"},"params":"/1"}}`),
		"two targets":            in(`{"operation":{"type":{"code":"read"},"encodeRequestUrl":true,"url":"a","params":"/1"}}`),
		"two variables":          head + `,"variable":[{"name":"a"},{"name":"a"}],"test":[]}`,
		"two sources of one":     head + `,"variable":[{"name":"a","path":"a","expression":"b"}],"test":[]}`,
	} {
		_, err := ReadScript([]byte(body), fstest.MapFS{})
		require.ErrorIs(t, err, ErrScript, name)
	}
}

// TestSemantics: setup, tests and teardown.
func TestSemantics(t *testing.T) {
	s := newStub(t)
	const more = `"fixture":[{"id":"f","autocreate":true,"autodelete":true,"resource":{"reference":"Patient/filed"}}],
		"setup":{"action":[{"operation":{"type":{"code":"read"},"targetId":"f","resource":"Patient","encodeRequestUrl":true}}]},
		"teardown":{"action":[{"operation":{"type":{"code":"delete"},"resource":"Patient","params":"/x y","encodeRequestUrl":true}}]},`
	r := s.play(scriptOf(t, more, get, assert(`"response":"gone"`), get))
	require.Equal(t, []string{"GET /metadata", "POST /Patient", "GET /Patient/made", "GET /Patient/p1", "DELETE /Patient/x%20y", "DELETE /Patient/made"}, s.asked)
	test := r.Tests()[0]
	require.Equal(t, []Verdict{Pass, Fail, Skip}, []Verdict{test.Actions[0].Verdict, test.Actions[1].Verdict, test.Actions[2].Verdict})
	require.Equal(t, `{"resourceType":"Patient","id":"filed","birthDate":"2026-11-24"}`, string(r.Scripts[0].Setup[0].Exchange.Body))
	require.Equal(t, 1, r.Failed())

	r = s.play(scriptOf(t, `"setup":{"action":[`+get+`,`+assert(`"response":"gone"`)+`]},`, get))
	require.True(t, r.Tests()[0].SetupFailed)
	require.Equal(t, Fail, r.Tests()[0].Verdict)
}

// TestDays counts by hand: 25 November 2026 is a Wednesday.
func TestDays(t *testing.T) {
	r := &run{today: time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC), unique: "u", script: &Script{}}
	for name, want := range map[string]string{
		"today": "2026-11-25", "today+60": "2027-01-24", "today-3": "2026-11-22", "midweek": "2026-11-25", "midweek+1": "2026-11-26",
		"midweek+2":  "2026-12-01", // a Friday: the Tuesday after
		"midweek+60": "2027-01-26", "midweek+60-14": "2027-01-12", "midweek+60+1": "2027-01-27",
		"midweek+30": "2026-12-29", // Christmas Day is a Friday
		"midweek+29": "2026-12-29", // Christmas Eve
		"unique":     "u",
	} {
		got, err := r.fill("${" + name + "}")
		require.NoError(t, err)
		require.Equal(t, want, got, name)
	}
}

// TestOfficialExamples reads the TestScripts that R4 publishes, and plays one
// that needs no XML. Source: hl7.fhir.r4.examples 4.0.1, all six TestScripts.
func TestOfficialExamples(t *testing.T) {
	folder := officialExamples(t)
	files, err := filepath.Glob(filepath.Join(folder, "TestScript-*.json"))
	require.NoError(t, err)
	require.Len(t, files, 6)
	for _, file := range files {
		body, err := os.ReadFile(file)
		require.NoError(t, err)
		script, err := ReadScript(body, os.DirFS(folder))
		require.NoError(t, err, file)
		require.NotEmpty(t, script.Test)
		for _, f := range script.Fixture {
			_, err := script.fixture(f)
			require.NoError(t, err, f.ID)
		}
		if strings.HasSuffix(file, "-history.json") {
			s := newStub(t)
			r := s.play(script)
			require.Zero(t, r.Failed(), "%+v", r.Scripts[0])
			require.Equal(t, []string{"GET /metadata", "DELETE /Patient/example", "PUT /Patient/example", "PUT /Patient/example", "GET /Patient/example/_history"}, s.asked)
		}
	}
}

// TestOfficialCapabilityStatements reads those that R4 publishes.
func TestOfficialCapabilityStatements(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(officialExamples(t), "CapabilityStatement-*.json"))
	require.NoError(t, err)
	require.Len(t, files, 8)
	types := 0
	for _, file := range files {
		body, err := os.ReadFile(file)
		require.NoError(t, err)
		server, err := ReadCapabilities(body)
		require.NoError(t, err, file)
		types += len(server.Types)
	}
	require.Greater(t, types, 140, "the base statement alone lists every type")
	_, err = ReadCapabilities([]byte(`{"resourceType":"CapabilityStatement","fhirVersion":"5.0.0"}`))
	require.ErrorIs(t, err, ErrServer)
	_, err = ReadCapabilities([]byte(`<CapabilityStatement/>`))
	require.ErrorIs(t, err, ErrServer)
}

func officialExamples(t *testing.T) string {
	t.Helper()
	npm := os.Getenv("COUNTBACK_NPM")
	if npm == "" {
		home, err := os.UserHomeDir()
		require.NoError(t, err)
		npm = filepath.Join(home, ".cache", "countback-npm")
	}
	return testdata.NeedFile(t, filepath.Join(npm, "node_modules", "hl7.fhir.r4.examples"), "npm install --prefix "+npm+" hl7.fhir.r4.examples@4.0.1")
}

// TestReports: the results as TestReport are FHIR R4, and as JUnit are XML.
func TestReports(t *testing.T) {
	s := newStub(t)
	r := s.play(scriptOf(t, `"setup":{"action":[`+get+`]},`, get, assert(`"response":"gone","description":"it is <gone>"`), get))
	var out strings.Builder
	require.NoError(t, WriteTestReport(&out, r))
	bundle, issues := fhir.Parse([]byte(out.String()), 0)
	require.Empty(t, issues)
	report := bundle.Get("entry").Item(0).Get("resource")
	require.Equal(t, []string{"TestReport", "completed", "fail", "0.0"}, []string{report.String("resourceType"), report.String("status"), report.String("result"), report.Get("score").Text()})
	results := report.Get("test").Item(0).Get("action")
	require.Equal(t, "pass", results.Item(0).String("operation", "result"))
	require.Equal(t, "fail", results.Item(1).String("assert", "result"))
	require.Contains(t, results.Item(1).String("assert", "message"), "expected response gone, equals 410; got 200")
	require.Equal(t, "skip", results.Item(2).String("operation", "result"))

	out.Reset()
	require.NoError(t, WriteJUnit(&out, r))
	var suites junitSuites
	require.NoError(t, xml.Unmarshal([]byte(out.String()), &suites))
	require.Equal(t, 1, suites.Suites[0].Failures)
	failure := suites.Suites[0].Cases[0].Failure
	require.Contains(t, failure.Message, "it is <gone>")
	for _, part := range []string{"request   GET " + s.URL + "/Patient/p1", "response  200 OK", "expected response gone", `"family": "Chalmers"`} {
		require.Contains(t, failure.Text, part, "a failing test says request, response and expectation")
	}
}

// TestKitIsSound: the scripts are R4, their names their own, and there are enough.
func TestKitIsSound(t *testing.T) {
	scripts, err := Scripts()
	require.NoError(t, err)
	tests := 0
	for _, s := range scripts {
		tests += len(s.Test)
		var seen []string
		for _, test := range s.Test {
			require.NotContains(t, seen, test.ID)
			require.NotEmpty(t, test.Description, test.ID)
			require.True(t, slices.ContainsFunc(test.Action, func(a Action) bool { return a.Assert != nil && !a.Assert.WarningOnly }), "%s asks for nothing", test.ID)
			seen = append(seen, test.ID)
		}
		for _, f := range s.Fixture {
			_, err := s.fixture(f)
			require.NoError(t, err)
		}
		body, err := kit.ReadFile("scripts/" + s.Name + ".json")
		require.NoError(t, err)
		require.True(t, json.Valid(body))
	}
	require.GreaterOrEqual(t, tests, 80)
}

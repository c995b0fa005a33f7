package conformance

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
)

// runCommand runs the program.
func runCommand(t *testing.T, args ...string) (code int, out, err string) {
	t.Helper()
	var stdout, stderr strings.Builder
	code = Run(t.Context(), args, &stdout, &stderr)
	return code, stdout.String(), stderr.String()
}

const oneTest = `{"resourceType":"TestScript","url":"http://a.example/x","name":"mine","status":"active","test":[
	{"id":"right","action":[{"operation":{"type":{"code":"read"},"resource":"Patient","encodeRequestUrl":true,"params":"/p1"}},{"assert":{"response":"okay","warningOnly":false}}]},
	{"id":"wrong","action":[{"operation":{"type":{"code":"read"},"resource":"Patient","encodeRequestUrl":true,"params":"/p1"}},{"assert":{"response":"gone","warningOnly":false}}]}]}`

// TestCommand: what the program leaves with, and what it writes.
func TestCommand(t *testing.T) {
	s := newStub(t)
	folder := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(folder, "a.json"), []byte(oneTest), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(folder, "Patient-x.json"), []byte(`{"resourceType":"Patient"}`), 0o600))
	report, junit := filepath.Join(folder, "report"), filepath.Join(folder, "junit")

	code, out, _ := runCommand(t, "-scripts", folder, "-report", report, "-junit", junit, "-token", "a-secret", s.URL)
	require.Equal(t, exitFailed, code)
	require.Regexp(t, `(?m)^ok    mine/right `, out)
	require.Regexp(t, `(?m)^FAIL  mine/wrong `, out)
	require.Contains(t, out, "expected response gone, equals 410; got 200")
	require.Contains(t, out, "request   GET "+s.URL+"/Patient/p1")
	require.Contains(t, out, "2 tests: 1 passed, 0 of them with warnings, and 1 failed")
	require.Equal(t, "Bearer a-secret", s.token)
	for _, name := range []string{report, junit} {
		body, err := os.ReadFile(name)
		require.NoError(t, err)
		require.Contains(t, string(body), "wrong")
		require.NotContains(t, string(body)+out, "a-secret")
	}
	body, err := os.ReadFile(report)
	require.NoError(t, err)
	_, issues := fhir.Parse(body, 0)
	require.Empty(t, issues)

	code, out, _ = runCommand(t, s.URL, "-scripts", folder, "-only", "mine/right") // settings may follow the address
	require.Equal(t, exitPassed, code, out)
	require.NotContains(t, out, "wrong")
	code, out, _ = runCommand(t, "-list", "-scripts", folder)
	require.Equal(t, exitPassed, code)
	require.Equal(t, []string{"mine/right", "mine/wrong"}, strings.Fields(out))
	code, out, _ = runCommand(t, "--help")
	require.Equal(t, exitPassed, code)
	require.Contains(t, out, "-send")
	require.Contains(t, out, "Settings:")
	for _, line := range strings.Split(usage, "\n") {
		require.LessOrEqual(t, len(line), 80)
	}
}

// TestMisuse leaves with 2 and says what is wrong.
func TestMisuse(t *testing.T) {
	s := newStub(t)
	other := httptest.NewServer(http.NotFoundHandler())
	t.Cleanup(other.Close)
	gone := httptest.NewServer(http.NotFoundHandler())
	gone.Close()
	for _, c := range []struct {
		args []string
		say  string
	}{
		{nil, "name the address"},
		{[]string{"127.0.0.1:8080"}, "name the address"},
		{[]string{s.URL, s.URL}, "name the address"},
		{[]string{"-unheardof", s.URL}, "-help lists the settings"},
		{[]string{"-only", "unheardof", s.URL}, "no test is called unheardof"},
		{[]string{"-today", "tomorrow", s.URL}, `"tomorrow" is no date`},
		{[]string{other.URL}, "not a FHIR R4 server"},
		{[]string{gone.URL}, "not a FHIR R4 server"},
		{[]string{"-scripts", t.TempDir(), s.URL}, "there is no TestScript"},
		{[]string{"-send", "unheardof.json", s.URL}, "unheardof.json"},
		{[]string{"-send", t.TempDir(), s.URL}, "there is no .json file"},
	} {
		code, _, say := runCommand(t, c.args...)
		require.Equal(t, exitMisused, code, c.args)
		require.Contains(t, say, c.say)
	}
}

// TestTokenStaysAtHome: a link to another server is not followed with the token.
func TestTokenStaysAtHome(t *testing.T) {
	s, stranger := newStub(t), newStub(t)
	script := scriptOf(t, "", `{"operation":{"type":{"code":"read"},"encodeRequestUrl":true,"url":"`+stranger.URL+`/Patient/1"}}`)
	_, err := Execute(t.Context(), []*Script{script}, Options{Base: s.URL, Client: s.Client(), Now: standing, Token: "a-secret"})
	require.NoError(t, err)
	require.Len(t, stranger.asked, 1)
	require.Empty(t, stranger.token)
	require.Equal(t, "Bearer a-secret", s.token)
}

// planner is a stub that has a plan for a person from the second message on.
func planner(t *testing.T, log *[]string) *httptest.Server {
	sent := 0
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", jsonType)
		switch {
		case r.URL.Path == "/metadata":
			fmt.Fprint(w, `{"resourceType":"CapabilityStatement","fhirVersion":"4.0.1"}`)
		case r.Method != http.MethodGet:
			sent++
			*log = append(*log, r.Method+" "+r.URL.RequestURI())
			if strings.HasPrefix(r.URL.Path, "/Condition") {
				w.WriteHeader(http.StatusUnprocessableEntity)
				fmt.Fprint(w, `{"resourceType":"OperationOutcome","issue":[{"severity":"error","code":"business-rule","expression":["Condition.code"],"details":{"text":"nobody knows it"}}]}`)
				return
			}
			fmt.Fprint(w, `{"resourceType":"Bundle","type":"transaction-response","entry":[{"response":{"status":"201 Created","location":"Patient/p7/_history/1"},"resource":{"resourceType":"Patient","id":"p7"}}]}`)
		case sent < 2 || r.URL.Query().Get("patient") != "p7":
			fmt.Fprint(w, `{"resourceType":"Bundle","type":"searchset"}`)
		case r.URL.Path == "/CarePlan":
			fmt.Fprint(w, `{"resourceType":"Bundle","entry":[{"resource":{"resourceType":"CarePlan","id":"c1","status":"active","meta":{"versionId":"1"}}}]}`)
		case r.URL.Query().Get("page") == "":
			fmt.Fprint(w, `{"resourceType":"Bundle","link":[{"relation":"next","url":"http://`+r.Host+`/Task?patient=p7&page=2"}],"entry":[{"resource":{"resourceType":"Task","id":"t1","status":"draft","meta":{"versionId":"1"}}}]}`)
		default:
			fmt.Fprint(w, `{"resourceType":"Bundle","entry":[{"resource":{"resourceType":"Task","id":"t2","status":"requested","meta":{"versionId":"1"},"code":{"coding":[{"code":"the-step"}]},"restriction":{"period":{"end":"2027-01-05"}}}}]}`)
		}
	}))
	t.Cleanup(s.Close)
	return s
}

// TestSend plays a folder: in the order of its names, each as it is best sent.
func TestSend(t *testing.T) {
	folder := t.TempDir()
	for name, body := range map[string]string{
		"1-patient.json": `{"resourceType":"Patient","identifier":[{"system":"https://registry.example/person","value":"P 1"}]}`,
		"2-booking.json": `{"resourceType":"Bundle","type":"transaction","entry":[]}`,
		"3-records.json": `{"resourceType":"Bundle","type":"collection","entry":[{"resource":{"resourceType":"Condition","id":"c9"}},{"resource":{"resourceType":"Location"}}]}`,
		"notes.txt":      "not sent",
	} {
		require.NoError(t, os.WriteFile(filepath.Join(folder, name), []byte(body), 0o600))
	}
	var asked []string
	s := planner(t, &asked)
	code, out, say := runCommand(t, "-send", folder, s.URL)
	require.Empty(t, say)
	require.Equal(t, exitFailed, code, "one was refused")
	require.Equal(t, []string{"PUT /Patient?identifier=https%3A%2F%2Fregistry.example%2Fperson%7CP+1", "POST /", "PUT /Condition/c9", "POST /Location"}, asked)
	for _, part := range []string{
		"200  POST transaction of 0", "201 Created  Patient/p7/_history/1",
		"-> CarePlan/c1 new: active", "-> Tasks: 2 new, 0 changed; of these 1 draft, 1 requested", "Task/t2  the-step  due 2027-01-05",
		"422  PUT Condition/c9", "error  business-rule  Condition.code  nobody knows it", "3 files: 4 sent, 1 refused",
	} {
		require.Contains(t, out, part)
	}
	require.Equal(t, 1, strings.Count(out, "-> CarePlan"), "what did not change is not said again")

	require.NoError(t, os.WriteFile(filepath.Join(folder, "4.json"), []byte(`{"no":"resource"}`), 0o600))
	code, _, say = runCommand(t, "-send", filepath.Join(folder, "4.json"), s.URL)
	require.Equal(t, exitMisused, code)
	require.Contains(t, say, "it is no FHIR resource")
}

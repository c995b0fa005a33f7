package conformance

import (
	"net/http"
	"time"
)

// Verdict is what came of an action or a test. The values of an action are those
// of the value set report-action-result-codes.
type Verdict string

// The verdicts.
const (
	Pass    Verdict = "pass"
	Fail    Verdict = "fail"
	Skip    Verdict = "skip"    // an action before it failed
	Warning Verdict = "warning" // it failed, and the script only warns of that
	Broken  Verdict = "error"   // it could not be carried out
)

// Exchange is a request and its response, as they went over the wire.
type Exchange struct {
	Method, URL string
	Header      http.Header
	Body        []byte

	Status         int
	ResponseHeader http.Header
	ResponseBody   []byte

	sent, received any // decoded JSON; nil when it is none
}

// ActionResult is what came of one action.
type ActionResult struct {
	Operation bool // else an assert
	About     string
	Verdict   Verdict
	Message   string
	Exchange  *Exchange // that the action made, or looked at; may be nil
}

// TestResult is what came of one test.
type TestResult struct {
	Script, Test string
	About        string
	Verdict      Verdict // Pass, Fail or Warning
	SetupFailed  bool    // the test was not begun: its script's setup failed
	Actions      []ActionResult
	Took         time.Duration
}

// Name is how a test is named in output and by -only.
func (t *TestResult) Name() string { return t.Script + "/" + t.Test }

// failed is the action that made the test fail; nil when none did.
func (t *TestResult) failed() *ActionResult { return firstFailed(t.Actions) }

func firstFailed(actions []ActionResult) *ActionResult {
	for n := range actions {
		if v := actions[n].Verdict; v == Fail || v == Broken {
			return &actions[n]
		}
	}
	return nil
}

// ScriptResult is what came of one script.
type ScriptResult struct {
	Script          *Script
	Setup, Teardown []ActionResult
	Tests           []TestResult
}

// Results are what came of a run.
type Results struct {
	Base    string
	Server  Server
	Began   time.Time
	Took    time.Duration
	Scripts []ScriptResult
}

// Tests are all tests in the order in which they were run.
func (r *Results) Tests() []TestResult {
	var out []TestResult
	for _, s := range r.Scripts {
		out = append(out, s.Tests...)
	}
	return out
}

// Failed counts the tests that did not pass.
func (r *Results) Failed() int {
	n := 0
	for _, t := range r.Tests() {
		if t.Verdict == Fail {
			n++
		}
	}
	return n
}

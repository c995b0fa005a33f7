package conformance

import (
	"encoding/json"
	"encoding/xml"
	"fmt"
	"io"
	"strings"
	"time"
)

// object is a piece of JSON.
type object = map[string]any

// WriteTestReport writes the results as TestReports of FHIR R4, one a script, in
// a Bundle of type collection. No body that was sent or received is in it.
func WriteTestReport(w io.Writer, r *Results) error {
	entries := make([]object, 0, len(r.Scripts))
	for n := range r.Scripts {
		entries = append(entries, object{"resource": r.testReport(&r.Scripts[n])})
	}
	out := json.NewEncoder(w)
	out.SetIndent("", " ")
	return out.Encode(object{"resourceType": "Bundle", "type": "collection", "entry": entries})
}

func (r *Results) testReport(s *ScriptResult) object {
	passed, result := 0, "pass"
	tests := make([]object, 0, len(s.Tests))
	for _, t := range s.Tests {
		if t.Verdict == Fail {
			result = "fail"
		} else {
			passed++
		}
		test := object{"name": t.Test, "action": actionReports(t.Actions)}
		if t.About != "" {
			test["description"] = t.About
		}
		tests = append(tests, test)
	}
	id := s.Script.ID
	if id == "" {
		id = s.Script.Name
	}
	out := object{
		"resourceType": "TestReport", "name": s.Script.Name, "status": "completed", "result": result,
		"testScript": object{"reference": "TestScript/" + id, "display": s.Script.Title}, "issued": r.Began.Format(time.RFC3339),
		"score": json.Number(fmt.Sprintf("%.1f", 100*float64(passed)/float64(len(s.Tests)))),
		"participant": []object{
			{"type": "test-engine", "uri": "http://countback.example/conform", "display": "conform"},
			{"type": "server", "uri": r.Base, "display": r.Server.String()},
		},
		"test": tests,
	}
	if s.Script.Title == "" {
		out["testScript"] = object{"reference": "TestScript/" + id}
	}
	if len(s.Setup) > 0 {
		out["setup"] = object{"action": actionReports(s.Setup)}
	}
	if len(s.Teardown) > 0 {
		out["teardown"] = object{"action": actionReports(s.Teardown)}
	}
	return out
}

func actionReports(actions []ActionResult) []object {
	out := make([]object, 0, len(actions))
	for _, a := range actions {
		one := object{"result": string(a.Verdict)}
		if message := strings.TrimSuffix(about(a)+a.Message, ": "); message != "" {
			one["message"] = message
		}
		kind := "assert"
		if a.Operation {
			kind = "operation"
		}
		out = append(out, object{kind: one})
	}
	return out
}

// The elements of JUnit's XML that readers of it agree on; common practice, no
// source.
type (
	junitSuites struct {
		XMLName xml.Name     `xml:"testsuites"`
		Suites  []junitSuite `xml:"testsuite"`
	}
	junitSuite struct {
		Name     string      `xml:"name,attr"`
		Tests    int         `xml:"tests,attr"`
		Failures int         `xml:"failures,attr"`
		Time     string      `xml:"time,attr"`
		Cases    []junitCase `xml:"testcase"`
	}
	junitCase struct {
		Class   string        `xml:"classname,attr"`
		Name    string        `xml:"name,attr"`
		Time    string        `xml:"time,attr"`
		Failure *junitFailure `xml:"failure"`
	}
	junitFailure struct {
		Message string `xml:"message,attr"`
		Text    string `xml:",chardata"`
	}
)

// WriteJUnit writes the results as JUnit's XML: a suite a script, and in a
// failure all that is printed of it.
func WriteJUnit(w io.Writer, r *Results) error {
	var out junitSuites
	for _, s := range r.Scripts {
		suite := junitSuite{Name: s.Script.Name, Tests: len(s.Tests)}
		var took time.Duration
		for _, t := range s.Tests {
			one := junitCase{Class: s.Script.Name, Name: t.Test, Time: seconds(t.Took)}
			took += t.Took
			if a := t.failed(); a != nil {
				suite.Failures++
				var text strings.Builder
				printTest(&text, t)
				one.Failure = &junitFailure{Message: about(*a) + a.Message, Text: text.String()}
			}
			suite.Cases = append(suite.Cases, one)
		}
		suite.Time = seconds(took)
		out.Suites = append(out.Suites, suite)
	}
	if _, err := io.WriteString(w, xml.Header); err != nil {
		return err
	}
	e := xml.NewEncoder(w)
	e.Indent("", " ")
	return e.Encode(out)
}

func seconds(d time.Duration) string { return fmt.Sprintf("%.3f", d.Seconds()) }

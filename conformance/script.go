package conformance

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"

	"example.org/countback/pkg/fhirpath"
)

// ErrScript says that a script cannot be carried out as it stands.
var ErrScript = errors.New("the script cannot be carried out")

// Script is a TestScript, as far as the runner reads it.
type Script struct {
	ResourceType string            `json:"resourceType"`
	ID           string            `json:"id"`
	URL          string            `json:"url"`
	Name         string            `json:"name"`
	Title        string            `json:"title"`
	Status       string            `json:"status"`
	Contained    []json.RawMessage `json:"contained"`
	Origin       []any             `json:"origin"`
	Destination  []any             `json:"destination"`
	Fixture      []Fixture         `json:"fixture"`
	Profile      []struct {
		ID        string `json:"id"`
		Reference string `json:"reference"`
	} `json:"profile"`
	Variable []Variable `json:"variable"`
	Setup    Stage      `json:"setup"`
	Test     []Test     `json:"test"`
	Teardown Stage      `json:"teardown"`

	folder fs.FS // of the fixtures
}

// Fixture is something that is sent.
type Fixture struct {
	ID         string `json:"id"`
	Autocreate bool   `json:"autocreate"`
	Autodelete bool   `json:"autodelete"`
	Resource   struct {
		Reference string `json:"reference"`
	} `json:"resource"`
}

// Variable is a value that is read from what was sent or received.
type Variable struct {
	Name         string  `json:"name"`
	DefaultValue *string `json:"defaultValue"`
	Expression   string  `json:"expression"`
	HeaderField  string  `json:"headerField"`
	Path         string  `json:"path"`
	SourceID     string  `json:"sourceId"`
}

// Stage is the setup or the teardown.
type Stage struct {
	Action []Action `json:"action"`
}

// Test is one test of a script.
type Test struct {
	ID          string   `json:"id"`
	Name        string   `json:"name"`
	Description string   `json:"description"`
	Action      []Action `json:"action"`
}

// Action is an operation or an assert.
type Action struct {
	Operation *Operation `json:"operation"`
	Assert    *Assert    `json:"assert"`
}

// Operation is a request.
type Operation struct {
	ID   string `json:"id"`
	Type struct {
		System string `json:"system"`
		Code   string `json:"code"`
	} `json:"type"`
	Resource         string `json:"resource"`
	Label            string `json:"label"`
	Description      string `json:"description"`
	Accept           string `json:"accept"`
	ContentType      string `json:"contentType"`
	Destination      int    `json:"destination"`
	EncodeRequestURL *bool  `json:"encodeRequestUrl"`
	Method           string `json:"method"`
	Origin           int    `json:"origin"`
	Params           string `json:"params"`
	RequestHeader    []struct {
		Field string `json:"field"`
		Value string `json:"value"`
	} `json:"requestHeader"`
	RequestID  string `json:"requestId"`
	ResponseID string `json:"responseId"`
	SourceID   string `json:"sourceId"`
	TargetID   string `json:"targetId"`
	URL        string `json:"url"`
}

// Assert is what is expected of the last request or response, or of a stored one.
type Assert struct {
	ID                        string  `json:"id"`
	Label                     string  `json:"label"`
	Description               string  `json:"description"`
	Direction                 string  `json:"direction"`
	CompareToSourceID         string  `json:"compareToSourceId"`
	CompareToSourceExpression string  `json:"compareToSourceExpression"`
	CompareToSourcePath       string  `json:"compareToSourcePath"`
	ContentType               string  `json:"contentType"`
	Expression                string  `json:"expression"`
	HeaderField               string  `json:"headerField"`
	MinimumID                 string  `json:"minimumId"`
	NavigationLinks           *bool   `json:"navigationLinks"`
	Operator                  string  `json:"operator"`
	Path                      string  `json:"path"`
	RequestMethod             string  `json:"requestMethod"`
	RequestURL                string  `json:"requestURL"`
	Resource                  string  `json:"resource"`
	Response                  string  `json:"response"`
	ResponseCode              string  `json:"responseCode"`
	SourceID                  string  `json:"sourceId"`
	ValidateProfileID         string  `json:"validateProfileId"`
	Value                     *string `json:"value"`
	WarningOnly               bool    `json:"warningOnly"`
}

// UnmarshalJSON refuses what the runner does not know.
func (o *Operation) UnmarshalJSON(b []byte) error {
	type plain Operation
	return strictly(b, (*plain)(o), "operation")
}

// UnmarshalJSON refuses what the runner does not know.
func (a *Assert) UnmarshalJSON(b []byte) error {
	type plain Assert
	return strictly(b, (*plain)(a), "assert")
}

func strictly(b []byte, into any, what string) error {
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	if err := d.Decode(into); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	return nil
}

// ReadScript reads a TestScript. Its fixtures are looked for in folder. The
// error is ErrScript.
func ReadScript(body []byte, folder fs.FS) (*Script, error) {
	s := &Script{folder: folder}
	if err := json.Unmarshal(body, s); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrScript, err)
	}
	if s.ResourceType != "TestScript" {
		return nil, fmt.Errorf("%w: it is no TestScript", ErrScript)
	}
	if s.URL == "" || s.Name == "" || s.Status == "" {
		return nil, fmt.Errorf("%w: url, name and status are required", ErrScript)
	}
	if err := s.check(); err != nil {
		return nil, fmt.Errorf("%w: %s: %w", ErrScript, s.Name, err)
	}
	return s, nil
}

// check looks at every action, before any is carried out.
func (s *Script) check() error {
	names := map[string]bool{}
	for _, v := range s.Variable {
		given := 0
		for _, from := range []string{v.Expression, v.HeaderField, v.Path} {
			if from != "" {
				given++
			}
		}
		if given > 1 || names[v.Name] {
			return fmt.Errorf("variable %s: one name has one source", v.Name)
		}
		names[v.Name] = true
		if err := checkPaths(v.Expression, v.Path); err != nil {
			return fmt.Errorf("variable %s: %w", v.Name, err)
		}
	}
	for at, action := range s.actions() {
		if err := action.check(s); err != nil {
			return fmt.Errorf("%s: %w", at, err)
		}
	}
	return nil
}

// actions are all actions by their place.
func (s *Script) actions() map[string]Action {
	out := map[string]Action{}
	add := func(stage string, actions []Action) {
		for n, a := range actions {
			out[fmt.Sprintf("%s, action %d", stage, n+1)] = a
		}
	}
	add("setup", s.Setup.Action)
	add("teardown", s.Teardown.Action)
	for _, t := range s.Test {
		add("test "+t.title(), t.Action)
	}
	return out
}

func (t *Test) title() string {
	if t.ID != "" {
		return t.ID
	}
	return t.Name
}

func (a *Action) check(s *Script) error {
	switch {
	case (a.Operation == nil) == (a.Assert == nil):
		return errors.New("an action is an operation or an assert")
	case a.Assert != nil:
		return a.Assert.check(s)
	}
	return a.Operation.check(s)
}

func (o *Operation) check(s *Script) error {
	for _, id := range []string{o.SourceID, o.TargetID} {
		if id != "" && !s.knows(id) {
			return fmt.Errorf("there is no fixture or response %q", id)
		}
	}
	if o.EncodeRequestURL == nil {
		return errors.New("encodeRequestUrl is required")
	}
	if o.TargetID != "" && o.URL != "" || o.Params != "" && o.URL != "" {
		return errors.New("of targetId, params and url one names the target")
	}
	if o.Method == "" && o.Type.Code == "" {
		return errors.New("an operation has a type or a method")
	}
	return nil
}

var operators = []string{"", "equals", "notEquals", "in", "notIn", "greaterThan", "lessThan", "empty", "notEmpty", "contains", "notContains", "eval"}

func (a *Assert) check(s *Script) error {
	kinds := a.kinds()
	if len(kinds) != 1 {
		return fmt.Errorf("an assert is of one kind, and this of %d %v", len(kinds), kinds)
	}
	if !slices.Contains(operators, a.Operator) {
		return fmt.Errorf("operator %s is not known", a.Operator)
	}
	if a.Response != "" && responses[a.Response] == 0 {
		return fmt.Errorf("response %s is not known; use responseCode", a.Response)
	}
	for _, id := range []string{a.SourceID, a.CompareToSourceID, a.MinimumID} {
		if id != "" && !s.knows(id) {
			return fmt.Errorf("there is no fixture or response %q", id)
		}
	}
	return checkPaths(a.Expression, a.Path, a.CompareToSourceExpression, a.CompareToSourcePath)
}

// kinds are the kinds of assertion that are asked for; tst-5 allows one.
func (a *Assert) kinds() []string {
	var out []string
	if a.Expression == "" && a.Path == "" && a.HeaderField == "" { // the same path in both, then
		a.Expression, a.Path = a.CompareToSourceExpression, a.CompareToSourcePath
	}
	for _, k := range []struct {
		name  string
		given bool
	}{
		{"contentType", a.ContentType != ""}, {"expression", a.Expression != ""}, {"headerField", a.HeaderField != ""},
		{"minimumId", a.MinimumID != ""}, {"navigationLinks", a.NavigationLinks != nil}, {"path", a.Path != ""},
		{"requestMethod", a.RequestMethod != ""}, {"requestURL", a.RequestURL != ""}, {"resource", a.Resource != ""},
		{"response", a.Response != ""}, {"responseCode", a.ResponseCode != ""}, {"validateProfileId", a.ValidateProfileID != ""},
	} {
		if k.given {
			out = append(out, k.name)
		}
	}
	return out
}

// checkPaths parses expressions that have no variable; the others wait for
// their values.
func checkPaths(paths ...string) error {
	for _, p := range paths {
		if p == "" || strings.Contains(p, "${") {
			continue
		}
		if _, err := parsePath(p); err != nil {
			return err
		}
	}
	return nil
}

// knows reports whether a fixture, a response or a request of this id is named
// anywhere in the script.
func (s *Script) knows(id string) bool {
	if slices.ContainsFunc(s.Fixture, func(f Fixture) bool { return f.ID == id }) {
		return true
	}
	for _, a := range s.actions() {
		if a.Operation != nil && (a.Operation.ResponseID == id || a.Operation.RequestID == id) {
			return true
		}
	}
	return false
}

// parsePath reads FHIRPath, or an XPath of plain element names such as
// fhir:Bundle/fhir:type/@value, which means the same. More of XPath is refused.
func parsePath(p string) (*fhirpath.Expression, error) {
	if strings.ContainsAny(p, "'`") || !strings.Contains(p, "/") && !strings.Contains(p, "fhir:") {
		return fhirpath.Parse(p)
	}
	plain := strings.TrimPrefix(strings.TrimSuffix(strings.ReplaceAll(p, "fhir:", ""), "/@value"), "/")
	if strings.ContainsAny(plain, "[]()@*= ") || strings.Contains(plain, "//") {
		return nil, fmt.Errorf("%w: XPath %s", fhirpath.ErrUnsupported, p)
	}
	return fhirpath.Parse(strings.ReplaceAll(plain, "/", "."))
}

// fixture reads the text of a fixture, before substitution.
func (s *Script) fixture(f Fixture) ([]byte, error) {
	ref := f.Resource.Reference
	if id, ok := strings.CutPrefix(ref, "#"); ok {
		for _, c := range s.Contained {
			var head struct{ ID string }
			if err := json.Unmarshal(c, &head); err == nil && head.ID == id {
				return withoutID(c)
			}
		}
		return nil, fmt.Errorf("%w: fixture %s: nothing contained is called %s", ErrScript, f.ID, id)
	}
	names := []string{path.Clean(ref)}
	if path.Ext(ref) == "" {
		names = []string{strings.ReplaceAll(ref, "/", "-") + ".json", ref + ".json"}
	}
	for _, name := range names {
		if body, err := fs.ReadFile(s.folder, name); err == nil {
			return body, nil
		}
	}
	return nil, fmt.Errorf("%w: fixture %s: there is no file %s", ErrScript, f.ID, strings.Join(names, " or "))
}

// withoutID takes away the id by which a contained resource is named: it is no
// part of what is sent. A resource that is sent with an id lies in a file.
func withoutID(body []byte) ([]byte, error) {
	var m map[string]json.RawMessage
	if err := json.Unmarshal(body, &m); err != nil {
		return nil, fmt.Errorf("%w: %w", ErrScript, err)
	}
	delete(m, "id")
	return json.Marshal(m)
}

package conformance

import (
	"fmt"
	"mime"
	"net/http"
	"net/url"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/countback/pkg/fhir"
)

// disappointment says that something else came than was expected.
type disappointment struct{ expected, got string }

func (d *disappointment) Error() string { return "expected " + d.expected + "; got " + d.got }

// responses are the status codes of assert.response.
var responses = map[string]int{
	"okay": 200, "created": 201, "noContent": 204, "notModified": 304, "bad": 400, "forbidden": 403, "notFound": 404,
	"methodNotAllowed": 405, "conflict": 409, "gone": 410, "preconditionFailed": 412, "unprocessable": 422,
}

// assert compares what came with what is expected; the error is a
// *disappointment, or says why nothing could be compared.
func (r *run) assert(a *Assert) (*Exchange, error) {
	x, err := r.exchangeOf(a.SourceID)
	if err != nil && r.fixtures[a.SourceID] == nil {
		return nil, err
	}
	request := a.Direction == "request"
	switch a.kinds()[0] {
	case "response":
		return x, compare("response "+a.Response, "equals", fmt.Sprint(responses[a.Response]), []string{fmt.Sprint(x.Status)})
	case "responseCode":
		return x, compare("status", a.Operator, a.ResponseCode, []string{fmt.Sprint(x.Status)})
	case "contentType":
		return x, r.contentType(x, a, request)
	case "headerField":
		header := x.ResponseHeader
		if request {
			header = x.Header
		}
		return x, r.valued(a, "header "+a.HeaderField, header.Values(a.HeaderField))
	case "requestMethod":
		return x, compare("method", a.Operator, strings.ToUpper(a.RequestMethod), []string{x.Method})
	case "requestURL":
		want, err := r.fill(a.RequestURL)
		if err != nil {
			return x, err
		}
		return x, compare("address", a.Operator, want, []string{x.URL})
	case "resource":
		source, err := r.source(a.SourceID, request)
		if err != nil {
			return x, err
		}
		return x, compare("resource type", a.Operator, a.Resource, []string{typeIn(source)})
	}
	return x, r.assertBody(a, x, request)
}

// assertBody is the rest of assert: what looks into a body.
func (r *run) assertBody(a *Assert, x *Exchange, request bool) error {
	source, err := r.source(a.SourceID, request)
	if err != nil {
		return err
	}
	switch a.kinds()[0] {
	case "minimumId":
		body, err := r.body(a.MinimumID)
		if err != nil {
			return err
		}
		if missing := lacks(decoded(body), source, typeIn(source)); missing != "" {
			return &disappointment{"all of " + a.MinimumID, "a difference at " + missing}
		}
		return nil
	case "navigationLinks":
		return links(source, *a.NavigationLinks)
	case "validateProfileId":
		return r.conforms(a.ValidateProfileID, x)
	}
	return r.expression(a, source)
}

func typeIn(source any) string {
	m, _ := source.(map[string]any)
	typ, _ := m["resourceType"].(string)
	return typ
}

// exchangeOf is a stored exchange, or the last one.
func (r *run) exchangeOf(id string) (*Exchange, error) {
	switch {
	case id == "" && r.last == nil:
		return nil, fmt.Errorf("%w: nothing was sent yet", ErrScript)
	case id == "":
		return r.last, nil
	case r.held[id] == nil:
		return nil, fmt.Errorf("%w: %s has not been received yet", ErrScript, id)
	}
	return r.held[id], nil
}

// source is a decoded body: of a fixture with the id that the server gave it, of
// a response, or of a request.
func (r *run) source(id string, request bool) (any, error) {
	if r.fixtures[id] != nil {
		body, err := r.body(id)
		if err != nil {
			return nil, err
		}
		v := decoded(body)
		if m, ok := v.(map[string]any); ok && r.created[id] != "" {
			m["id"] = r.created[id]
		}
		return v, nil
	}
	x, err := r.exchangeOf(id)
	if err != nil {
		return nil, err
	}
	if request {
		return x.sent, nil
	}
	if x.received == nil {
		return nil, &disappointment{"a body in JSON", fmt.Sprintf("status %d with %d bytes that are none", x.Status, len(x.ResponseBody))}
	}
	return x.received, nil
}

// contentType compares without parameters; json and xml stand for every media
// type of the format.
func (r *run) contentType(x *Exchange, a *Assert, request bool) error {
	header := x.ResponseHeader
	if request {
		header = x.Header
	}
	got, _, err := mime.ParseMediaType(header.Get("Content-Type"))
	if err != nil {
		got = header.Get("Content-Type")
	}
	want := mediaType(a.ContentType)
	if strings.HasSuffix(got, "/"+a.ContentType) || strings.HasSuffix(got, "+"+a.ContentType) {
		got = want
	}
	return compare("content type", a.Operator, want, []string{got})
}

// expression compares what a path finds.
func (r *run) expression(a *Assert, source any) error {
	path, err := r.fill(a.Expression + a.Path)
	if err != nil {
		return err
	}
	e, err := parsePath(path)
	if err != nil {
		return err
	}
	if a.CompareToSourceID == "" && a.Value == nil && (a.Operator == "" || a.Operator == "eval") {
		holds, err := e.Holds(source)
		if err == nil && !holds {
			err = &disappointment{path, "something for which it is not true"}
		}
		return err
	}
	texts, err := e.Texts(source)
	if err != nil {
		return err
	}
	if a.Path != "" && a.Value != nil && len(texts) > 1 && (a.Operator == "" || a.Operator == "equals") {
		return r.valuedAny(a, path, texts)
	}
	return r.valued(a, path, texts)
}

// valuedAny is equality as XPath 1.0 has it of a set of nodes: one of them is
// equal.
func (r *run) valuedAny(a *Assert, path string, texts []string) error {
	var last error
	for _, text := range texts {
		if last = r.valued(a, path, []string{text}); last == nil {
			return nil
		}
	}
	return last
}

// valued compares with the value, or with what another source has.
func (r *run) valued(a *Assert, what string, got []string) error {
	want := ""
	switch {
	case a.Value != nil:
		var err error
		if want, err = r.fill(*a.Value); err != nil {
			return err
		}
	case a.CompareToSourceID != "":
		other, err := r.source(a.CompareToSourceID, false)
		if err != nil {
			return err
		}
		v := Variable{Name: "compareToSource", Expression: a.CompareToSourceExpression, Path: a.CompareToSourcePath, SourceID: a.CompareToSourceID}
		if want, err = r.read(v); err != nil {
			return err
		}
		if want == "" {
			return fmt.Errorf("%w: there is nothing in %s to compare with: %v", ErrScript, a.CompareToSourceID, typeIn(other))
		}
		if len(got) > 0 && (a.Operator == "" || a.Operator == "equals") { // all of both, in their order
			got = []string{strings.Join(got, ",")}
		}
	case a.Operator != "empty" && a.Operator != "notEmpty":
		return fmt.Errorf("%w: operator %s without a value", ErrScript, a.Operator)
	}
	return compare(what, a.Operator, want, got)
}

// compare applies an operator to what was got. Nothing but empty and the
// negations is true of nothing.
func compare(what, operator, want string, got []string) error {
	each := func(is func(string) bool) bool {
		return len(got) > 0 && !slices.ContainsFunc(got, func(g string) bool { return !is(g) })
	}
	among := func(g string) bool {
		return slices.ContainsFunc(strings.Split(want, ","), func(w string) bool { return strings.TrimSpace(w) == g })
	}
	holds := map[string]func() bool{
		"":          func() bool { return len(got) == 1 && got[0] == want },
		"equals":    func() bool { return len(got) == 1 && got[0] == want },
		"notEquals": func() bool { return !slices.Contains(got, want) },
		"in":        func() bool { return each(among) },
		"notIn":     func() bool { return !slices.ContainsFunc(got, among) },
		"contains":  func() bool { return slices.ContainsFunc(got, func(g string) bool { return strings.Contains(g, want) }) },
		"notContains": func() bool {
			return !slices.ContainsFunc(got, func(g string) bool { return strings.Contains(g, want) })
		},
		"empty":       func() bool { return len(got) == 0 || len(got) == 1 && got[0] == "" },
		"notEmpty":    func() bool { return each(func(g string) bool { return g != "" }) },
		"greaterThan": func() bool { return each(func(g string) bool { return before(want, g) }) },
		"lessThan":    func() bool { return each(func(g string) bool { return before(g, want) }) },
	}[operator]
	if holds == nil {
		return fmt.Errorf("%w: operator %s for %s", ErrScript, operator, what)
	}
	if holds() {
		return nil
	}
	if operator == "" {
		operator = "equals"
	}
	said := "nothing"
	if len(got) > 0 {
		said = strings.Join(got, ", ")
	}
	return &disappointment{strings.TrimSpace(what + ", " + operator + " " + want), said}
}

// before compares numbers as numbers, moments as moments, and else texts.
func before(a, b string) bool {
	x, errX := strconv.ParseFloat(a, 64)
	y, errY := strconv.ParseFloat(b, 64)
	if errX == nil && errY == nil {
		return x < y
	}
	s, errX := time.Parse(time.RFC3339, a)
	t, errY := time.Parse(time.RFC3339, b)
	if errX == nil && errY == nil {
		return s.Before(t)
	}
	return a < b
}

// lacks names the first place at which actual has not what least has; empty when
// there is none. An item of an array may stand anywhere in the other.
func lacks(least, actual any, at string) string {
	switch want := least.(type) {
	case map[string]any:
		got, ok := actual.(map[string]any)
		if !ok {
			return at
		}
		for name, v := range want {
			if missing := lacks(v, got[name], at+"."+name); missing != "" {
				return missing
			}
		}
		return ""
	case []any:
		got, _ := actual.([]any)
		for n, v := range want {
			if !slices.ContainsFunc(got, func(g any) bool { return lacks(v, g, "") == "" && g != nil }) {
				return fmt.Sprintf("%s[%d]", at, n)
			}
		}
		return ""
	}
	if reflect.DeepEqual(least, actual) {
		return ""
	}
	if at == "" {
		return "."
	}
	return at
}

// links looks at the links of a Bundle: each has a name of its own and a
// complete address, and one is self.
func links(source any, wanted bool) error {
	m, _ := source.(map[string]any)
	list, _ := m["link"].([]any)
	seen := map[string]bool{}
	sound := true
	for _, l := range list {
		one, _ := l.(map[string]any)
		relation, _ := one["relation"].(string)
		address, _ := one["url"].(string)
		u, err := url.Parse(address)
		sound = sound && relation != "" && !seen[relation] && err == nil && u.IsAbs()
		seen[relation] = true
	}
	if (sound && seen["self"]) != wanted {
		return &disappointment{"a link self, and each link once with a complete address", fmt.Sprint(list)}
	}
	return nil
}

// conforms checks the base definition of a type; other profiles are not known.
func (r *run) conforms(id string, x *Exchange) error {
	const baseProfiles = "http://hl7.org/fhir/StructureDefinition/"
	at := slices.IndexFunc(r.script.Profile, func(p struct {
		ID        string `json:"id"`
		Reference string `json:"reference"`
	}) bool {
		return p.ID == id
	})
	if at < 0 || !fhir.IsResourceType(strings.TrimPrefix(r.script.Profile[at].Reference, baseProfiles)) {
		return fmt.Errorf("%w: profile %s is none of the base specification", ErrScript, id)
	}
	typ := strings.TrimPrefix(r.script.Profile[at].Reference, baseProfiles)
	if x.Status == http.StatusNoContent || len(x.ResponseBody) == 0 {
		return &disappointment{"a " + typ, "no body"}
	}
	res, issues := fhir.Parse(x.ResponseBody, mostRead)
	if len(issues) > 0 {
		return &disappointment{"a " + typ + " of FHIR R4", issues.Error()}
	}
	return compare("resource type", "equals", typ, []string{res.Type})
}

package fhir

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const patched = `{"resourceType":"Patient","active":true,"name":[{"family":"Ash","given":["Una","Vee"]}],"multipleBirthInteger":2}`

// TestJSONPatch follows the examples of RFC 6902, appendix A, on a Patient.
func TestJSONPatch(t *testing.T) {
	for _, c := range []struct{ name, patch, old, new string }{
		{"A.1 a member", `[{"op":"add","path":"/gender","value":"female"}]`, `:2}`, `:2,"gender":"female"}`},
		{"A.2 an item", `[{"op":"add","path":"/name/0/given/1","value":"Wren"}]`, `"Una",`, `"Una","Wren",`},
		{"A.3 a member goes", `[{"op":"remove","path":"/active"}]`, `"active":true,`, ``},
		{"A.4 an item goes", `[{"op":"remove","path":"/name/0/given/1"}]`, `,"Vee"`, ``},
		{"A.5 another value", `[{"op":"replace","path":"/active","value":false}]`, `true`, `false`},
		{"A.6 moved", `[{"op":"move","from":"/name/0/family","path":"/name/0/text"}]`, `"family":"Ash","given":["Una","Vee"]`, `"given":["Una","Vee"],"text":"Ash"`},
		{"A.7 an item moved", `[{"op":"move","from":"/name/0/given/1","path":"/name/0/given/0"}]`, `"Una","Vee"`, `"Vee","Una"`},
		{"A.8 a test that holds", `[{"op":"test","path":"/name/0","value":{"given":["Una","Vee"],"family":"Ash"}}]`, ``, ``},
		{"A.11 what is not known is left alone", `[{"op":"remove","path":"/active","canary":1}]`, `"active":true,`, ``},
		{"A.14 escapes", `[{"op":"add","path":"/~0~1","value":1},{"op":"test","path":"/~0~1","value":1},{"op":"remove","path":"/~0~1"}]`, ``, ``},
		{"A.16 at the end", `[{"op":"add","path":"/name/0/given/-","value":"Wren"}]`, `"Vee"]`, `"Vee","Wren"]`},
		{"copied, and then changed alone", `[{"op":"copy","from":"/name/0","path":"/name/-"},{"op":"replace","path":"/name/1/family","value":"Elm"}]`,
			`"Vee"]}]`, `"Vee"]},{"family":"Elm","given":["Una","Vee"]}]`},
		{"a number by its value", `[{"op":"test","path":"/multipleBirthInteger","value":2.0e0}]`, ``, ``},
		{"nothing", `[]`, ``, ``},
		{"a number keeps its text", `[{"op":"add","path":"/x","value":1.10}]`, `:2}`, `:2,"x":1.10}`},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, issues := Parse([]byte(patched), 0)
			require.Empty(t, issues)
			p, issues := ParseJSONPatch([]byte(c.patch), 0)
			require.Empty(t, issues)
			got, issues := p.Apply(r)
			require.Empty(t, issues)
			want := patched
			if c.old != "" {
				require.Contains(t, patched, c.old)
				want = strings.Replace(patched, c.old, c.new, 1)
			}
			require.Equal(t, want, string(got))
			require.Equal(t, patched, string(r.Raw), "the resource is unchanged")
		})
	}
}

func TestJSONPatchRefused(t *testing.T) {
	double := `{"op":"copy","from":"/name","path":"/name/-"},`
	for _, c := range []struct{ name, patch, code, text string }{
		{"no JSON", `[`, CodeStructure, "ends too early"},
		{"no array", `{}`, CodeStructure, "array of operations"},
		{"no operation", `[1]`, CodeStructure, "operation 0"},
		{"an unknown one", `[{"op":"spam","path":"/a"}]`, CodeStructure, "op is add"},
		{"no path", `[{"op":"remove"}]`, CodeStructure, "path is missing"},
		{"a path that is none", `[{"op":"remove","path":"active"}]`, CodeStructure, "no JSON Pointer"},
		{"a wrong escape", `[{"op":"remove","path":"/a~2"}]`, CodeStructure, "no JSON Pointer"},
		{"no value", `[{"op":"add","path":"/a"}]`, CodeStructure, "value is missing"},
		{"no from", `[{"op":"copy","path":"/a"}]`, CodeStructure, "from is missing"},
		{"two names", `[{"op":"remove","op":"add","path":"/a","value":1}]`, CodeStructure, "twice"},
		{"into itself", `[{"op":"move","from":"/name","path":"/name/0"}]`, CodeStructure, "into itself"},
		{"A.9 a test that fails", `[{"op":"remove","path":"/active"},{"op":"test","path":"/name/0/family","value":"ash"}]`, CodeBusinessRule, "operation 1 of the patch: the test failed"},
		{"A.12 nowhere", `[{"op":"add","path":"/canary/1","value":1}]`, CodeBusinessRule, "nothing to add to"},
		{"A.15 a text is no number", `[{"op":"test","path":"/multipleBirthInteger","value":"2"}]`, CodeBusinessRule, "the test failed"},
		{"another length of list", `[{"op":"test","path":"/name/0/given","value":["Una"]}]`, CodeBusinessRule, "the test failed"},
		{"a huge exponent is not reckoned with", `[{"op":"test","path":"/multipleBirthInteger","value":2e999999999}]`, CodeBusinessRule, "the test failed"},
		{"an index with a zero", `[{"op":"remove","path":"/name/00"}]`, CodeBusinessRule, "nothing at its path"},
		{"past the end", `[{"op":"add","path":"/name/2","value":{}}]`, CodeBusinessRule, "no such place"},
		{"into a text", `[{"op":"add","path":"/name/0/family/0","value":{}}]`, CodeBusinessRule, "no object or array"},
		{"replace nothing", `[{"op":"replace","path":"/gender","value":"male"}]`, CodeBusinessRule, "nothing at its path"},
		{"copies that double", "[" + strings.TrimSuffix(strings.Repeat(double, 40), ",") + "]", CodeTooCostly, "copies too much"},
		{"the whole goes", `[{"op":"remove","path":""}]`, CodeBusinessRule, "cannot be removed"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, issues := Parse([]byte(patched), 0)
			require.Empty(t, issues)
			p, issues := ParseJSONPatch([]byte(c.patch), 0)
			if len(issues) == 0 {
				_, issues = p.Apply(r)
			}
			require.Len(t, issues, 1)
			require.Equal(t, c.code, issues[0].Code)
			require.Contains(t, issues[0].Text, c.text)
			require.NotContains(t, issues[0].Text, "canary", "texts may be logged")
		})
	}
	_, issues := ParseJSONPatch([]byte(`[]`), 1)
	require.True(t, issues.Has(CodeTooLong))
	_, issues = ParseJSONPatch([]byte("["+strings.TrimSuffix(strings.Repeat(`{"op":"remove","path":"/a"},`, 1001), ",")+"]"), 0)
	require.True(t, issues.Has(CodeTooCostly))
}

func FuzzJSONPatch(f *testing.F) {
	f.Add(patched, `[{"op":"add","path":"/name/0/given/1","value":"Wren"}]`)
	f.Add(patched, `[{"op":"move","from":"/name/0/given/1","path":"/name/0/given/0"},{"op":"copy","from":"/name","path":"/x"}]`)
	f.Fuzz(func(t *testing.T, resource, patch string) {
		r, issues := Parse([]byte(resource), 0)
		if len(issues) > 0 {
			return
		}
		p, issues := ParseJSONPatch([]byte(patch), 0)
		if len(issues) > 0 {
			return
		}
		out, issues := p.Apply(r)
		if len(issues) > 0 {
			return
		}
		_, issue := readValue(out)
		require.True(t, issue == nil || issue.Code == CodeTooCostly || issue.Code == CodeStructure, "%s", out)
	})
}

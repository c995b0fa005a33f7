package event

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// schemaDir holds the published contract that these tests compare with.
const schemaDir = "../../../../api/events"

func readSchema(t *testing.T, name string) map[string]any {
	t.Helper()
	raw, err := os.ReadFile(filepath.Join(schemaDir, name))
	require.NoError(t, err)
	var doc map[string]any
	require.NoError(t, json.Unmarshal(raw, &doc), name)
	return doc
}

// judge applies a JSON Schema (the 2020-12 keywords that our schemas use) to a
// value and returns what is wrong. An unknown keyword is a fault of the schema,
// so that none is silently passed over.
type judge struct {
	t    *testing.T
	root map[string]any
}

func (j judge) faults(schema map[string]any, value any, at string) (out []string) {
	for keyword, arg := range schema {
		out = append(out, j.keyword(schema, keyword, arg, value, at)...)
	}
	return out
}

func (j judge) keyword(schema map[string]any, keyword string, arg, value any, at string) (out []string) {
	fault := func(bad bool) {
		if bad {
			out = append(out, at+": "+keyword)
		}
	}
	text, isText := value.(string)
	number, isNumber := value.(float64)
	object, isObject := value.(map[string]any)
	list, isList := value.([]any)
	switch keyword {
	case "$schema", "$id", "title", "description", "$defs":
	case "$ref":
		return j.faults(j.resolve(arg.(string)), value, at)
	case "type":
		fault(!map[string]bool{"object": isObject, "array": isList, "string": isText,
			"integer": isNumber && number == math.Trunc(number)}[arg.(string)])
	case "const":
		fault(value != arg)
	case "enum":
		fault(!slices.Contains(arg.([]any), value))
	case "pattern":
		fault(isText && !regexp.MustCompile(arg.(string)).MatchString(text))
	case "maxLength":
		fault(isText && len(text) > int(arg.(float64)))
	case "format":
		require.Equal(j.t, "date-time", arg)
		_, err := time.Parse(time.RFC3339Nano, text)
		fault(isText && err != nil)
	case "minimum":
		fault(isNumber && number < arg.(float64))
	case "maximum":
		fault(isNumber && number > arg.(float64))
	case "minItems":
		fault(isList && len(list) < int(arg.(float64)))
	case "items":
		for i, v := range list {
			out = append(out, j.faults(arg.(map[string]any), v, fmt.Sprintf("%s[%d]", at, i))...)
		}
	case "required":
		for _, name := range arg.([]any) {
			_, there := object[name.(string)]
			fault(isObject && !there)
		}
	case "properties":
		for name, sub := range arg.(map[string]any) {
			if v, there := object[name]; there {
				out = append(out, j.faults(sub.(map[string]any), v, at+"."+name)...)
			}
		}
		for name := range object {
			if _, known := arg.(map[string]any)[name]; !known {
				out = append(out, at+"."+name+": not in the schema")
			}
		}
	default:
		require.Failf(j.t, "unknown keyword", "%s at %s", keyword, at)
	}
	return out
}

func (j judge) resolve(ref string) map[string]any {
	name, ok := strings.CutPrefix(ref, "#/$defs/")
	require.True(j.t, ok, ref)
	def, ok := j.root["$defs"].(map[string]any)[name].(map[string]any)
	require.True(j.t, ok, ref)
	return def
}

func requireFits(t *testing.T, body []byte) {
	t.Helper()
	require.Empty(t, schemaFaults(t, body))
}

// schemaFaults judges an encoded event and its data.
func schemaFaults(t *testing.T, body []byte) []string {
	t.Helper()
	var e map[string]any
	require.NoError(t, json.Unmarshal(body, &e))
	envelope := readSchema(t, "event.schema.json")
	out := judge{t, envelope}.faults(envelope, e, "event")
	schema := readSchema(t, strings.TrimPrefix(e["dataschema"].(string), SchemaBase))
	require.Equal(t, e["dataschema"], schema["$id"])
	return append(out, judge{t, schema}.faults(schema, e["data"], "data")...)
}

func TestEncodedEventsFitThePublishedSchemas(t *testing.T) {
	for _, name := range CaseNames() {
		e, err := NewCase(options(name), fullCase())
		require.NoError(t, err)
		body, err := Encode(e)
		require.NoError(t, err)
		requireFits(t, body)
	}
	for _, name := range TasksNames() {
		e, err := NewTasks(options(name), fullTasks())
		require.NoError(t, err)
		body, err := Encode(e)
		require.NoError(t, err)
		requireFits(t, body)
	}
}

func TestSchemaRefusesWhatIsNotPublished(t *testing.T) {
	e, err := NewCase(options(CaseHeld), fullCase())
	require.NoError(t, err)
	body, err := Encode(e)
	require.NoError(t, err)
	for _, row := range []struct{ name, old, new, want string }{
		{"a name in the data", `"state":"held"`, `"state":"held","patientName":"Ada"`, "data.patientName: not in the schema"},
		{"another state", `"state":"held"`, `"state":"someday"`, "data.state: enum"},
		{"a date that is none", `"2026-11-30"`, `"soon"`, "data.surgeryDate: pattern"},
		{"no version", `"version":4,`, ``, "data: required"},
		{"sequence zero", `"casesequence":7`, `"casesequence":0`, "event.casesequence: minimum"},
		{"hold of another category", `"category":"clinical"`, `"category":"gossip"`, "data.holds[0].category: enum"},
	} {
		t.Run(row.name, func(t *testing.T) {
			changed := strings.Replace(string(body), row.old, row.new, 1)
			require.NotEqual(t, string(body), changed)
			require.Contains(t, schemaFaults(t, []byte(changed)), row.want)
		})
	}
}

func TestNamesEqualThePublishedOnes(t *testing.T) {
	want := append(CaseNames(), TasksNames()...)
	slices.Sort(want)

	var types []string
	envelope := readSchema(t, "event.schema.json")
	for _, v := range envelope["properties"].(map[string]any)["type"].(map[string]any)["enum"].([]any) {
		types = append(types, strings.TrimPrefix(v.(string), TypePrefix))
	}
	slices.Sort(types)
	require.Equal(t, want, types, "types in event.schema.json")

	doc := readSchema(t, "asyncapi.json")
	require.Equal(t, "3.0.0", doc["asyncapi"])
	channels := doc["channels"].(map[string]any)
	require.Equal(t, want, sortedKeys(channels), "channels in asyncapi.json")
	for name, c := range channels {
		address := strings.Replace(c.(map[string]any)["address"].(string), "{facility}", "north", 1)
		subject, err := Subject("north", name)
		require.NoError(t, err)
		require.Equal(t, subject, address)
	}
	messages := doc["components"].(map[string]any)["messages"].(map[string]any)
	require.Equal(t, want, sortedKeys(messages), "messages in asyncapi.json")
	for name, m := range messages {
		require.Equal(t, TypePrefix+name, m.(map[string]any)["name"])
		raw, err := json.Marshal(m)
		require.NoError(t, err)
		require.Contains(t, string(raw), `{"const":"`+TypePrefix+name+`"}`)
		require.NotEmpty(t, m.(map[string]any)["summary"], name)
	}
	operations := doc["operations"].(map[string]any)
	require.Len(t, operations, len(want))
	for _, name := range want {
		op, ok := operations["send."+name].(map[string]any)
		require.True(t, ok, name)
		require.Equal(t, "send", op["action"])
	}
}

func TestEveryReferenceInAsyncAPILeadsSomewhere(t *testing.T) {
	doc := readSchema(t, "asyncapi.json")
	seen := 0
	var walk func(v any)
	walk = func(v any) {
		switch v := v.(type) {
		case []any:
			for _, x := range v {
				walk(x)
			}
		case map[string]any:
			if ref, ok := v["$ref"].(string); ok {
				seen++
				if file, local := strings.CutPrefix(ref, "./"); local {
					readSchema(t, file)
				} else {
					requirePointer(t, doc, ref)
				}
			}
			for _, x := range v {
				walk(x)
			}
		}
	}
	walk(doc)
	require.Greater(t, seen, 100)
}

func requirePointer(t *testing.T, doc map[string]any, ref string) {
	t.Helper()
	at := any(doc)
	for step := range strings.SplitSeq(strings.TrimPrefix(ref, "#/"), "/") {
		object, ok := at.(map[string]any)
		require.True(t, ok, ref)
		at, ok = object[step]
		require.True(t, ok, ref)
	}
}

func sortedKeys(m map[string]any) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

package fhirpath

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
)

const patient = `{"resourceType":"Patient","identifier":[{"system":"a","value":"1"},{"system":"b","value":"2"},{"system":"c","value":"3"}],"birthDate":"1920-01-01","_birthDate":{"extension":[{"url":"http://a.example/e","valueCode":"x"}]}}`

const observation = `{"resourceType":"Observation","status":"final","code":{"text":"t"},"valueQuantity":{"value":1.10}}`

func read(t *testing.T, body string) *fhir.Resource {
	t.Helper()
	r, issues := fhir.Parse([]byte(body), 0)
	require.Empty(t, issues, body)
	return r
}

// patchOf is a patch of operations, each the JSON of its parts.
func patchOf(operations ...string) string {
	return `{"resourceType":"Parameters","parameter":[{"name":"operation","part":[` + strings.Join(operations, `]},{"name":"operation","part":[`) + `]}]}`
}

func op(kind, path string, more ...string) string {
	return strings.Join(append([]string{`{"name":"type","valueCode":"` + kind + `"}`, `{"name":"path","valueString":"` + path + `"}`}, more...), ",")
}

func named(name string) string { return `{"name":"name","valueString":"` + name + `"}` }
func value(v string) string    { return `{"name":"value",` + v + `}` }
func counted(name, n string) string {
	return `{"name":"` + name + `","valueInteger":` + n + `}`
}

// Source: HL7 FHIR R4 (4.0.1), FHIRPath Patch (http://hl7.org/fhir/R4/fhirpatch.html):
// the table of operations and the base rules below it. Each name begins with
// the rule.
func TestPatch(t *testing.T) {
	for _, c := range []struct{ name, on, patch, old, new string }{
		{"add: appended to what the path finds, by name", patient, patchOf(op("add", "Patient", named("gender"), value(`"valueCode":"male"`))), `}]}}`, `}]},"gender":"male"}`},
		{"add: the end of a list", patient, patchOf(op("add", "Patient", named("identifier"), value(`"valueIdentifier":{"system":"d"}`))), `"3"}]`, `"3"},{"system":"d"}]`},
		{"add: a list begins", patient, patchOf(op("add", "Patient", named("name"), value(`"valueHumanName":{"family":"Ash"}`))), `}]}}`, `}]},"name":[{"family":"Ash"}]}`},
		{"add: deeper", patient, patchOf(op("add", "Patient.identifier[1]", named("use"), value(`"valueCode":"old"`))), `"2"}`, `"2","use":"old"}`},
		{"add: a choice is named by its type", `{"resourceType":"Observation","status":"final","code":{"text":"t"}}`, patchOf(op("add", "Observation", named("value"), value(`"valueString":"high"`))), `"t"}}`, `"t"},"valueString":"high"}`},
		{"add: a group from its parts", patient, patchOf(op("add", "Patient", named("contact"), `{"name":"value","part":[{"name":"name","valueHumanName":{"family":"Ash"}},{"name":"relationship","valueCodeableConcept":{"text":"x"}},{"name":"relationship","valueCodeableConcept":{"text":"y"}}]}`)),
			`}]}}`, `}]},"contact":[{"name":{"family":"Ash"},"relationship":[{"text":"x"},{"text":"y"}]}]}`},
		{"add: an extension", patient, patchOf(op("add", "Patient", named("extension"), `{"name":"value","part":[{"name":"url","valueUri":"http://a.example/f"},{"name":"value","valueCode":"z"}]}`)), `}]}}`, `}]},"extension":[{"url":"http://a.example/f","valueCode":"z"}]}`},
		{"insert: at the index, from 0", patient, patchOf(op("insert", "Patient.identifier", value(`"valueIdentifier":{"system":"d"}`), counted("index", "0"))), `[{"system":"a"`, `[{"system":"d"},{"system":"a"`},
		{"insert: in the middle", patient, patchOf(op("insert", "Patient.identifier", value(`"valueIdentifier":{"system":"d"}`), counted("index", "2"))), `{"system":"c"`, `{"system":"d"},{"system":"c"`},
		{"insert: the index may be the number of items", patient, patchOf(op("insert", "Patient.identifier", value(`"valueIdentifier":{"system":"d"}`), counted("index", "3"))), `"3"}]`, `"3"},{"system":"d"}]`},
		{"insert: into a list that is not there", patient, patchOf(op("insert", "Patient.name", value(`"valueHumanName":{"family":"Ash"}`), counted("index", "0"))), `}]}}`, `}]},"name":[{"family":"Ash"}]}`},
		{"delete: an item", patient, patchOf(op("delete", "Patient.identifier[0]")), `{"system":"a","value":"1"},`, ``},
		{"delete: by a condition", patient, patchOf(op("delete", "Patient.identifier.where(system = 'b')")), `{"system":"b","value":"2"},`, ``},
		{"delete: a primitive goes with what is said about it", patient, patchOf(op("delete", "Patient.birthDate")), `,"birthDate":"1920-01-01","_birthDate":{"extension":[{"url":"http://a.example/e","valueCode":"x"}]}`, ``},
		{"delete: if found", patient, patchOf(op("delete", "Patient.gender")), ``, ``},
		{"delete: the last item takes the list with it", patient, patchOf(op("delete", "Patient.identifier.last()"), op("delete", "Patient.identifier.first()"), op("delete", "Patient.identifier.single()")),
			`"identifier":[{"system":"a","value":"1"},{"system":"b","value":"2"},{"system":"c","value":"3"}],`, ``},
		{"replace: a primitive", patient, patchOf(op("replace", "Patient.birthDate", value(`"valueDate":"1930-01-01"`))), `1920`, `1930`},
		{"replace: an item", patient, patchOf(op("replace", "Patient.identifier[1].value", value(`"valueString":"9"`))), `"2"`, `"9"`},
		{"replace: a whole item", patient, patchOf(op("replace", "identifier.where(value='2')", value(`"valueIdentifier":{"system":"z"}`))), `{"system":"b","value":"2"}`, `{"system":"z"}`},
		{"replace: a choice by another type", observation, patchOf(op("replace", "Observation.value", value(`"valueString":"high"`))), `"valueQuantity":{"value":1.10}`, `"valueString":"high"`},
		{"replace: inside a choice", observation, patchOf(op("replace", "Observation.value.ofType(Quantity).value", value(`"valueDecimal":2.00`))), `1.10`, `2.00`},
		{"replace: inside a choice, as", observation, patchOf(op("replace", "(Observation.value as Quantity).value", value(`"valueDecimal":2.00`))), `1.10`, `2.00`},
		{"move: within one list", patient, patchOf(op("move", "Patient.identifier", counted("source", "2"), counted("destination", "0"))),
			`{"system":"a","value":"1"},{"system":"b","value":"2"},{"system":"c","value":"3"}`, `{"system":"c","value":"3"},{"system":"a","value":"1"},{"system":"b","value":"2"}`},
		{"move: down", patient, patchOf(op("move", "Patient.identifier", counted("source", "0"), counted("destination", "2"))),
			`{"system":"a","value":"1"},{"system":"b","value":"2"},{"system":"c","value":"3"}`, `{"system":"b","value":"2"},{"system":"c","value":"3"},{"system":"a","value":"1"}`},
		{"each works on what the ones before it left", patient, patchOf(op("add", "Patient", named("gender"), value(`"valueCode":"male"`)), op("replace", "Patient.gender", value(`"valueCode":"other"`))), `}]}}`, `}]},"gender":"other"}`},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, issues := ReadPatch(read(t, c.patch))
			require.Empty(t, issues)
			out, issues := p.Apply(read(t, c.on))
			require.Empty(t, issues)
			require.Equal(t, strings.Replace(c.on, c.old, c.new, 1), string(out))
			read(t, string(out))
		})
	}
}

// What R4 forbids, or what cannot be done, is refused with the number of its
// operation, and nothing is changed.
func TestPatchCannotBeCarriedOut(t *testing.T) {
	code := value(`"valueCode":"male"`)
	for _, c := range []struct{ name, patch, text string }{
		{"add: what does not repeat and is there", op("add", "Patient", named("birthDate"), value(`"valueDate":"1930-01-01"`)), "is there already"},
		{"add: no such element", op("add", "Patient", named("canary"), code), "no element of this name"},
		{"add: nowhere", op("add", "Patient.contact", named("gender"), code), "finds nothing"},
		{"add: to several", op("add", "Patient.identifier", named("use"), code), "finds 3 elements"},
		{"add: to a primitive", op("add", "Patient.birthDate", named("extension"), code), "no element of this name"},
		{"insert: beyond the end", op("insert", "Patient.identifier", value(`"valueIdentifier":{"system":"d"}`), counted("index", "4")), "index may be 3 at most"},
		{"insert: no list", op("insert", "Patient.gender", code, counted("index", "0")), "does not repeat"},
		{"insert: an item is no list", op("insert", "Patient.identifier[0]", code, counted("index", "0")), "must name a list"},
		{"delete: several", op("delete", "Patient.identifier"), "finds 3 elements"},
		{"delete: all", op("delete", "Patient"), "whole resource"},
		{"replace: nothing", op("replace", "Patient.gender", code), "finds nothing"},
		{"replace: several", op("replace", "Patient.identifier.value", value(`"valueString":"9"`)), "finds 3 elements"},
		{"replace: all", op("replace", "Patient", code), "whole resource"},
		{"move: from beyond", op("move", "Patient.identifier", counted("source", "3"), counted("destination", "0")), "has 3 items"},
		{"move: to beyond", op("move", "Patient.identifier", counted("source", "0"), counted("destination", "3")), "has 3 items"},
		{"a group with a part of no element", op("add", "Patient", named("contact"), `{"name":"value","part":[{"name":"canary","valueCode":"x"}]}`), `no element of its group`},
		{"a group with one part too many", op("add", "Patient", named("contact"), `{"name":"value","part":[{"name":"gender","valueCode":"male"},{"name":"gender","valueCode":"male"}]}`), "more than one"},
		{"a path that computes", op("replace", "Patient.identifier.count()", code), "not supported as the place"},
		{"a path that adds", op("replace", "Patient.birthDate + 'x'", code), "not supported as the place"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, issues := ReadPatch(read(t, patchOf(op("delete", "Patient.gender"), c.patch)))
			require.Empty(t, issues)
			out, issues := p.Apply(read(t, patient))
			require.Nil(t, out)
			require.Len(t, issues, 1)
			require.Contains(t, issues[0].Text, "operation 1 of the patch: ")
			require.Contains(t, issues[0].Text, c.text)
			require.Equal(t, "Parameters.parameter[1]", issues[0].Expression)
		})
	}
	t.Run("items with extensions", func(t *testing.T) {
		const on = `{"resourceType":"Patient","name":[{"given":["a","b"],"_given":[null,{"extension":[{"url":"http://a.example/e","valueCode":"x"}]}]}]}`
		for _, o := range []string{
			op("delete", "Patient.name.given[0]"), op("replace", "Patient.name.given[0]", value(`"valueString":"c"`)),
			op("add", "Patient.name", named("given"), value(`"valueString":"c"`)), op("move", "Patient.name.given", counted("source", "0"), counted("destination", "1")),
		} {
			p, issues := ReadPatch(read(t, patchOf(o)))
			require.Empty(t, issues)
			_, issues = p.Apply(read(t, on))
			require.ErrorContains(t, issues, "use a JSON Patch", o)
		}
	})
}

func TestPatchRefused(t *testing.T) {
	code := value(`"valueCode":"male"`)
	for _, c := range []struct{ name, body, text string }{
		{"no Parameters", `{"resourceType":"Patient"}`, "is a Parameters resource"},
		{"nothing", `{"resourceType":"Parameters"}`, "at least one operation"},
		{"another parameter", `{"resourceType":"Parameters","parameter":[{"name":"canary","valueCode":"x"}]}`, "is named operation"},
		{"no type", patchOf(`{"name":"path","valueString":"Patient"}`), "type is add, insert"},
		{"another type", patchOf(op("copy", "Patient")), "type is add, insert"},
		{"no path", patchOf(`{"name":"type","valueCode":"delete"}`), "delete needs path"},
		{"an empty path", patchOf(`{"name":"type","valueCode":"delete"},{"name":"path","valueCode":"x"}`), "path is a valueString"},
		{"no FHIRPath", patchOf(op("delete", "Patient..x")), "not a FHIRPath expression"},
		{"FHIRPath that is not known", patchOf(op("delete", "Patient.link.other.resolve()")), "not supported: function resolve()"},
		{"no name", patchOf(op("add", "Patient", code)), "add needs name"},
		{"no value", patchOf(op("replace", "Patient.gender")), "replace needs value"},
		{"an empty value", patchOf(op("replace", "Patient.gender", `{"name":"value"}`)), "value is a value[x]"},
		{"no index", patchOf(op("insert", "Patient.name", code)), "insert needs index"},
		{"an index below 0", patchOf(op("insert", "Patient.name", code, counted("index", "-1"))), "counted from 0"},
		{"no destination", patchOf(op("move", "Patient.name", counted("source", "0"))), "move needs destination"},
		{"more than it takes", patchOf(op("delete", "Patient.name[0]", code)), "delete takes no value"},
		{"twice", patchOf(op("replace", "Patient.gender", code, code)), "value is there twice"},
		{"another part", patchOf(op("delete", "Patient.gender", `{"name":"canary","valueCode":"x"}`)), "the parts of an operation are"},
		{"too many", patchOf(strings.Split(strings.Repeat(op("delete", "Patient.gender")+"#", maxPatchOps)+op("delete", "Patient.gender"), "#")...), "may have 100 operations"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, issues := fhir.Parse([]byte(c.body), 0)
			if len(issues) == 0 {
				_, issues = ReadPatch(r)
			}
			require.Len(t, issues, 1)
			require.Contains(t, issues[0].Text, c.text)
		})
	}
}

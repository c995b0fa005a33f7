package fhirapi

import (
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
)

// names are the top-level elements of a resource, as they come.
func names(r *fhir.Node) string {
	var out []string
	for name := range r.Members() {
		out = append(out, name)
	}
	return strings.Join(out, " ")
}

// TestSummaries: what R4 marks as summary, mandatory or modifying stays, and the
// rest goes; the resource says that it is not complete.
func TestSummaries(t *testing.T) {
	h := open(t)
	const sent = `{"resourceType":"Patient","id":"canary-1","text":{"status":"generated","div":"<div xmlns=\"http://www.w3.org/1999/xhtml\">canary</div>"},` +
		`"active":true,"name":[{"family":"Canary"}],"gender":"female","maritalStatus":{"text":"canary"},"communication":[{"language":{"text":"canary"}}]}`
	h.must(201, "PUT", root+"/Patient/canary-1", sent)
	for _, c := range []struct{ query, want string }{
		{"_summary=true", "resourceType meta id active name gender"},
		{"_summary=text", "resourceType meta id text active"},
		{"_summary=data", "resourceType meta id active name gender maritalStatus communication"},
		{"_summary=false", "resourceType meta id text active name gender maritalStatus communication"},
		{"_elements=gender,maritalStatus", "resourceType meta id active gender maritalStatus"},
		{"_elements=Patient.gender,Task.status,canary", "resourceType meta id active gender"},
	} {
		found := h.must(200, "GET", root+"/Patient?"+c.query, "", "Prefer", "handling=strict")
		got := found.entries()[0].Get("resource")
		require.Equal(t, c.want, names(got), c.query)
		tag := ""
		if c.query != "_summary=false" {
			tag = "SUBSETTED"
		}
		require.Equal(t, tag, got.String("meta", "tag", "code"), c.query)
		require.Contains(t, found.link("self"), strings.SplitN(c.query, "=", 2)[0]+"=")
		require.Equal(t, c.want, names(h.must(200, "GET", root+"/Patient/canary-1?"+c.query, "").body.Root()), "a read")
		require.Equal(t, `W/"1"`, h.must(200, "GET", root+"/Patient/canary-1/_history/1?"+c.query, "").header.Get("ETag"))
	}
	count := h.must(200, "GET", root+"/Patient?_summary=count&_count=5", "")
	require.Equal(t, "1", count.String("total"))
	require.Empty(t, count.entries())

	h.must(201, "POST", root+"/Appointment", `{"resourceType":"Appointment","status":"proposed","comment":"canary","participant":[{"actor":{"reference":"Patient/canary-1"},"status":"accepted"}]}`)
	both := h.must(200, "GET", root+"/Appointment?_elements=start&_include=Appointment:patient", "").entries()
	require.Equal(t, "resourceType id meta status participant", names(both[0].Get("resource")), "what is mandatory stays")
	require.Contains(t, names(both[1].Get("resource")), "maritalStatus", "_elements is about the matches")
	batch := h.must(200, "POST", root, bundleOf("batch", entry("", "GET", "Patient/canary-1?_elements=gender", "")))
	require.Equal(t, "resourceType meta id active gender", names(batch.entries()[0].Get("resource")))
	refused := h.must(400, "GET", root+"/Appointment?_summary=text&_include=Appointment:patient", "")
	require.Equal(t, "OperationOutcome", refused.String("resourceType"))
}

func TestTotals(t *testing.T) {
	h := open(t)
	for _, n := range []string{"1", "2", "3"} {
		h.must(201, "POST", root+"/Patient", patient(n))
	}
	for _, c := range []struct{ query, total string }{
		{"", "3"}, {"_total=accurate", "3"}, {"_total=estimate", "3"}, {"_total=none", ""}, {"_total=none&_count=0", "3"},
	} {
		require.Equal(t, c.total, h.must(200, "GET", root+"/Patient?"+c.query, "").String("total"), c.query)
	}
	h.book("9")
	require.Empty(t, h.must(200, "GET", root+"/Task?_total=none&_count=1", "").String("total"))
}

// TestSortByText pages through an order of texts and codes, with what has none
// at the end whatever the direction.
func TestSortByText(t *testing.T) {
	h := open(t)
	for n, family := range []string{"Elm wood", "Ash", "", "Élan, and 50 % more", "ash"} {
		name := `"name":[{"family":"Canary ` + family + `"}],`
		if family == "" {
			name = ""
		}
		h.must(201, "PUT", root+"/Patient/canary-"+string(rune('a'+n)), `{"resourceType":"Patient",`+name+`"id":"canary-`+string(rune('a'+n))+`"}`)
	}
	for _, c := range []struct{ sort, want string }{
		{"family", "b e d a c"}, {"-family", "a d b e c"}, {"-family,-_id", "a d e b c"}, {"family,-_lastUpdated", "b e d a c"},
	} {
		var got []string
		for path := root + "/Patient?_count=2&_sort=" + url.QueryEscape(c.sort); path != ""; {
			page := h.must(200, "GET", path, "")
			for _, e := range page.entries() {
				got = append(got, strings.TrimPrefix(e.String("resource", "id"), "canary-"))
			}
			path = page.link("next")
		}
		require.Equal(t, c.want, strings.Join(got, " "), c.sort)
	}
	who := h.book("1")
	var last string
	for _, e := range h.must(200, "GET", root+"/Task?_sort=-status,_id&_count=200&patient="+who.patient[len(root)+1:], "").entries() {
		now := e.String("resource", "status")
		require.True(t, last == "" || now <= last, "%s after %s", now, last)
		last = now
	}
}

// TestSearchByMeta finds by what meta says.
func TestSearchByMeta(t *testing.T) {
	h := open(t)
	meta := `"meta":{"source":"https://canary.example/feed","profile":["http://canary.example/P"],"tag":[{"system":"http://canary.example/t","code":"canary"}]},`
	h.must(201, "PUT", root+"/Patient/canary-1", `{"resourceType":"Patient",`+meta+`"id":"canary-1"}`)
	h.must(201, "PUT", root+"/Patient/canary-2", `{"resourceType":"Patient","id":"canary-2","identifier":[{"system":"http://canary.example","value":"canary",`+
		`"type":{"coding":[{"system":"http://terminology.hl7.org/CodeSystem/v2-0203","code":"MR"}]}}]}`)
	for query, want := range map[string]string{
		"_tag=http://canary.example/t|canary": "canary-1", "_profile=http://canary.example/P": "canary-1",
		"_source=https://canary.example/feed": "canary-1", "_source:missing=true": "canary-2", "_tag:not=canary": "canary-2",
		"identifier:of-type=http://terminology.hl7.org/CodeSystem/v2-0203|MR|canary": "canary-2",
		"_id=canary-2&_lastUpdated=ge2026-11-02":                                     "canary-2",
	} {
		require.Equal(t, []string{"match Patient/" + want}, h.found("Patient?"+strings.ReplaceAll(query, "|", "%7C")), query)
	}
}

// TestDefinitions: what our resources name can be read here, by its canonical.
func TestDefinitions(t *testing.T) {
	h := open(t)
	who := h.book("1")
	for typ, url := range map[string]string{
		"StructureDefinition": "http://countback.example/fhir/StructureDefinition/rule",
		"CodeSystem":          "http://countback.example/fhir/CodeSystem/step-kind",
		"SearchParameter":     "http://countback.example/fhir/SearchParameter/task-due",
		"OperationDefinition": "http://countback.example/fhir/OperationDefinition/PlanDefinition-apply",
		"Measure":             "http://countback.example/fhir/Measure/ready-day-before",
		"Questionnaire":       "http://countback.example/fhir/Questionnaire/symptom-report",
		"PlanDefinition":      "http://countback.example/fhir/PlanDefinition/hip-or-knee-replacement",
	} {
		found := h.must(200, "GET", root+"/"+typ+"?url="+url, "", "Prefer", "handling=strict")
		require.Equal(t, "1", found.String("total"), url)
		d := found.entries()[0].Get("resource")
		for _, by := range []string{"version", "name", "status"} {
			if d.String(by) != "" {
				require.Contains(t, h.found(typ+"?_count=200&"+by+"="+d.String(by)), "match "+typ+"/"+d.String("id"), by)
			}
		}
		h.must(200, "GET", root+"/"+typ+"/"+d.String("id"), "")
	}
	// Every extension and code system of ours that a Task or a CarePlan names.
	for _, body := range []string{h.get(who.carePlan).text(), h.task(who, "name-coach").text()} {
		for _, kind := range []string{"StructureDefinition", "CodeSystem"} {
			for _, piece := range strings.Split(body, "http://countback.example/fhir/"+kind+"/")[1:] {
				name := piece[:strings.IndexAny(piece, `"/|`)]
				if kind == "CodeSystem" && name == "step" {
					continue // the steps are the protocol's actions
				}
				require.Equal(t, "1", h.must(200, "GET", root+"/"+kind+"?url=http://countback.example/fhir/"+kind+"/"+name, "").String("total"), name)
			}
		}
	}
}

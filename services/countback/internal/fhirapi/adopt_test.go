package fhirapi

import (
	"io/fs"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/api"
	"example.org/countback/pkg/fhir"
)

// firstVersion is that of the default protocol.
const firstVersion = "1.0.2"

const protocolAt = root + "/PlanDefinition/hip-or-knee-replacement"

// signed is the protocol in force in another version, as it is served, with a
// named approver.
func (h *house) signed(version string, changes ...string) string {
	h.t.Helper()
	text := string(h.must(200, "GET", protocolAt, "").raw)
	text = with(h.t, text, `"version": "`+firstVersion+`"`, `"version": "`+version+`"`)
	text = with(h.t, text, `"status": "draft",`, `"status": "active", "approvalDate": "2026-11-01", "endorser": [{"name": "Dr Wendeline Thatchmarsh"}],`)
	text = with(h.t, text, `"experimental": true`, `"experimental": false`)
	for n := 0; n < len(changes); n += 2 {
		text = with(h.t, text, changes[n], changes[n+1])
	}
	return text
}

func (h *house) catchUp() int {
	h.t.Helper()
	out, err := h.office.CatchUp(h.t.Context())
	require.NoError(h.t, err)
	require.NoError(h.t, out.Sick)
	return out.Planned
}

// parameters are those of an answer, by name; of parts too, as "step.code".
func (r response) parameters() map[string]string {
	out := map[string]string{}
	for _, p := range r.body.Get("parameter").Items() {
		for member, v := range p.Members() {
			if strings.HasPrefix(member, "value") {
				out[p.String("name")] = v.Text()
			}
		}
		for _, part := range p.Get("part").Items() {
			for member, v := range part.Members() {
				if strings.HasPrefix(member, "value") {
					out[p.String("name")+"."+part.String("name")] = v.Text()
				}
			}
		}
	}
	return out
}

func previewOf(definition string, more ...string) string {
	parts := append([]string{`{"name":"definition","resource":` + definition + "}"}, more...)
	return `{"resourceType":"Parameters","parameter":[` + strings.Join(parts, ",") + "]}"
}

const newTitle = `"title": "The very first call"`

// An engineer reads the protocol, looks at what a change would do, has it
// adopted, and sees how far it got.
func TestAdopt(t *testing.T) {
	h := open(t)
	who := h.book("1")
	held := h.must(200, "GET", protocolAt, "")
	require.Equal(t, `W/"1"`, held.header.Get("ETag"))
	body := h.signed("1.1.0", `"title": "First call"`, newTitle)

	before := h.held()
	said := h.must(200, "POST", root+"/PlanDefinition/$preview", previewOf(body)).parameters()
	require.Equal(t, map[string]string{
		"protocol": "http://countback.example/fhir/PlanDefinition/hip-or-knee-replacement|1.1.0",
		"in-force": "http://countback.example/fhir/PlanDefinition/hip-or-knee-replacement|" + firstVersion, "adoptable": "true",
		"open-cases": "1", "examined": "1", "changed": "1", "infeasible": "0", "feasible": "0", "ended": "0",
		"step.code": said["step.code"], "step.reworded": "1",
	}, said)
	require.Equal(t, before, h.held())

	task := h.task(who, "first-call")
	h.pass(1e9)
	adopted := h.must(200, "PUT", protocolAt, body, "If-Match", held.header.Get("ETag"), "Prefer", "return=OperationOutcome")
	require.Equal(t, `W/"2"`, adopted.header.Get("ETag"))
	require.Equal(t, testBase+"/PlanDefinition/hip-or-knee-replacement/_history/2", adopted.header.Get("Content-Location"))
	require.Contains(t, string(adopted.raw), "in force from now on")
	m := h.archived()
	require.Equal(t, body, string(m.Body))
	require.Equal(t, []string{"PUT", "PlanDefinition/hip-or-knee-replacement"}, []string{m.Method, m.Target})
	require.Equal(t, held.raw, h.must(200, "GET", protocolAt+"/_history/1", "").raw)

	progress := h.must(200, "GET", protocolAt+"/$adoption", "").parameters()
	require.Equal(t, map[string]string{
		"in-force": "http://countback.example/fhir/PlanDefinition/hip-or-knee-replacement|1.1.0", "since": "2026-11-02T09:00:01-06:00",
		"adopted": "true", "open-cases": "1", "older": "1",
	}, progress)
	require.Equal(t, task.raw, h.task(who, "first-call").raw, "its turn has not come")
	require.Equal(t, 1, h.catchUp())
	require.Equal(t, "0", h.must(200, "POST", protocolAt+"/$adoption", "").parameters()["older"])
	now := h.task(who, "first-call")
	require.Equal(t, "The very first call", now.String("code", "coding", "display"))
	require.Equal(t, task.raw, h.must(200, "GET", root+"/Task/"+task.String("id")+"/_history/1", "").raw)
	require.True(t, strings.HasSuffix(h.must(200, "GET", who.carePlan, "").String("instantiatesCanonical"), "|1.1.0"))

	again := h.must(200, "PUT", protocolAt, body, "Prefer", "return=OperationOutcome")
	require.Contains(t, string(again.raw), "nothing was changed")
	require.Equal(t, `W/"2"`, again.header.Get("ETag"))
	h.must(412, "PUT", protocolAt, body, "If-Match", held.header.Get("ETag"))
}

// lateCall is a change by which the call before surgery has no time before a
// Tuesday: it is made on the business day before, and now two days before at the
// latest.
func lateCall(t *testing.T, text string) []string {
	t.Helper()
	_, rest, found := strings.Cut(text, `"id": "arrival-call"`)
	require.True(t, found)
	old := `"id": "arrival-call"` + rest[:strings.Index(rest, "[")+1]
	return []string{old, old + `{"url": "http://countback.example/fhir/StructureDefinition/last-day", "extension": [
		{"url": "actionId", "valueId": "surgery"}, {"url": "relationship", "valueCode": "before-start"},
		{"url": "offset", "valueDuration": {"value": 2, "unit": "days", "system": "http://unitsofmeasure.org", "code": "d"}}]},`}
}

// A window that is empty on some dates is told with the preview and with the
// adoption, and is no reason to refuse it.
func TestEmptyWindowsAreTold(t *testing.T) {
	h := open(t)
	body := h.signed("1.1.0", lateCall(t, string(h.must(200, "GET", protocolAt, "").raw))...)
	said := h.must(200, "POST", root+"/PlanDefinition/$preview", previewOf(body))
	require.Equal(t, "true", said.parameters()["adoptable"])
	const warning = "arrival-call has an empty window for some dates: with surgery on Tue 2 Jan 2024"
	require.Contains(t, string(said.raw), warning)
	require.Contains(t, string(said.raw), `"severity":"warning"`)
	adopted := h.must(200, "PUT", protocolAt, body, "Prefer", "return=OperationOutcome")
	require.Contains(t, string(adopted.raw), "take note: "+warning)
}

// Whoever sends something that may not be planned by is told all that is wrong,
// and nothing is stored.
func TestAdoptRefusals(t *testing.T) {
	h := open(t)
	h.book("1")
	served := string(h.must(200, "GET", protocolAt, "").raw)
	good := h.signed("1.1.0")
	set := string(h.must(200, "GET", root+"/ValueSet/both-sides", "").raw)
	before := h.held()
	for name, r := range map[string]struct {
		method, path, body string
		status             int
		place, text        string
	}{
		"a draft":                {"PUT", protocolAt, with(t, served, `"version": "`+firstVersion+`"`, `"version": "1.1.0"`), 422, "PlanDefinition.status", "must be active"},
		"the same version":       {"PUT", protocolAt, with(t, served, `"title": "First call"`, newTitle), 409, "PlanDefinition.version", "another text"},
		"another id":             {"PUT", root + "/PlanDefinition/other", with(t, good, `"id": "hip-or-knee-replacement"`, `"id": "other"`), 405, "PlanDefinition.id", "there is one protocol here"},
		"by condition":           {"PUT", root + "/PlanDefinition?url=a", good, 405, "", "is sent with PUT to its id"},
		"posted":                 {"POST", root + "/PlanDefinition", good, 405, "", "is sent with PUT to its id"},
		"a set posted":           {"POST", root + "/ValueSet", `{"resourceType":"ValueSet","status":"active"}`, 405, "", "with PUT to its id"},
		"a set, id of another":   {"PUT", root + "/ValueSet/other", set, 400, "ValueSet.id", "must be the id"},
		"a set, url of another":  {"PUT", root + "/ValueSet/other", with(t, set, `"both-sides"`, `"other"`), 409, "ValueSet.url", "under another id"},
		"a set, another url":     {"PUT", root + "/ValueSet/both-sides", with(t, set, `ValueSet/both-sides"`, `ValueSet/canary"`), 422, "ValueSet.url", "must stay"},
		"a set, undecidable":     {"PUT", root + "/ValueSet/both-sides", with(t, set, `"op": "regex"`, `"op": "is-a"`), 422, "ValueSet.compose", "only a regex"},
		"a set, nothing in it":   {"PUT", root + "/ValueSet/new", `{"resourceType":"ValueSet","id":"new","status":"active","url":"http://canary.example/new"}`, 422, "ValueSet.compose", "is missing"},
		"a set without url":      {"PUT", root + "/ValueSet/new", `{"resourceType":"ValueSet","id":"new","status":"active"}`, 422, "ValueSet.url", "is missing"},
		"a set in a transaction": {"POST", root, bundleOf("transaction", entry("", "PUT", "ValueSet/both-sides", set)), 422, "Bundle.entry[0].request.url", "changed one by one"},
		"no FHIR":                {"PUT", protocolAt, with(t, good, `"type": {`, `"kind": {`), 400, "PlanDefinition", "no element"},
		"a step in a cycle":      {"PUT", protocolAt, with(t, good, `"relatedAction": [`, `"relatedAction": [{"actionId":"first-call","relationship":"after-end"},`), 422, "", ""},
		"in a transaction":       {"POST", root, bundleOf("transaction", entry("", "PUT", "PlanDefinition/hip-or-knee-replacement", good)), 422, "Bundle.entry[0].request.url", "changed one by one"},
		"too large":              {"PUT", protocolAt, strings.Repeat(" ", 5<<20) + good, 413, "", "larger"},
		"another operation":      {"POST", root + "/PlanDefinition/$apply-not", "{}", 404, "", ""},
		"preview of another":     {"POST", root + "/PlanDefinition/$preview", patient("1"), 400, "Patient", "takes Parameters"},
		"preview of nothing":     {"POST", root + "/PlanDefinition/$preview", `{"resourceType":"Parameters","parameter":[{"name":"cases","valueInteger":3}]}`, 400, "Parameters.parameter", "definition is missing"},
		"preview of two":         {"POST", root + "/PlanDefinition/$preview", previewOf(`{"resourceType":"PlanDefinition","status":"draft"}`, `{"name":"definition","resource":{"resourceType":"PlanDefinition","status":"draft"}}`), 400, "Parameters.parameter", "definition is one"},
		"preview of none":        {"POST", root + "/PlanDefinition/$preview", previewOf(good, `{"name":"cases","valueInteger":0}`), 400, "Parameters.parameter", "cases is one"},
		"preview of canary":      {"POST", root + "/PlanDefinition/$preview", previewOf(good, `{"name":"canary","valueInteger":1}`), 400, "Parameters.parameter.name", "and no other"},
		"adoption elsewhere":     {"GET", root + "/PlanDefinition/canary/$adoption", "", 404, "PlanDefinition", "no such"},
	} {
		t.Run(name, func(t *testing.T) {
			h.t = t
			answer := h.must(r.status, r.method, r.path, r.body)
			_, place, text := answer.issue()
			if r.text != "" {
				require.Equal(t, r.place, place)
				require.Contains(t, text, r.text)
			}
			require.Equal(t, before, h.held())
		})
	}
}

// What is wrong in many places is told in as many issues, each at its action.
func TestFaultsOverHTTP(t *testing.T) {
	h := open(t)
	body := strings.Replace(h.signed("1.1.0"), `"requiredBehavior": "must",`, "", 3)
	refused := h.must(422, "PUT", protocolAt, body)
	require.Equal(t, 3, refused.body.Get("issue").Len())
	told := h.must(200, "POST", root+"/PlanDefinition/$preview", body)
	require.Equal(t, "false", told.parameters()["adoptable"])
	var outcome *fhir.Node
	for _, p := range told.body.Get("parameter").Items() {
		if p.String("name") == "outcome" {
			outcome = p.Get("resource")
		}
	}
	require.Equal(t, 3, outcome.Get("issue").Len())
	for n, i := range outcome.Get("issue").Items() {
		require.Equal(t, "error", i.String("severity"))
		require.Regexp(t, `^PlanDefinition\.action\[\d+\]$`, i.String("expression"))
		require.Equal(t, refused.body.Get("issue").Item(n).String("details", "text"), i.String("details", "text"))
	}
}

// In a batch the protocol may be changed, by an entry of its own.
func TestAdoptInABatch(t *testing.T) {
	h := open(t)
	answer := h.must(200, "POST", root, bundleOf("batch", entry("", "PUT", "PlanDefinition/hip-or-knee-replacement", h.signed("1.1.0"))))
	require.Equal(t, "200 OK", answer.String("entry", "response", "status"))
	require.Equal(t, "1.1.0", h.office.Protocol().Version)
}

// What is in force, what was, and what it names can be found and read.
func TestReadTheProtocol(t *testing.T) {
	h := open(t)
	h.must(200, "PUT", protocolAt, h.signed("1.1.0"))
	const url = "http://countback.example/fhir/PlanDefinition/hip-or-knee-replacement"
	for query, total := range map[string]string{
		"": "1", "_id=hip-or-knee-replacement": "1", "url=" + url: "1", "url=http://canary.example": "0",
		"version=1.1.0": "1", "version=" + firstVersion: "0", "status=active": "1", "status=draft": "0",
		"url=" + url + "&version=1.1.0&status=active": "1", "identifier=canary": "0",
	} {
		require.Equal(t, total, h.must(200, "GET", root+"/PlanDefinition?"+query, "", "Prefer", "handling=strict").String("total"), query)
	}
	sets := h.must(200, "GET", root+"/ValueSet?_count=100", "")
	medicines, err := fs.ReadFile(api.Protocol, "protocol/PlanDefinition-perioperative-medicines.json")
	require.NoError(t, err)
	named := string(h.must(200, "GET", protocolAt, "").raw) + string(medicines)
	for _, profile := range []string{"plan", "item", "hold-flag"} {
		named += string(h.must(200, "GET", root+"/StructureDefinition/"+profile, "").raw)
	}
	served := sets.entries()
	for next := sets.link("next"); next != ""; {
		page := h.must(200, "GET", local(next), "")
		served, next = append(served, page.entries()...), page.link("next")
	}
	for _, e := range served {
		address := e.String("resource", "url")
		require.Contains(t, named, `"`+address+`"`)
		one := h.must(200, "GET", root+"/ValueSet?url="+address, "")
		require.Equal(t, "1", one.String("total"))
		h.must(200, "GET", root+"/ValueSet/"+one.String("entry", "resource", "id")+"/_history/1", "")
	}
	require.Len(t, served, len(valueSetsNamed(named)))
	require.Equal(t, http.StatusNotFound, h.get(root+"/ValueSet/canary").status)
}

// valueSetsNamed are the different value sets that a definition names.
func valueSetsNamed(definition string) map[string]bool {
	out := map[string]bool{}
	for rest := definition; ; {
		_, after, found := strings.Cut(rest, `"valueSet": "`)
		if !found {
			return out
		}
		url, tail, _ := strings.Cut(after, `"`)
		out[url], rest = true, tail
	}
}

// A set of codes is replaced for the next version of the protocol: the one in
// force, and what comes meanwhile, goes by the set that it was adopted with.
func TestReplaceAValueSet(t *testing.T) {
	h := open(t)
	who := h.book("1")
	at := root + "/ValueSet/total-hip-replacement"
	set := h.must(200, "GET", at, "")
	again := h.must(200, "PUT", at, string(set.raw), "Prefer", "return=OperationOutcome")
	require.Contains(t, string(again.raw), "nothing was changed")
	body := with(t, string(set.raw), `"52734007"`, `"canary"`)
	changed := h.must(200, "PUT", at, body, "If-Match", `W/"1"`, "Prefer", "return=OperationOutcome")
	require.Contains(t, string(changed.raw), "from the next version of the protocol on")
	require.Equal(t, `W/"2"`, changed.header.Get("ETag"))
	require.Equal(t, body, string(h.archived().Body))
	h.must(412, "PUT", at, string(set.raw), "If-Match", `W/"1"`)
	require.Zero(t, h.catchUp())
	h.book("2") // the same code still opens a case

	fresh := h.must(201, "PUT", root+"/ValueSet/new", `{"resourceType":"ValueSet","id":"new","status":"active","url":"http://canary.example/new",`+
		`"compose":{"include":[{"system":"http://canary.example"}]}}`)
	require.Equal(t, testBase+"/ValueSet/new/_history/1", fresh.header.Get("Location"))

	next := h.signed("1.1.0", "http://countback.example/fhir/ValueSet/both-sides", "http://canary.example/new")
	said := h.must(200, "POST", root+"/PlanDefinition/$preview", previewOf(next)).parameters()
	require.Equal(t, []string{"2", "2"}, []string{said["changed"], said["ended"]})
	h.must(200, "PUT", protocolAt, next)
	require.Equal(t, 2, h.catchUp())
	require.Equal(t, "revoked", h.must(200, "GET", who.carePlan, "").String("status"))
}

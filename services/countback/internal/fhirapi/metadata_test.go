package fhirapi

import (
	"io/fs"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/api"
	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/search"
)

// sample is a resource of each type that a hospital may send.
func sample(t *testing.T, typ string) string {
	t.Helper()
	elements := map[string]string{
		"Appointment":    `"status":"proposed","participant":[{"actor":{"display":"canary"},"status":"accepted"}]`,
		"Procedure":      `"status":"preparation","subject":{"display":"canary"}`,
		"ServiceRequest": `"status":"active","intent":"order","subject":{"display":"canary"}`,
		"Patient":        `"gender":"female"`,
		"RelatedPerson":  `"patient":{"display":"canary"}`,
		"Practitioner":   `"active":true`,
		"Location":       `"status":"active"`,
		"Encounter":      `"status":"planned","class":{"code":"AMB"}`,
		"CareTeam":       `"status":"active"`,

		"Condition":             `"subject":{"display":"canary"}`,
		"Observation":           `"status":"final","code":{"text":"canary"}`,
		"DiagnosticReport":      `"status":"final","code":{"text":"canary"}`,
		"QuestionnaireResponse": `"status":"completed"`,
		"MedicationStatement":   `"status":"active","medicationCodeableConcept":{"text":"canary"},"subject":{"display":"canary"}`,
		"MedicationRequest":     `"status":"active","intent":"order","medicationCodeableConcept":{"text":"canary"},"subject":{"display":"canary"}`,
		"AllergyIntolerance":    `"patient":{"display":"canary"}`,
	}
	require.Contains(t, elements, typ, "add a sample of the new type")
	id := `{"system":"https://canary.example","value":"canary"}`
	if typ != "QuestionnaireResponse" { // which has one at most
		id = "[" + id + "]"
	}
	return `{"resourceType":"` + typ + `","identifier":` + id + `,` + elements[typ] + "}"
}

func (h *house) statement() *fhir.Node {
	h.t.Helper()
	return h.must(200, "GET", root+"/metadata", "").body.Root()
}

func TestStatement(t *testing.T) {
	h := open(t)
	cs := h.statement()
	for _, want := range []struct{ element, value string }{
		{"resourceType", "CapabilityStatement"}, {"status", "active"}, {"kind", "instance"}, {"fhirVersion", "4.0.1"},
		{"date", "2026-11-02T09:00:00.000-06:00"},
	} {
		require.Equal(t, want.value, cs.String(want.element))
	}
	require.Equal(t, []string{"Countback", "1.2.3"}, []string{cs.String("software", "name"), cs.String("software", "version")})
	require.NotEmpty(t, cs.String("implementation", "description"), "cpb-14: an instance says what it is")
	require.Equal(t, testBase, cs.String("implementation", "url"))
	require.Equal(t, "server", cs.String("rest", "mode"))
	require.Empty(t, h.must(200, "HEAD", root+"/metadata", "").raw)
	var types []string
	for _, r := range cs.Get("rest", "resource").Items() {
		types = append(types, r.String("type"))
	}
	want := search.Types()
	for _, typ := range casework.Received {
		if !slices.Contains(want, typ) {
			want = append(want, typ)
		}
	}
	require.ElementsMatch(t, want, types)
	for _, format := range cs.Get("format").Items() {
		h.must(200, "GET", root+"/metadata?_format="+url.QueryEscape(format.Text()), "")
	}
}

// TestStatementIsTrue calls every line of the CapabilityStatement, and what it
// does not declare.
func TestStatementIsTrue(t *testing.T) {
	h := open(t)
	who := h.book("1")
	h.task(who, "name-coach")
	h.must(201, "POST", root+"/Condition", `{"resourceType":"Condition","subject":{"reference":"`+strings.TrimPrefix(who.patient, root+"/")+`"},
		"code":{"coding":[{"system":"http://hl7.org/fhir/sid/icd-10-cm","code":"N39.0"}]}}`) // for a Flag
	for _, i := range h.statement().Get("rest", "interaction").Items() {
		if i.String("code") == "history-system" {
			require.Equal(t, "history", h.must(200, "GET", root+"/_history?_count=1", "").String("type"))
			continue
		}
		r := h.must(200, "POST", root, bundleOf(i.String("code"), entry("", "GET", "metadata", "")))
		require.Equal(t, i.String("code")+"-response", r.String("type"))
	}
	for _, o := range h.statement().Get("rest", "operation").Items() {
		require.Equal(t, foreseeOperation, o.String("name"))
		require.Equal(t, "1", h.must(200, "GET", root+"/OperationDefinition?system=true&url="+o.String("definition"), "").String("total"))
		h.must(200, "POST", root+"/$"+o.String("name"), patient("9"))
	}
	for _, r := range h.statement().Get("rest", "resource").Items() {
		t.Run(r.String("type"), func(t *testing.T) {
			h.t = t
			if r.String("type") == subscriptionType {
				h.callSubscription(r)
				h.callSearch(r)
				return
			}
			h.callOperations(r, who)
			h.callResource(r)
			h.callSearch(r)
		})
	}
}

// callOperations calls the operations of a type, and compares each with its
// published definition.
func (h *house) callOperations(r *fhir.Node, who told) {
	h.t.Helper()
	at := map[string]string{
		"Appointment": who.booking, "CarePlan": who.carePlan, "PlanDefinition": planDefinition, "Measure": root + "/Measure/class-attendance",
	}[r.String("type")]
	for _, o := range r.Get("operation").Items() {
		if o.String("name") == validateOperation { // R4's own
			require.Equal(h.t, validateDefinition, o.String("definition"))
			h.must(200, "POST", root+"/"+r.String("type")+"/$"+validateOperation+"?mode=delete", parameters(`"name":"mode","valueCode":"create"`, `"name":"resource","resource":{"resourceType":"`+r.String("type")+`","id":"canary"}`))
			continue
		}
		d := h.definitionOf(o, r.String("type"))
		if slices.ContainsFunc(protocolOperations, func(p protocolOperation) bool { return p.name == o.String("name") }) {
			continue // called by the tests of adoption
		}
		query := map[string]string{
			"apply": "?subject=" + who.patient[len(root)+1:], "evaluate-measure": "?periodStart=2027-01-01&periodEnd=2027-12-31",
		}[d.String("code")]
		h.must(200, "GET", at+"/$"+o.String("name")+query, "")
		onType := h.send("GET", root+"/"+r.String("type")+"/$"+o.String("name")+query, "")
		require.Equal(h.t, d.Get("type").Bool(), onType.status != 404, "%s", onType.raw)
		h.checkParameters(d, o.String("name"))
	}
}

// checkParameters compares the parameters that are taken with those published.
func (h *house) checkParameters(d *fhir.Resource, code string) {
	h.t.Helper()
	n := slices.IndexFunc(operations, func(o calculation) bool { return o.code == code })
	var taken, declared []string
	for name := range operations[n].parameters {
		taken = append(taken, name)
	}
	for _, p := range d.Get("parameter").Items() {
		if p.String("use") == "in" {
			declared = append(declared, p.String("name"))
			require.Equal(h.t, operations[n].parameters[p.String("name")].repeats, p.String("max") == "*", p.String("name"))
		}
	}
	require.ElementsMatch(h.t, declared, taken)
}

// callResource calls the interactions of a type and their attributes.
func (h *house) callResource(r *fhir.Node) {
	h.t.Helper()
	typ := r.String("type")
	var declared []string
	for _, i := range r.Get("interaction").Items() {
		declared = append(declared, i.String("code"))
	}
	at := root + "/" + typ
	if slices.Contains(declared, "create") {
		made := h.must(201, "POST", at, sample(h.t, typ))
		require.NotEmpty(h.t, made.header.Get("Location"))
	} else {
		h.must(405, "POST", at, `{"resourceType":"`+typ+`"}`)
	}
	found := h.must(200, "GET", at+"?_count=1", "")
	require.Contains(h.t, declared, "search-type")
	require.Equal(h.t, 200, h.form(at+"/_search", "_count=1").status)
	one := found.String("entry", "resource", "id")
	require.NotEmpty(h.t, one)

	current := h.must(200, "GET", at+"/"+one, "")
	require.Contains(h.t, declared, "read")
	require.Equal(h.t, "full-support", r.String("conditionalRead"))
	h.must(304, "GET", at+"/"+one, "", "If-None-Match", current.header.Get("ETag"))
	h.must(304, "GET", at+"/"+one, "", "If-Modified-Since", current.header.Get("Last-Modified"))
	require.Equal(h.t, "versioned", r.String("versioning"))
	require.Contains(h.t, declared, "vread")
	require.True(h.t, r.Get("readHistory").Bool())
	require.Equal(h.t, current.raw, h.must(200, "GET", at+"/"+one+"/_history/"+current.String("meta", "versionId"), "").raw)

	h.callPatch(r, slices.Contains(declared, "patch"), current)
	for declaration, path := range map[string]string{"history-instance": at + "/" + one + "/_history", "history-type": at + "/_history"} {
		require.Contains(h.t, declared, declaration)
		require.Equal(h.t, "history", h.must(200, "GET", path, "").String("type"))
	}
	h.callUpdates(r, slices.Contains(declared, "update"), current)
	h.callDelete(r, slices.Contains(declared, "delete"), one)
}

// callPatch patches nothing, by id and by condition.
func (h *house) callPatch(r *fhir.Node, declared bool, current response) {
	h.t.Helper()
	at := root + "/" + r.String("type")
	status := map[bool]int{true: 200, false: 405}
	h.must(status[declared], "PATCH", at+"/"+current.String("id"), "[]", asPatch...)
	conditional := slices.Contains(casework.Received, r.String("type"))
	h.must(map[bool]int{true: 404, false: 405}[conditional], "PATCH", at+"?identifier=https://canary.example|none", "[]", asPatch...)
	require.Equal(h.t, []string{patchType, mediaType}, []string{h.statement().Get("patchFormat").Item(0).Text(), h.statement().Get("patchFormat").Item(1).Text()})
	same := fhirpathPatch(`{"name":"type","valueCode":"delete"},{"name":"path","valueString":"` + r.String("type") + `.text.div.where(false)"}`)
	h.must(status[declared], "PATCH", at+"/"+current.String("id"), same)
}

// callDelete deletes by condition and by id.
func (h *house) callDelete(r *fhir.Node, declared bool, one string) {
	h.t.Helper()
	at := root + "/" + r.String("type")
	if !declared {
		require.Equal(h.t, "not-supported", r.String("conditionalDelete"))
		h.must(405, "DELETE", at+"/"+one, "")
		h.must(405, "DELETE", at+"?_id="+one, "")
		return
	}
	require.Equal(h.t, "single", r.String("conditionalDelete"))
	h.must(204, "DELETE", at+"?identifier=https://canary.example|canary-new", "")
	h.must(410, "GET", at+"/canary-new", "")
	h.must(204, "DELETE", at+"/canary-other", "")
}

// definitionOf is the published definition of an operation of a type.
func (h *house) definitionOf(o *fhir.Node, typ string) *fhir.Resource {
	h.t.Helper()
	body, err := fs.ReadFile(api.FHIR, "fhir/OperationDefinition-"+strings.TrimPrefix(o.String("definition"), operationBase)+".json")
	require.NoError(h.t, err, "the definition is not published")
	d, issues := fhir.Parse(body, 0)
	require.Empty(h.t, issues)
	require.Equal(h.t, []string{o.String("definition"), o.String("name")}, []string{d.String("url"), d.String("code")})
	require.False(h.t, d.Get("affectsState").Bool())
	var types []string
	for _, typ := range d.Get("resource").Items() {
		types = append(types, typ.Text())
	}
	require.Contains(h.t, types, typ)
	return d
}

func (h *house) callUpdates(r *fhir.Node, updates bool, current response) {
	h.t.Helper()
	typ := r.String("type")
	at := root + "/" + typ
	statusOf := func(declared bool, yes, no int) int {
		if declared {
			return yes
		}
		return no
	}
	h.must(statusOf(updates, 200, 405), "PUT", at+"/"+current.String("id"), string(current.raw))
	if !slices.Contains(casework.Received, typ) {
		require.Equal(h.t, typ == setType, r.Get("updateCreate").Bool())
		for _, attribute := range []string{"conditionalCreate", "conditionalUpdate"} {
			require.Equal(h.t, "false", r.String(attribute))
		}
		require.NotEqual(h.t, 201, h.send("PUT", at+"/canary-new", with(h.t, string(current.raw), `"`+current.String("id")+`"`, `"canary-new"`)).status)
		h.must(405, "PUT", at+"?identifier=a|canary", string(current.raw))
		return
	}
	for _, attribute := range []string{"updateCreate", "conditionalCreate", "conditionalUpdate"} {
		require.Equal(h.t, "true", r.String(attribute))
	}
	h.must(201, "PUT", at+"/canary-new", with(h.t, with(h.t, sample(h.t, typ), `",`, `","id":"canary-new",`), `"value":"canary"`, `"value":"canary-new"`))
	h.must(200, "POST", at, sample(h.t, typ), "If-None-Exist", "identifier=https://canary.example|canary-new")
	h.must(200, "PUT", at+"?identifier=https://canary.example|canary-new", with(h.t, sample(h.t, typ), `"value":"canary"`, `"value":"canary-new"`))
}

// callSearch searches by every declared parameter. That it was used shows in
// the link self, and in that what has the element and what lacks it are all.
func (h *house) callSearch(r *fhir.Node) {
	h.t.Helper()
	typ := r.String("type")
	values := map[string]string{"token": "canary", "date": "2026-11-02", "string": "canary", "uri": "https://canary.example", "reference": "https://canary.example/1", "quantity": "5.4||canary", "composite": "canary$canary"}
	total := func(query string) int {
		found := h.must(200, "GET", root+"/"+typ+"?_count=0&"+query, "", "Prefer", "handling=strict")
		name, _, _ := strings.Cut(query, "=")
		require.Contains(h.t, found.link("self"), url.QueryEscape(name)+"=")
		n, err := strconv.Atoi(found.String("total"))
		require.NoError(h.t, err)
		return n
	}
	all := total("_sort=_id")
	require.Positive(h.t, all)
	seen := map[string]bool{}
	for _, p := range r.Get("searchParam").Items() {
		name := p.String("name")
		require.False(h.t, seen[name], "cpb-12: %s is declared twice", name)
		seen[name] = true
		require.Contains(h.t, values, p.String("type"))
		value := values[p.String("type")]
		switch name {
		case "code-value-quantity":
			value = "canary$5.4"
		case "code-value-date":
			value = "canary$2026"
		}
		total(name + "=" + url.QueryEscape(value))
		require.Equal(h.t, all, total(name+":missing=true")+total(name+":missing=false"), name)
		definition := p.String("definition")
		require.NotEmpty(h.t, definition)
		if file, own := strings.CutPrefix(definition, "http://countback.example/fhir/SearchParameter/"); own {
			h.checkOwn(file, typ, p)
		}
	}
	require.Len(h.t, seen, len(search.For(typ)))
	h.callIncludes(r)
}

// callIncludes asks for what a search of a type can bring along. That it was
// understood shows in the link self.
func (h *house) callIncludes(r *fhir.Node) {
	h.t.Helper()
	for element, parameter := range map[string]string{"searchInclude": "_include", "searchRevInclude": "_revinclude"} {
		seen := map[string]bool{}
		for _, v := range r.Get(element).Items() {
			require.False(h.t, seen[v.Text()], v.Text())
			seen[v.Text()] = true
			found := h.must(200, "GET", root+"/"+r.String("type")+"?_count=1&"+parameter+"="+v.Text(), "", "Prefer", "handling=strict")
			require.Contains(h.t, found.link("self"), parameter+"="+url.QueryEscape(v.Text()))
		}
	}
	for _, p := range r.Get("searchParam").Items() {
		name := r.String("type") + ":" + p.String("name")
		declared := false
		for _, v := range r.Get("searchInclude").Items() {
			declared = declared || v.Text() == name
		}
		status := h.send("GET", root+"/"+r.String("type")+"?_count=1&_include="+name, "", "Prefer", "handling=strict").status
		require.Equal(h.t, declared, status == 200, name)
	}
}

// checkOwn compares a parameter of ours with its published definition.
func (h *house) checkOwn(name, typ string, p *fhir.Node) {
	h.t.Helper()
	body, err := fs.ReadFile(api.FHIR, "fhir/SearchParameter-"+strings.ToLower(name)+".json")
	require.NoError(h.t, err, "the definition is not published")
	d, issues := fhir.Parse(body, 0)
	require.Empty(h.t, issues)
	require.Equal(h.t, p.String("definition"), d.String("url"))
	require.Equal(h.t, []string{p.String("name"), p.String("type"), typ}, []string{d.String("code"), d.String("type"), d.String("base")})
}

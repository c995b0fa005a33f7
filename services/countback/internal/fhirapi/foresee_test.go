package fhirapi

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
)

// parts are the parameters of a name, each a list of name=value of its parts.
func (r response) parts(name string) []string {
	var out []string
	for _, p := range r.body.Get("parameter").Items() {
		if p.String("name") != name {
			continue
		}
		out = append(out, partText(p))
	}
	return out
}

func partText(p *fhir.Node) string {
	var of []string
	for _, part := range p.Get("part").Items() {
		value := "{" + partText(part) + "}"
		for name, v := range part.Members() {
			if strings.HasPrefix(name, "value") {
				value = v.Text()
			}
		}
		of = append(of, part.String("name")+"="+value)
	}
	return strings.Join(of, "; ")
}

// accepted is what $foresee says first.
func (r response) accepted() string {
	return r.String("parameter", "valueBoolean")
}

// TestForesee tells of a booking before it is sent what then comes of it, and
// stores nothing.
func TestForesee(t *testing.T) {
	h := open(t)
	held := h.held()
	told := h.must(200, "POST", root+"/$foresee", operation("1"))
	require.Equal(t, held, h.held(), "nothing is stored, archived or sent")
	require.Equal(t, "true", told.accepted())
	require.Empty(t, told.parts("issue"))
	require.Len(t, told.parts("entry"), 3)
	require.Equal(t, "of=Bundle.entry[2].resource; says=would be stored as a new resource", told.parts("entry")[2])
	bookings := told.parts("booking")
	require.Len(t, bookings, 1)
	for _, want := range []string{
		"stands-for=Bundle.entry[2].resource", "has-case=true", "opens-case=true", "day=2027-01-11",
		"link={from=Bundle.entry[2].resource; to=Bundle.entry[1].resource; rule=shared order}",
		"code={of=Bundle.entry[1].resource; path=code; means=says joint: hip; system=http://snomed.info/sct; code=52734007; value-set=http://",
		"tasks={status=requested; count=", "missing=whether ",
	} {
		require.Contains(t, bookings[0], want)
	}

	who := h.book("1")
	tasks := h.must(200, "GET", root+"/Task?_count=0&status=requested&patient="+who.patient[len(root)+1:], "").String("total")
	require.Contains(t, bookings[0], "tasks={status=requested; count="+tasks+"}", "what was foreseen is what came")

	again := h.must(200, "POST", root+"/$foresee", operation("1"))
	require.Equal(t, "of=Bundle.entry[2].resource; held-as="+who.booking[len(root)+1:]+"; says=nothing would be changed: this is what is held already", again.parts("entry")[2])
	require.Contains(t, again.parts("booking")[0], "opens-case=false")
	require.Contains(t, again.parts("booking")[0], "case="+who.carePlan[len(root)+1:])
	one := h.must(200, "POST", root+"/$foresee", strings.Replace(booking("2", who.patient[len(root)+1:], who.order[len(root)+1:]), `"basedOn":[{"reference":"`+who.order[len(root)+1:]+`"}],`, "", 1))
	require.Equal(t, "true", one.accepted())
	require.Contains(t, strings.Join(one.parts("booking"), "\n"), "stands-for=Appointment; has-case=false; why-not=")
}

// TestForeseeIsDefined: all that is answered is in the published definition, and
// as often as it says.
func TestForeseeIsDefined(t *testing.T) {
	h := open(t)
	d := h.must(200, "GET", root+"/OperationDefinition/foresee", "").body.Root()
	h.book("1")
	var check func(answer *fhir.Node, list string, defined *fhir.Node)
	seen := map[string]bool{}
	check = func(answer *fhir.Node, list string, defined *fhir.Node) {
		count := map[string]int{}
		for _, p := range answer.Get(list).Items() {
			count[p.String("name")]++
		}
		in := "parameter"
		if list == "part" {
			in = "part"
		}
		for _, p := range defined.Get(in).Items() {
			name := p.String("name")
			if p.String("use") == "in" {
				continue
			}
			require.True(t, p.String("max") == "*" || count[name] <= 1, name)
			require.True(t, p.String("min") == "0" || count[name] >= 1, name)
			for _, one := range answer.Get(list).Items() {
				if one.String("name") == name {
					seen[name] = true
					check(one, "part", p)
				}
			}
			delete(count, name)
		}
		require.Empty(t, count, "not defined")
	}
	for _, body := range []string{operation("1"), operation("2"), `{"resourceType":"Patient","gender":"canary"}`} {
		check(h.must(200, "POST", root+"/$foresee", body).body.Root(), "parameter", d)
	}
	for _, name := range []string{"accepted", "issue", "entry", "held-as", "booking", "link", "rule", "code", "value-set", "tasks", "count", "case", "opens-case", "missing"} {
		require.True(t, seen[name], name)
	}
}

// TestForeseeRefused: a message that would be refused is answered with what its
// sender would be told.
func TestForeseeRefused(t *testing.T) {
	h := open(t)
	for name, body := range map[string]string{
		"no FHIR":             `{"resourceType":"Patient","gender":"canary"}`,
		"no identifier":       strings.Replace(operation("1"), `"identifier":[{"system":"`+bookingSystem+`","value":"canary-b1"}],`, "", 1),
		"a reference to none": bundleOf("transaction", entry("", "POST", "ServiceRequest", order("1", patientURN))),
		"a Task":              bundleOf("transaction", entry("", "PUT", "Task/canary", `{"resourceType":"Task","id":"canary","status":"draft","intent":"plan"}`)),
	} {
		t.Run(name, func(t *testing.T) {
			h.t = t
			told := h.must(200, "POST", root+"/$foresee", body)
			require.Equal(t, "false", told.accepted())
			require.Empty(t, told.parts("booking"))
			at := root
			if !strings.Contains(body, "Bundle") {
				at = root + "/Patient"
			}
			code, expression, text := h.send("POST", at, body).issue()
			require.Equal(t, "code="+code+"; expression="+expression+"; text="+text, told.parts("issue")[0])
		})
	}
	h.t = t
	h.must(422, "POST", root+"/$foresee", bundleOf("batch", entry("", "GET", "Patient", "")))
	h.must(422, "POST", root+"/$foresee", `{"resourceType":"Basic","code":{"text":"canary"}}`)
	h.must(415, "POST", root+"/$foresee", "canary", "Content-Type", "", "Content-Type", "text/plain")
	require.Equal(t, "POST", h.must(405, "GET", root+"/$foresee", "").header.Get("Allow"))
}

func TestValidate(t *testing.T) {
	h := open(t)
	who := h.book("1")
	task := h.task(who, "name-coach")
	subject, order := who.patient[len(root)+1:], who.order[len(root)+1:]
	held := h.held()
	p := root + "/Patient"
	resource := func(r string) string { return `"name":"resource","resource":` + r }
	for _, c := range []struct{ name, path, body, severity, code, text string }{
		{"a new one", p + "/$validate", patient("2"), "information", "informational", "would be stored as a new resource"},
		{"what is held", p + "/$validate", h.get(who.patient).text(), "information", "informational", "nothing would be changed"},
		{"a change", who.patient + "/$validate", with(t, h.get(who.patient).text(), "female", "other"), "information", "informational", "would be stored as a new version"},
		{"no FHIR", p + "/$validate", `{"resourceType":"Patient","gender":"canary"}`, "error", "code-invalid", "allowed are"},
		{"no JSON", p + "/$validate", `{`, "error", "structure", "ends too early"},
		{"by parameters", p + "/$validate", parameters(resource(patient("2")), `"name":"mode","valueCode":"create"`), "information", "informational", "would be stored as a new resource"},
		{"no FHIR in parameters", p + "/$validate", parameters(resource(`{"resourceType":"Patient","gender":"canary"}`)), "error", "code-invalid", "allowed are"},
		{"a rule of the business", root + "/Appointment/$validate", strings.Replace(booking("2", subject, order), `"identifier":[{"system":"`+bookingSystem+`","value":"canary-b2"}],`, "", 1), "error", "required", "identifier is missing"},
		{"a deletion", who.booking + "/$validate?mode=delete", parameters(`"name":"mode","valueCode":"delete"`), "information", "informational", "would be deleted"},
		{"a deletion of who is needed", who.patient + "/$validate", parameters(`"name":"mode","valueCode":"delete"`), "error", "conflict", "while something about the person is held"},
		{"a move", root + "/Task/" + task.String("id") + "/$validate", status(t, task, "accepted"), "information", "informational", "would be stored as a new version"},
		{"an illegal move", root + "/Task/" + task.String("id") + "/$validate", status(t, task, "draft"), "error", "business-rule", "open moves are"},
		{"another id", p + "/canary-9/$validate", h.get(who.patient).text(), "error", "invariant", "must be the id"},
	} {
		t.Run(c.name, func(t *testing.T) {
			h.t = t
			r := h.must(200, "POST", c.path, c.body)
			code, _, text := r.issue()
			require.Equal(t, []string{"OperationOutcome", c.severity, c.code}, []string{r.String("resourceType"), r.String("issue", "severity"), code})
			require.Contains(t, text, c.text)
			require.Equal(t, held, h.held(), "nothing is stored")
		})
	}
	h.t = t
	for _, c := range []struct {
		path, body, text string
		status           int
	}{
		{p + "/$validate?mode=canary", patient("2"), "mode: is create, update, delete or profile", 400},
		{p + "/$validate?profile=http://canary.example", patient("2"), "profile: for Patient, known here are http://hl7.org/fhir/StructureDefinition/Patient", 400},
		{p + "/$validate?mode=create&mode=update", patient("2"), "mode: is taken once", 400},
		{p + "/$validate?canary=1", patient("2"), "takes no parameter of this name", 400},
		{p + "/$validate", parameters(resource(patient("2")), `"name":"canary","valueCode":"create"`), "takes no parameter of this name", 400},
		{p + "/$validate?mode=%", patient("2"), "not well formed", 400},
		{root + "/CarePlan/$validate?mode=update", h.get(who.carePlan).text(), "this service makes it", 405},
		{p + "/$validate", `{"resourceType":"Parameters"}`, "resource: is missing", 400},
		{p + "/$validate", booking("2", subject, order), "the address names Patient", 400},
		{p + "/$validate?mode=update", patient("2"), "needs an id", 400},
		{root + "/Task/$validate?mode=create", task.text(), "cannot be created here", 405},
	} {
		_, _, text := h.must(c.status, "POST", c.path, c.body).issue()
		require.Contains(t, text, c.text)
	}
	require.Equal(t, "POST", h.must(405, "GET", p+"/$validate", "").header.Get("Allow"))
	_, _, told := h.must(200, "POST", root+"/CarePlan/$validate", h.get(who.carePlan).text()).issue()
	require.Contains(t, told, "it is sound R4; nothing of this type is taken in here")
}

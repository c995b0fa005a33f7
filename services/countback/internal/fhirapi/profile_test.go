package fhirapi

import (
	"io/fs"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/api"
	"example.org/countback/pkg/fhir"
)

const ownProfiles = "http://countback.example/fhir/StructureDefinition/"

// TestExamplesFollowTheirProfiles: $validate finds every example that is packed
// sound, and to follow the profile that it names.
func TestExamplesFollowTheirProfiles(t *testing.T) {
	h := open(t)
	names, err := fs.Glob(api.Example, "example/*.json")
	require.NoError(t, err)
	followed := map[string]bool{}
	for _, name := range names {
		body, err := fs.ReadFile(api.Example, name)
		require.NoError(t, err)
		r, issues := fhir.Parse(body, 0)
		require.Empty(t, issues, name)
		url := r.String("meta", "profile")
		if url == "" {
			url = baseProfile(r.Type)
		}
		told := h.must(200, "POST", root+"/"+r.Type+"/$validate?profile="+url, string(body))
		if strings.HasPrefix(url, ownProfiles) {
			require.Contains(t, told.text(), "it follows the profile "+url, name)
			require.NotContains(t, told.text(), `"severity":"error"`, name)
			followed[url] = true
		}
	}
	require.Len(t, followed, 3)
}

// TestWhatIsWrittenFollowsTheProfiles: so does what the service writes.
func TestWhatIsWrittenFollowsTheProfiles(t *testing.T) {
	h := open(t)
	who := h.book("1")
	h.must(201, "POST", root+"/Condition", `{"resourceType":"Condition","subject":{"reference":"`+strings.TrimPrefix(who.patient, root+"/")+`"},
		"code":{"coding":[{"system":"http://hl7.org/fhir/sid/icd-10-cm","code":"N39.0"}]}}`) // for a Flag
	for typ, profile := range map[string]string{"CarePlan": "plan", "Task": "item", "Flag": "hold-flag"} {
		all := h.must(200, "GET", root+"/"+typ+"?_count=200", "").entries()
		require.NotEmpty(t, all, typ)
		for _, e := range all {
			one := h.get(root + "/" + typ + "/" + e.String("resource", "id"))
			told := h.must(200, "POST", root+"/"+typ+"/$validate?profile="+ownProfiles+profile, one.text()).text()
			require.Contains(t, told, "it follows the profile", "%s: %s", one.text(), told)
		}
	}
}

// TestProfileFaults: what a profile forbids is said with its place.
func TestProfileFaults(t *testing.T) {
	h := open(t)
	example := func(name string) string {
		body, err := fs.ReadFile(api.Example, "example/"+name+".json")
		require.NoError(t, err)
		return string(body)
	}
	for _, c := range []struct{ name, typ, body, old, new, code, expression, text string }{
		{"too few", "Task", "Task-item-done", `"authoredOn"`, `"implicitRules"`, "required", "Task.authoredOn", "demands 1 of authoredOn"},
		{"too many", "Flag", "Flag-hold", `"category": [`, `"category": [{"text":"canary"},`, "structure", "Flag.category", "allows 1 of category"},
		{"a slice too few", "Task", "Task-item-done", "StructureDefinition/rule", "StructureDefinition/canary", "required", "Task.extension", "demands 1 of extension rule"},
		{"a fixed code", "CarePlan", "CarePlan-plan", `"intent": "plan"`, `"intent": "order"`, "value", "CarePlan.intent", "fixes the value plan"},
		{"a fixed system", "Task", "Task-item-done", "identifier/case", "identifier/canary", "value", "Task.groupIdentifier.system", "fixes the value"},
		{"a code that is not bound", "Task", "Task-item-done", `"code": "done"`, `"code": "canary"`, "code-invalid", "Task.businessStatus", "demands a code of http://countback.example/fhir/ValueSet/item-states"},
		{"a code in a slice", "CarePlan", "CarePlan-plan", "CodeSystem/case-state", "CodeSystem/canary", "code-invalid", "CarePlan.extension[0].valueCodeableConcept", "ValueSet/case-states"},
		{"a reference to another type", "Flag", "Flag-hold", `"Patient/patient"`, `"Group/canary"`, "value", "Flag.subject", "allows a reference to Patient"},
		{"an extension of another type", "Task", "Task-item-done", `"valueDate"`, `"valueString"`, "structure", "Task.extension[1].valueString", "a value of type date, dateTime"},
	} {
		t.Run(c.name, func(t *testing.T) {
			h.t = t
			r := h.must(200, "POST", root+"/"+c.typ+"/$validate", with(t, example(c.body), c.old, c.new))
			code, expression, text := r.issue()
			require.Equal(t, []string{"error", c.code, c.expression}, []string{r.String("issue", "severity"), code, expression})
			require.Contains(t, text, c.text)
		})
	}
}

// TestProfileNamedInTheAddress: R4 lets parameters of primitive type stand in the
// address beside the resource as the body, and a canonical have a version.
//
// Source: HL7 FHIR R4 (4.0.1), Operations; References, canonical.
func TestProfileNamedInTheAddress(t *testing.T) {
	h := open(t)
	body, err := fs.ReadFile(api.Example, "example/Task-item-done.json")
	require.NoError(t, err)
	for _, c := range []struct {
		name, query string
		status      int
		text        string
	}{
		{"canonical", "profile=" + ownProfiles + "item", 200, "it follows the profile " + ownProfiles + "item"},
		{"with its version", "profile=" + ownProfiles + "item|1.0.0", 200, "it follows the profile"},
		{"escaped", "profile=" + strings.NewReplacer("/", "%2F", ":", "%3A", "|", "%7C").Replace(ownProfiles+"item|1.0.0"), 200, "it follows the profile"},
		{"where it is served", "profile=" + testBase + "/StructureDefinition/item", 200, "it follows the profile"},
		{"relative", "profile=StructureDefinition/item", 200, "it follows the profile"},
		{"only looked at", "mode=profile&profile=" + ownProfiles + "item", 200, "it follows the profile"},
		{"R4 with its version", "mode=profile&profile=" + baseProfile("Task") + "|4.0.1", 200, "it is sound R4"},
		{"another version", "profile=" + ownProfiles + "item|9.9.9", 400, "known here are"},
		{"of another type", "profile=" + ownProfiles + "plan", 400, "known here are"},
	} {
		t.Run(c.name, func(t *testing.T) {
			h.t = t
			require.Contains(t, h.must(c.status, "POST", root+"/Task/$validate?"+c.query, string(body)).text(), c.text)
		})
	}
}

// TestUnknownProfileIsSaid: what a resource says it follows and nobody here knows
// is taken, and $validate says at its place that it was not checked, also where
// another profile is asked for.
func TestUnknownProfileIsSaid(t *testing.T) {
	h := open(t)
	body := with(t, patient("1"), `"resourceType":"Patient"`, `"resourceType":"Patient","meta":{"profile":["`+baseProfile("Patient")+`","http://a.example/canary"]}`)
	for _, query := range []string{"", "?profile=" + baseProfile("Patient"), "?mode=profile"} {
		r := h.must(200, "POST", root+"/Patient/$validate"+query, body)
		code, expression, text := r.issue()
		require.Equal(t, []string{"warning", "not-supported", "Patient.meta.profile[1]"}, []string{r.String("issue", "severity"), code, expression}, query)
		require.Contains(t, text, "is not known here, and was not checked", query)
	}
	h.must(201, "POST", root+"/Patient", body)
}

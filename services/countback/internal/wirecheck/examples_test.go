package wirecheck

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"example.org/countback/pkg/fhir"
	"github.com/stretchr/testify/require"
)

// examples has the resource types that Countback takes in or gives out, each
// with the number of its official examples, so that none goes missing unseen.
// Source: npm package hl7.fhir.r4.examples 4.0.1.
var examples = map[string]int{
	"AllergyIntolerance": 6, "Appointment": 3, "Bundle": 44, "CarePlan": 11, "CareTeam": 1,
	"CodeSystem": 1062, "Condition": 12, "Device": 2, "Encounter": 10, "Flag": 2, "Location": 6,
	"MedicationRequest": 40, "MedicationStatement": 7, "Observation": 64, "Organization": 13,
	"Patient": 22, "PlanDefinition": 18, "Practitioner": 14, "Procedure": 16, "Provenance": 5,
	"Questionnaire": 7, "QuestionnaireResponse": 5, "RelatedPerson": 5, "ServiceRequest": 20,
	"Task": 12, "ValueSet": 1316,
}

// refusedExamples are official examples that pkg/fhir does not let in, each
// with the true fault in it and the text by which the refusal names it.
var refusedExamples = map[string]struct{ fault, text string }{
	"Questionnaire-qs1.json": {"items without linkId, which R4 requires (1..1)", "linkId is missing"},
}

// faultyExamples are official examples in which the checkers of this package
// find a fault, and it is one.
var faultyExamples = map[string]string{
	"MedicationRequest-medrx0301.json":                  "dispenseRequest.performer is a Practitioner, and R4 allows an Organization",
	"Observation-clinical-gender.json":                  "performer is an Encounter, and R4 allows people and organizations",
	"Questionnaire-qs1.json":                            "items without linkId, which R4 requires (1..1)",
	"Questionnaire-zika-virus-exposure-assessment.json": "a narrative of white space, against txt-2",
}

// TestExamples posts the official examples to the strict edge: each is let in,
// and is given back equal to what came but for its id and version.
func TestExamples(t *testing.T) {
	counted := map[string]int{}
	refused := 0
	for _, one := range officialExamples(t) {
		kind, _, _ := strings.Cut(one.name, "-")
		counted[kind]++
		resource, issues := fhir.Parse(one.body, 64<<20)
		if known, ok := refusedExamples[one.name]; ok {
			require.Nil(t, resource, "%s is let in, in spite of: %s", one.name, known.fault)
			require.ErrorContains(t, issues, known.text, one.name)
			refused++
			continue
		}
		require.Empty(t, issues, one.name)
		require.Equal(t, kind, resource.Type)
		requireKept(t, one, resource)
	}
	require.Equal(t, examples, counted)
	require.Equal(t, len(refusedExamples), refused)
	t.Logf("%d types, %d refused for a listed fault", len(counted), refused)
}

// requireKept asks that the resource under a new id and version reads back
// equal in all else, numbers digit by digit.
func requireKept(t *testing.T, sent golden, resource *fhir.Resource) {
	t.Helper()
	lastUpdated := time.Date(2027, 3, 1, 9, 0, 0, 0, time.UTC)
	before, err := decode(sent.body)
	require.NoError(t, err)
	after, err := decode(resource.WithMeta("new-id", "7", lastUpdated))
	require.NoError(t, err, sent.name)
	was, is := before.(map[string]any), after.(map[string]any)
	meta, _ := is["meta"].(map[string]any)
	require.Equal(t, "new-id", is["id"], sent.name)
	require.Equal(t, "7", meta["versionId"], sent.name)
	written, err := time.Parse(time.RFC3339, fmt.Sprint(meta["lastUpdated"]))
	require.NoError(t, err, sent.name)
	require.True(t, lastUpdated.Equal(written), sent.name)
	for _, root := range []map[string]any{was, is} {
		delete(root, "id")
		if meta, ok := root["meta"].(map[string]any); ok {
			delete(meta, "versionId")
			delete(meta, "lastUpdated")
			if len(meta) == 0 {
				delete(root, "meta")
			}
		}
	}
	require.Equal(t, was, is, sent.name)
}

// TestExamplesPassTheChecks keeps the checks of this package from crying wolf:
// they find nothing in the official examples but the faults listed.
func TestExamplesPassTheChecks(t *testing.T) {
	var checked []golden
	for _, one := range officialExamples(t) {
		// Thousands of code lists say nothing new, and bundles hold them again.
		if strings.HasPrefix(one.name, "ValueSet-") || strings.HasPrefix(one.name, "CodeSystem-") || len(one.body) > 1<<20 {
			continue
		}
		checked = append(checked, one)
		found := faults(one.body)
		if fault, ok := faultyExamples[one.name]; ok {
			require.NotEmpty(t, found, "%s: nothing found of: %s", one.name, fault)
			continue
		}
		if len(found) > 0 {
			t.Errorf("%s: %v", one.name, found)
		}
	}
	for _, e := range checkInvariants(t, checked).errorsOf() {
		t.Error(e)
	}
}

// officialExamples reads those of our types from the npm package.
func officialExamples(t *testing.T) []golden {
	t.Helper()
	dir := filepath.Join(npmFolder(t), "node_modules", "hl7.fhir.r4.examples")
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	var all []golden
	for _, entry := range entries {
		kind, _, _ := strings.Cut(entry.Name(), "-")
		if _, ours := examples[kind]; !ours || filepath.Ext(entry.Name()) != ".json" {
			continue
		}
		body, err := os.ReadFile(filepath.Join(dir, entry.Name()))
		require.NoError(t, err)
		require.True(t, json.Valid(body), entry.Name())
		all = append(all, golden{entry.Name(), body})
	}
	return all
}

package app

import (
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The spinal in the README is one that the rules on medicines go by.
func TestReadmeSpinal(t *testing.T) {
	readme, err := os.ReadFile("../../../../README.md")
	require.NoError(t, err)
	example := func(holds string) []byte {
		for _, block := range regexp.MustCompile("(?s)```json\n(.*?)```").FindAllStringSubmatch(string(readme), -1) {
			if strings.Contains(block[1], holds) {
				return []byte(block[1])
			}
		}
		require.Fail(t, "no such example", holds)
		return nil
	}
	cfg := settings(t)
	cfg.Today = "2026-11-20"
	a := started(t, cfg)
	advice := func() string {
		tasks := found(t, a, "Task?code=medicine-sign-off")
		require.Len(t, tasks, 1)
		return string(tasks[0])
	}
	sent{Method: "POST", Body: example(`"Bundle"`)}.post(t, a)
	sent{Method: "POST", Path: "MedicationStatement", Body: []byte(`{"resourceType":"MedicationStatement","status":"active",
		"medicationCodeableConcept":{"coding":[{"system":"http://www.nlm.nih.gov/research/umls/rxnorm","code":"1364430"}]},
		"subject":{"reference":"Patient?identifier=https://registry.example/person|P-1"}}`)}.post(t, a)
	const asks = "whether a spinal or epidural"
	require.Contains(t, advice(), asks)
	sent{Method: "POST", Path: "ServiceRequest", Body: example(`"ServiceRequest"`)}.post(t, a)
	require.NotContains(t, advice(), asks)
}

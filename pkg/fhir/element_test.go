package fhir

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Every entry of the element lists names a structure and an element that the
// structs have, so that none is without effect.
func TestElementListsFitTheStructs(t *testing.T) {
	for line := range strings.Lines(strings.TrimSpace(elementsAToI + elementsJToZ)) {
		fields := strings.Fields(line)
		if len(fields) == 0 {
			continue
		}
		s := tables()[fields[0]]
		require.NotNil(t, s, fields[0])
		for _, f := range fields[1:] {
			name, hint, found := strings.Cut(f, ":")
			require.True(t, found, f)
			if hint == "[x]" {
				i := slices.IndexFunc(s.choices, func(c *choice) bool { return c.base == name })
				require.GreaterOrEqual(t, len(s.choices[i].members), 2, "%s.%s", s.name, name)
				continue
			}
			require.NotNil(t, s.elements[name], "%s.%s", s.name, name)
			kind, _, _ := strings.Cut(hint, "=")
			require.Contains(t, primitives, kind, "%s.%s", s.name, name)
			require.Equal(t, primitives[kind], s.elements[name].prim, "%s.%s", s.name, name)
		}
		require.LessOrEqual(t, len(s.choices), 8, "%s: the walker counts eight choices", s.name)
	}
}

// Counted in the R4 4.0.1 definitions (https://hl7.org/fhir/R4/): concrete
// resource types, and the alternatives of some choices.
func TestElementTablesAgainstTheSpecification(t *testing.T) {
	require.Len(t, resourceTypes, 146)
	for _, tc := range []struct {
		structure, base string
		required        bool
		members         []string
	}{
		{"Patient", "deceased", false, []string{"deceasedBoolean", "deceasedDateTime"}},
		{"Procedure", "performed", false, []string{"performedAge", "performedDateTime", "performedPeriod", "performedRange", "performedString"}},
		{"MedicationStatement", "medication", true, []string{"medicationCodeableConcept", "medicationReference"}},
		{"UsageContext", "value", true, []string{"valueCodeableConcept", "valueQuantity", "valueRange", "valueReference"}},
		{"PlanDefinitionActionRelatedAction", "offset", false, []string{"offsetDuration", "offsetRange"}},
		{"Observation", "effective", false, []string{"effectiveDateTime", "effectiveInstant", "effectivePeriod", "effectiveTiming"}},
		{"CarePlanActivityDetail", "scheduled", false, []string{"scheduledPeriod", "scheduledString", "scheduledTiming"}},
	} {
		s := tables()[tc.structure]
		i := slices.IndexFunc(s.choices, func(c *choice) bool { return c.base == tc.base })
		require.GreaterOrEqual(t, i, 0)
		require.ElementsMatch(t, tc.members, s.choices[i].members, tc.structure)
		require.Equal(t, tc.required, s.choices[i].required, tc.structure)
	}
	require.Empty(t, tables()["Task"].choices, "instantiatesUri and instantiatesCanonical are two elements, not a choice")
	require.Len(t, tables()["TaskInput"].choices[0].members, 50)

	required := func(name string) (out []string) {
		for _, e := range tables()[name].required {
			out = append(out, e.name)
		}
		return out
	}
	require.ElementsMatch(t, []string{"status", "participant"}, required("Appointment"))
	require.ElementsMatch(t, []string{"status", "intent"}, required("Task"))
	require.ElementsMatch(t, []string{"status", "intent", "subject"}, required("CarePlan"))
	require.ElementsMatch(t, []string{"status", "code", "subject"}, required("Flag"))
	require.ElementsMatch(t, []string{"target", "recorded", "agent"}, required("Provenance"))
	require.ElementsMatch(t, []string{"linkId", "type"}, required("QuestionnaireItem"))
	require.Equal(t, []string{"proposal", "plan", "order", "option"}, tables()["CarePlan"].elements["intent"].codes)
	require.NotContains(t, tables()["Bundle"].elements, "contained")
	require.NotContains(t, tables()["Parameters"].elements, "contained")
	require.NotContains(t, tables()["Binary"].elements, "contained")
	require.Contains(t, tables()["Task"].elements, "contained")
}

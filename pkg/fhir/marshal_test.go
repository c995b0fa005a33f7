package fhir

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"

	r4 "github.com/samply/golang-fhir-models/fhir-models/fhir"
	"github.com/stretchr/testify/require"
)

func requireWritten(t *testing.T, v any, resourceType string) *Resource {
	body, err := Marshal(v)
	require.NoError(t, err)
	require.True(t, strings.HasPrefix(string(body), `{"resourceType":"`+resourceType+`",`), "resourceType comes first: %s", body)
	require.NotContains(t, string(body), `\u003c`)
	return parsed(t, string(body))
}

func TestReadyTypesWriteValidResources(t *testing.T) {
	patientRef := r4.Reference{Reference: new("Patient/pat-204")}
	text := &r4.Narrative{Status: r4.NarrativeStatusGenerated, Div: `<div xmlns="http://www.w3.org/1999/xhtml">a &amp; b</div>`}
	concept := r4.CodeableConcept{Text: new("x")}

	r := requireWritten(t, sampleTask(), "Task")
	require.Equal(t, "false", r.Get("input").Item(1).Get("valueBoolean").Text(), "false is a value")
	require.Equal(t, 2, r.Get("input").Item(0).Len(), "type and one value")

	plan := NewCarePlan(r4.RequestStatusActive, r4.CarePlanIntentPlan, patientRef)
	plan.Text, plan.Contained = text, []json.RawMessage{[]byte(`{"resourceType":"Goal","id":"g","lifecycleStatus":"active","description":{"text":"home"},"subject":{"reference":"Patient/pat-204"}}`)}
	plan.Goal = []r4.Reference{{Reference: new("#g")}}
	plan.Activity = []r4.CarePlanActivity{{Reference: &r4.Reference{Reference: new("Task/t1")}}}
	r = requireWritten(t, plan, "CarePlan")
	require.Contains(t, r.String("text", "div"), "<div")

	flag := NewFlag(r4.FlagStatusActive, concept, patientRef)
	flag.Period = &r4.Period{Start: new("2026-10-02")}
	requireWritten(t, flag, "Flag")

	prov := NewProvenance(noon, r4.Reference{Display: new("Countback")}, r4.Reference{Reference: new("Task/t1/_history/3")}, patientRef)
	prov.Entity = []r4.ProvenanceEntity{{Role: r4.ProvenanceEntityRoleSource, What: r4.Reference{Reference: new("Appointment/a1")}}}
	r = requireWritten(t, prov, "Provenance")
	require.Equal(t, 2, r.Get("target").Len())

	caps := NewCapabilityStatement(r4.PublicationStatusActive, r4.CapabilityStatementKindInstance, "2026-10-02", "application/fhir+json")
	caps.Implementation = &r4.CapabilityStatementImplementation{Description: "demo"}
	caps.UseContext = []UsageContext{{Code: r4.Coding{Code: new("venue")}, ValueCodeableConcept: &concept}}
	caps.Rest = []r4.CapabilityStatementRest{{Mode: r4.RestfulCapabilityModeServer, Resource: []r4.CapabilityStatementRestResource{{
		Type: r4.ResourceTypeTask, Interaction: []r4.CapabilityStatementRestResourceInteraction{{Code: r4.TypeRestfulInteractionRead}}}}}}
	r = requireWritten(t, caps, "CapabilityStatement")
	require.Equal(t, "4.0.1", r.String("fhirVersion"))

	requireWritten(t, NewOperationOutcome(nil), "OperationOutcome")
}

func TestResultBundle(t *testing.T) {
	found := NewResultBundle(r4.BundleTypeSearchset)
	found.Total = new(1)
	found.AddLink("self", "https://own.example/fhir/Appointment?status=booked&_count=5")
	found.AddMatch("https://own.example/fhir/Appointment/theatre-771", []byte(booked), r4.SearchEntryModeMatch)
	r := requireWritten(t, found, "Bundle")
	require.Contains(t, string(r.Raw), `"valueDecimal":1.10`)
	require.Contains(t, string(r.Raw), `status=booked&_count=5`)
	b, issues := r.Bundle(0)
	require.Nil(t, issues)
	require.True(t, b.Entries[0].Resource.Root().Equal(parsed(t, booked).Root()))

	requireWritten(t, NewResultBundle(r4.BundleTypeSearchset), "Bundle")

	for _, kind := range []r4.BundleType{r4.BundleTypeTransactionResponse, r4.BundleTypeBatchResponse} {
		done := NewResultBundle(kind)
		done.AddResult(EntryResult{Status: "201 Created", Location: "Task/t1/_history/1", ETag: `W/"1"`, LastModified: noon, FullURL: urn1, Resource: []byte(task)})
		done.AddResult(EntryResult{Status: "400", Outcome: Issues{{Text: "x", Code: CodeValue}}.OperationOutcome()})
		r := requireWritten(t, done, "Bundle")
		require.Equal(t, "2026-10-02T12:00:00.000-06:00", r.Get("entry").Item(0).String("response", "lastModified"))
		require.Equal(t, "value", r.Get("entry").Item(1).String("response", "outcome", "issue", "code"))
	}
}

func TestMarshalSamplyStructs(t *testing.T) {
	p := r4.Patient{Id: new("p1"), Text: &r4.Narrative{Status: r4.NarrativeStatusGenerated, Div: "<div>x</div>"}, BirthDate: new("1961-03-09")}
	requireWritten(t, p, "Patient")
	requireWritten(t, &p, "Patient")

	good := r4.SearchParameter{Url: "http://countback.example/fhir/SearchParameter/task-due", Name: "due", Status: r4.PublicationStatusActive,
		Description: "x", Code: "due", Base: []r4.ResourceType{r4.ResourceTypeTask}, Type: r4.SearchParamTypeDate}
	requireWritten(t, good, "SearchParameter")
	good.UseContext = []r4.UsageContext{{Code: r4.Coding{Code: new("venue")}, ValueCodeableConcept: r4.CodeableConcept{Text: new("x")}}}

	for name, v := range map[string]any{
		"all alternatives of a choice":       r4.Task{Intent: "order", Input: []r4.TaskInput{{ValueString: "x"}}},
		"two alternatives of medication":     r4.MedicationRequest{Status: "active", Intent: "order"},
		"alternatives of a usage context":    good,
		"a required code that was forgotten": r4.Task{},
		"an empty required list":             r4.Provenance{Recorded: "2026-10-02T00:00:00Z"},
		"not made by its constructor":        &Task{},
		"nothing":                            nil,
		"a nil pointer":                      (*r4.Patient)(nil),
		"a code out of range":                r4.Patient{Gender: new(r4.AdministrativeGender(99))},
		"not JSON":                           make(chan int),
	} {
		_, err := Marshal(v)
		require.ErrorIs(t, err, ErrUnwritable, name)
	}
	body, err := Marshal(r4.Extension{Url: "u", ValueString: new("<x>")})
	require.NoError(t, err)
	require.Equal(t, `{"url":"u","valueString":"<x>"}`, string(body))
}

// Every alternative of Task.input.value[x] has its field under its own name.
func TestTaskParameterHasEveryAlternative(t *testing.T) {
	var names []string
	for f := range reflect.TypeFor[TaskParameter]().Fields() {
		if name, _, _ := strings.Cut(f.Tag.Get("json"), ","); strings.HasPrefix(name, "value") {
			require.Equal(t, reflect.Pointer, f.Type.Kind())
			names = append(names, name)
		}
	}
	require.ElementsMatch(t, structureOf("Task").elements["input"].of.choices[0].members, names)
	for _, p := range []TaskParameter{
		TaskString(r4.CodeableConcept{Text: new("k")}, "x"), TaskBoolean(r4.CodeableConcept{Text: new("k")}, false),
		TaskDateTime(r4.CodeableConcept{Text: new("k")}, "2026-10-02"), TaskCode(r4.CodeableConcept{Text: new("k")}, r4.CodeableConcept{Text: new("v")}),
		TaskReference(r4.CodeableConcept{Text: new("k")}, r4.Reference{Reference: new("Patient/1")}),
	} {
		task := NewTask(r4.TaskStatusDraft, "plan")
		task.Output = []TaskParameter{p}
		requireWritten(t, task, "Task")
	}
}

func TestOperationOutcome(t *testing.T) {
	is := Issues{
		{Code: CodeInvariant, Expression: "Appointment.start", Text: "Appointment.start is missing", Diagnostics: `sent: "<x>"`},
		{Severity: SeverityWarning, Code: "no such code", Text: "y"},
	}
	r := parsed(t, string(is.OperationOutcome()))
	first := r.Get("issue").Item(0)
	require.Equal(t, []string{"error", "invariant", "Appointment.start is missing", `sent: "<x>"`, "Appointment.start"},
		[]string{first.String("severity"), first.String("code"), first.String("details", "text"), first.String("diagnostics"), first.String("expression")})
	require.Equal(t, "warning", r.Get("issue").Item(1).String("severity"))
	require.Equal(t, "processing", r.Get("issue").Item(1).String("code"))
	require.Equal(t, "Appointment.start is missing; y", is.Error())
	require.Equal(t, "a.b: c", Issues{{Expression: "a.b", Text: "c"}}.Error())
	require.NoError(t, Issues(nil).Err())
	require.Error(t, is.Err())
	require.Equal(t, "information", parsed(t, string(Issues{}.OperationOutcome())).String("issue", "severity"))
}

// Rendering a Task is done for every row of a worklist page: it goes through
// encoding/json once. The time itself is in BenchmarkMarshalTask.
func TestTaskIsEncodedOnce(t *testing.T) {
	task := sampleTask()
	allocations := testing.AllocsPerRun(100, func() {
		_, err := Marshal(task)
		require.NoError(t, err)
	})
	require.LessOrEqual(t, allocations, 20.0)
}

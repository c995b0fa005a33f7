package fhir

import (
	"testing"
	"time"

	r4 "github.com/samply/golang-fhir-models/fhir-models/fhir"
)

func BenchmarkParseAppointment(b *testing.B) { benchmarkParse(b, booked) }

// A Bundle of 6 KB.
func BenchmarkParseBundle(b *testing.B) {
	benchmarkParse(b, bundle("transaction", entry(urn1, booked, "POST", "Appointment"), entry(urn2, booked, "POST", "Appointment"),
		entry(urn3, procedure, "POST", "Procedure"), entry("https://own.example/fhir/Task/t1", task, "PUT", "Task/t1")))
}

func benchmarkParse(b *testing.B, body string) {
	in := []byte(body)
	b.SetBytes(int64(len(in)))
	b.ReportAllocs()
	for b.Loop() {
		if _, issues := Parse(in, 0); issues != nil {
			b.Fatal(issues)
		}
	}
}

func BenchmarkTables(b *testing.B) {
	for b.Loop() {
		buildTables()
	}
}

func BenchmarkWithMeta(b *testing.B) {
	r, _ := Parse([]byte(booked), 0)
	b.ReportAllocs()
	for b.Loop() {
		r.WithMeta("x", "8", time.Unix(1790000000, 0))
	}
}

func BenchmarkMarshalTask(b *testing.B) {
	t := sampleTask()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Marshal(t); err != nil {
			b.Fatal(err)
		}
	}
}

// sampleTask is a Task as rich as the service writes them.
func sampleTask() *Task {
	ref := func(s string) *r4.Reference { return &r4.Reference{Reference: &s} }
	concept := func(system, code, text string) r4.CodeableConcept {
		return r4.CodeableConcept{Coding: []r4.Coding{{System: &system, Code: &code}}, Text: &text}
	}
	code := concept("http://countback.example/fhir/CodeSystem/step", "dental-check", "Dental check")
	t := NewTask(r4.TaskStatusRequested, "plan")
	t.Id = new("task-1")
	t.Meta = &r4.Meta{VersionId: new("3"), LastUpdated: new("2026-10-02T09:15:00.000-06:00")}
	t.Identifier = []r4.Identifier{{System: new("http://countback.example/fhir/item"), Value: new("c1/dental-check")}}
	t.GroupIdentifier = &r4.Identifier{System: new("http://countback.example/fhir/case"), Value: new("c1")}
	t.BusinessStatus = new(concept("http://countback.example/fhir/CodeSystem/item-state", "due", "due"))
	t.Priority = new(r4.RequestPriorityRoutine)
	t.Code, t.Description = &code, new("Dentist: any infection <treated> before the date?")
	t.Focus, t.For, t.Owner = ref("Procedure/p1"), ref("Patient/pat-204"), ref("RelatedPerson/r1")
	t.AuthoredOn, t.LastModified = new("2026-10-01T08:00:00-06:00"), new("2026-10-02T09:15:00-06:00")
	t.PerformerType = []r4.CodeableConcept{concept("http://snomed.info/sct", "106289002", "Dentist")}
	t.Restriction = &r4.TaskRestriction{Period: &r4.Period{Start: new("2026-10-05"), End: new("2026-11-16")}}
	t.Note = []r4.Annotation{{Text: "called, no answer"}}
	t.Input = []TaskParameter{TaskString(code, "bring the list of medicines"), TaskBoolean(code, false)}
	t.Output = []TaskParameter{TaskReference(code, *ref("QuestionnaireResponse/q1"))}
	return t
}

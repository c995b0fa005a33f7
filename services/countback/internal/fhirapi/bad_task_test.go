package fhirapi

import (
	"strings"
	"testing"

	"example.org/countback/services/countback/internal/translate"
)

// status changes the status of a Task as it was read. more are further
// elements, as JSON.
func status(t *testing.T, task response, to string, more ...string) string {
	body := with(t, string(task.raw), `"status":"`+task.String("status")+`"`, `"status":"`+to+`"`)
	return with(t, body, `"id":`, strings.Join(append(more, `"id":`), ","))
}

// because is a reason to cancel: a code of ours, if any, and words, if any.
func because(code, words string) string {
	var parts []string
	if code != "" {
		parts = append(parts, `"coding":[{"system":"`+translate.SystemReason+`","code":"`+code+`"}]`)
	}
	if words != "" {
		parts = append(parts, `"text":"`+words+`"`)
	}
	return `"statusReason":{` + strings.Join(parts, ",") + "}"
}

// taskRows are entries that people cannot make.
func taskRows(t *testing.T, s seed) []badRow {
	type row struct {
		name                   string
		of                     response
		body                   string
		status                 int
		code, expression, text string
	}
	call, coach, draft, done := s.tasks["surgical-consent"], s.tasks["name-coach"], s.tasks["joint-class"], s.tasks["first-call"]
	foreign := func(old, new string) string { return with(t, string(coach.raw), old, new) }
	var out []badRow
	for _, r := range []row{
		{"an illegal move", draft, status(t, draft, "in-progress"), 422, "business-rule", "Task.status", "cannot go from draft to in-progress"},
		{"a status that R4 has not", coach, status(t, coach, "canary"), 400, "code-invalid", "Task.status", "allowed are"},
		{"a status that nobody sets", coach, status(t, coach, "rejected"), 422, "business-rule", "Task.status", "open moves are"},
		{"a must waived", call, status(t, call, "cancelled", because("waived", "canary")), 422, "business-rule", "Task.status", "is a must and cannot be waived"},
		{"waived without words", coach, status(t, coach, "cancelled", because("waived", "")), 422, "required", "Task.statusReason.text", "say why the step is waived"},
		{"cancelled without a reason", coach, status(t, coach, "cancelled"), 422, "required", "Task.statusReason", "cancel with the code waived"},
		{"cancelled with a reason of nobody's", coach, status(t, coach, "cancelled", because("", "canary")), 422, "required", "Task.statusReason", "cancel with the code waived"},
		{"not needed, where it is", coach, status(t, coach, "cancelled", because("not-needed", "canary")), 422, "business-rule", "Task.statusReason", "this step applies to this person"},
		{"failed without words", coach, status(t, coach, "failed"), 422, "required", "Task.statusReason", "why it could not be done"},
		{"done tomorrow", coach, status(t, coach, "completed", `"executionPeriod":{"end":"2026-11-03"}`), 422, "business-rule", "Task.executionPeriod.end", "lies in the future"},
		{"done this year", coach, status(t, coach, "completed", `"executionPeriod":{"end":"2026"}`), 422, "value", "Task.executionPeriod.end", "at least a day"},
		{"opened again without a reason", done, status(t, done, "requested"), 422, "required", "Task.statusReason", "a correction says why"},
		{"another window", coach, foreign(`"restriction":{"period":{`, `"restriction":{"repetitions":2,"period":{`), 422, "business-rule", "Task.restriction", "cannot be changed here"},
		{"another priority", coach, foreign(`"priority":"routine"`, `"priority":"stat"`), 422, "business-rule", "Task.priority", "cannot be changed here"},
		{"another person", coach, foreign(s.ref(s.patient), "Patient/canary"), 422, "business-rule", "Task.for", "cannot be changed here"},
		{"an element of one's own", coach, foreign(`"id":`, `"partOf":[{"display":"canary"}],"id":`), 422, "business-rule", "Task.partOf", "cannot be changed here"},
		{"an element that R4 has not", coach, foreign(`"id":`, `"canary":1,"id":`), 400, "structure", "Task", "no element of the name"},
		{"an owner that names nobody", coach, foreign(`"id":`, `"owner":{},"id":`), 400, "structure", "Task.owner", "empty"},
	} {
		out = append(out, badRow{"task: " + r.name, "PUT", root + "/Task/" + r.of.String("id"), r.body, nil, r.status, r.code, r.expression, r.text})
	}
	at := root + "/Task/" + coach.String("id")
	return append(out,
		badRow{"task: another id", "PUT", root + "/Task/canary", string(coach.raw), nil, 400, "invariant", "Task.id", "must be the id"},
		badRow{"task: not held", "PUT", root + "/Task/canary", with(t, string(coach.raw), coach.String("id"), "canary"), nil, 404, "not-found", "Task", "no such Task"},
		badRow{"task: an old version", "PUT", at, status(t, coach, "accepted"), []string{"If-Match", `W/"9"`}, 412, "conflict", "Task", "read it again"},
		badRow{"task: by number", "PUT", root + "/Task?identifier=a|canary", string(coach.raw), nil, 405, "not-supported", "", "changed by its id only"},
		badRow{"task: from outside", "POST", root + "/Task", string(coach.raw), nil, 405, "not-supported", "", "its status is changed with PUT"},
		badRow{"task: a deletion", "DELETE", at, "", nil, 405, "not-supported", "", "keeps it as the record"},
		badRow{"task: a patch by number", "PATCH", root + "/Task?identifier=a|canary", "[]", []string{"Content-Type", "", "Content-Type", patchType}, 405, "not-supported", "", "changed by its id only"},
		badRow{"task: an illegal move by patch", "PATCH", root + "/Task/" + draft.String("id"), `[{"op":"replace","path":"/status","value":"in-progress"}]`, []string{"Content-Type", "", "Content-Type", patchType}, 422, "business-rule", "Task.status", "open moves are: completed, cancelled"},
		badRow{"task: another priority by patch", "PATCH", at, `[{"op":"replace","path":"/priority","value":"stat"}]`, []string{"Content-Type", "", "Content-Type", patchType}, 422, "business-rule", "Task.priority", "cannot be changed here"},
		badRow{"task: a patch whose test fails", "PATCH", at, `[{"op":"test","path":"/status","value":"canary"}]`, []string{"Content-Type", "", "Content-Type", patchType}, 422, "business-rule", "Task", "the test failed"},
		badRow{"task: a patch of an old version", "PATCH", at, `[]`, []string{"If-Match", `W/"9"`, "Content-Type", "", "Content-Type", patchType}, 412, "conflict", "Task", "read it again"},
		badRow{"task: another resource", "PUT", at, patient("9"), nil, 400, "invariant", "Patient", "the address names Task"},
	)
}

package casework

import (
	"bytes"
	"context"
	"encoding/json"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/translate"
)

// edit is what somebody changes on a Task that was read.
type edit func(task res)

// taskWork is a Task as it is read, with the edits.
func (h *house) taskWork(id string, edits ...edit) TaskWork {
	h.t.Helper()
	d := json.NewDecoder(bytes.NewReader(h.get("Task/" + id).Raw))
	d.UseNumber()
	task := res{}
	require.NoError(h.t, d.Decode(&task))
	for _, e := range edits {
		e(task)
	}
	body := task.json()
	return TaskWork{ID: id, Source: "https://desk.larkspindle.example", ContentType: "application/fhir+json", Body: []byte(body), Resource: parse(h.t, []byte(body))}
}

func (h *house) tryWork(id string, edits ...edit) (Result, error) {
	h.t.Helper()
	return h.office.Work(context.Background(), h.taskWork(id, edits...))
}

// work changes a Task and gives the item as it then stands.
func (h *house) work(plan, step string, edits ...edit) item {
	h.t.Helper()
	_, err := h.tryWork(h.step(plan, step).ID, edits...)
	require.NoError(h.t, err)
	return h.step(plan, step)
}

func set(name string, value any) edit {
	return func(task res) {
		if task[name] = value; value == nil {
			delete(task, name)
		}
	}
}

func status(s string) edit { return set("status", s) }

// done completes a Task; day may be empty, which means today.
func done(day string) edit {
	return func(task res) {
		task["status"] = "completed"
		if day != "" {
			task["executionPeriod"] = res{"end": day}
		}
	}
}

// because gives a reason: a code of ours (may be empty) and a text.
func because(code, text string) edit {
	return func(task res) {
		reason := res{}
		if text != "" {
			reason["text"] = text
		}
		if code != "" {
			reason["coding"] = []res{{"system": translate.SystemReason, "code": code}}
		}
		task["statusReason"] = reason
	}
}

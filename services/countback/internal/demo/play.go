package demo

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"time"

	"example.org/countback/testdata"
)

// Options say where the service is and how the demo may move its clock.
type Options struct {
	Base  string    // of the FHIR API
	Today time.Time // where the clock stands at the end, in the facility's zone
	// Stand puts the service's clock to a moment; Tick lets its timers run.
	Stand func(time.Time)
	Tick  func(context.Context) error
	// Published counts the events in the stream by name, once all are there.
	Published func(context.Context) (map[string]uint64, error)
	Out       io.Writer
}

// Begins is when the first message of the invented hospital was sent.
func Begins() (time.Time, error) {
	_, messages, err := stories(testdata.FS)
	if err != nil {
		return time.Time{}, err
	}
	return messages[0].At, nil
}

// Play sends every message of the corpus at its own time, up to today, and
// prints what was planned.
func Play(ctx context.Context, o Options) error {
	all, messages, err := stories(testdata.FS)
	if err != nil {
		return err
	}
	c := &client{base: o.Base, http: &http.Client{Timeout: time.Minute}, prefer: "representation"}
	p := &player{Options: o, client: c}
	for _, m := range messages {
		if m.At.After(o.Today) {
			continue
		}
		if err := p.message(ctx, m); err != nil {
			return fmt.Errorf("%s, %s: %w", m.story.Person, m.At.Format(time.RFC3339), err)
		}
	}
	if err := p.moveTo(ctx, o.Today); err != nil {
		return err
	}
	return p.report(ctx, all)
}

type player struct {
	Options
	*client
	last time.Time
}

// moveTo puts the clock forward, letting the timers run at each midnight on
// the way, as they would have.
func (p *player) moveTo(ctx context.Context, t time.Time) error {
	p.Stand(t)
	if p.last.Format(time.DateOnly) == t.Format(time.DateOnly) && !t.Equal(p.Today) {
		return nil
	}
	p.last = t
	return p.Tick(ctx)
}

func (p *player) message(ctx context.Context, m message) error {
	if err := p.moveTo(ctx, m.At); err != nil {
		return err
	}
	if m.Work != nil {
		return p.work(ctx, m.story, m.Work)
	}
	path := m.Path
	if typ, query, ok := strings.Cut(path, "?"); ok {
		name, value, _ := strings.Cut(query, "=")
		path = typ + "?" + name + "=" + url.QueryEscape(value)
	}
	p.prefer = "OperationOutcome"
	answer, err := p.do(ctx, m.Method, path, m.Body, "")
	p.prefer = "representation"
	if err != nil {
		return err
	}
	if _, why, kept := strings.Cut(string(answer), "no case is opened: "); kept {
		m.story.kept, _, _ = strings.Cut(why, `"`)
	}
	return nil
}

// work records an entry on the Task of a step, as a client must: read the
// Task, change only what people write, put it back with its version.
func (p *player) work(ctx context.Context, s *story, w *work) error {
	plan, err := p.planOf(ctx, s, w.Booking)
	if err != nil {
		return err
	}
	tasks, err := p.search(ctx, "Task", url.Values{"group-identifier": {caseIdentifier(plan)}, "code": {w.Step}})
	if err != nil {
		return err
	}
	if len(tasks) == 0 {
		return fmt.Errorf("no Task of step %s", w.Step)
	}
	task := tasks[len(tasks)-1] // the newest round
	var body map[string]any
	if err := json.Unmarshal(task.raw, &body); err != nil {
		return err
	}
	body["status"] = w.Status
	if w.On != "" {
		body["executionPeriod"] = map[string]any{"end": w.On}
	}
	if w.Text != "" {
		reason := map[string]any{"text": w.Text}
		if w.Reason != "" {
			reason["coding"] = []any{map[string]any{"system": strings.Replace(codeSystem(task), "/step", "/task-reason", 1), "code": w.Reason}}
		}
		body["statusReason"] = reason
	}
	if w.Owner != "" {
		body["owner"] = map[string]any{"display": w.Owner}
	}
	if w.Dose != "" {
		body["output"] = otherDose(strings.TrimSuffix(codeSystem(task), "/step"), w.Dose)
	}
	if w.Note != "" {
		body["note"] = []any{map[string]any{"text": w.Note}}
	}
	sent, err := json.Marshal(body)
	if err != nil {
		return err
	}
	_, err = p.do(ctx, http.MethodPut, "Task/"+task.ID, sent, task.Meta.VersionID)
	return err
}

// otherDose are the outputs of a Task that sign another dose; systems begins the
// code systems of the server.
func otherDose(systems, words string) []any {
	coded := func(system, code string) map[string]any {
		return map[string]any{"coding": []any{map[string]any{"system": systems + system, "code": code}}}
	}
	return []any{
		map[string]any{"type": coded("/task-output", "medicine-decision"), "valueCodeableConcept": coded("/medicine-decision", "other-dose")},
		map[string]any{"type": coded("/task-output", "dose-words"), "valueString": words},
	}
}

// planOf finds the CarePlan of a person; booking names one of several by the
// identifier of its Appointment.
func (p *player) planOf(ctx context.Context, s *story, booking string) (resource, error) {
	plans, err := p.plansOf(ctx, s)
	if err != nil {
		return resource{}, err
	}
	if booking == "" && len(plans) == 1 {
		return plans[0], nil
	}
	for _, plan := range plans {
		for _, ref := range plan.node.Get("supportingInfo").Items() {
			id, isAppointment := strings.CutPrefix(ref.String("reference"), "Appointment/")
			if !isAppointment {
				continue
			}
			found, err := p.search(ctx, "Appointment", url.Values{"_id": {id}})
			if err != nil {
				return resource{}, err
			}
			for _, a := range found {
				for _, i := range a.Identifier {
					if i.Value == booking {
						return plan, nil
					}
				}
			}
		}
	}
	return resource{}, fmt.Errorf("%d plans, and none for booking %q", len(plans), booking)
}

func (p *player) plansOf(ctx context.Context, s *story) ([]resource, error) {
	id, ok := s.patient()
	if !ok {
		return nil, fmt.Errorf("the story of %s has no Patient with an identifier", s.Person)
	}
	people, err := p.search(ctx, "Patient", url.Values{"identifier": {id.System + "|" + id.Value}})
	if err != nil || len(people) == 0 {
		return nil, err
	}
	return p.search(ctx, "CarePlan", url.Values{"patient": {people[0].ID}})
}

func caseIdentifier(plan resource) string {
	if len(plan.Identifier) == 0 {
		return ""
	}
	return plan.Identifier[0].System + "|" + plan.Identifier[0].Value
}

func codeSystem(task resource) string { return task.node.String("code", "coding", "system") }

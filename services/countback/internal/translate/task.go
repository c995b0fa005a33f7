package translate

import (
	"encoding/json"
	"strconv"
	"time"

	r4 "github.com/samply/golang-fhir-models/fhir-models/fhir"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// TaskMeta is what the store knows of one version of a Task.
type TaskMeta struct {
	ID, CaseID string
	Version    int64
	Updated    time.Time
}

// InputRequestedDay is the code of the Task.input that says, as a date, which day
// of surgery is asked for.
const InputRequestedDay = "requested-day"

// StatusOf gives the Task status that follows from the item's state and from
// what a person set, so that a stock worklist shows only what is asked for now.
func StatusOf(i *readiness.Item, w *Work) string {
	switch i.State {
	case readiness.Open, readiness.Due, readiness.Late:
		if w != nil && w.Status != "" && (w.Outcome == readiness.NoOutcome || w.Outcome == readiness.Applies) {
			return w.Status
		}
		return "requested"
	case readiness.Paused:
		return "on-hold"
	case readiness.Missed:
		return "failed"
	case readiness.StateDone, readiness.Expired:
		return "completed"
	case readiness.StateWaived, readiness.Needless:
		return "cancelled"
	}
	return "draft"
}

// Task renders one version of a Task.
func (f Facility) Task(r *Row, m TaskMeta, p *Protocol) (*fhir.Task, error) {
	var status r4.TaskStatus
	if err := json.Unmarshal([]byte(strconv.Quote(r.Status)), &status); err != nil {
		return nil, err
	}
	item := r.Item(p, f)
	s := item.Step
	t := fhir.NewTask(status, "order")
	version := strconv.FormatInt(m.Version, 10)
	t.Id = &m.ID
	updated := fhir.FormatInstant(m.Updated.In(f.Calendar.Zone()))
	t.Meta = &r4.Meta{VersionId: &version, LastUpdated: &updated}
	t.Identifier = []r4.Identifier{identifier(SystemItem, m.ID)}
	t.GroupIdentifier = new(identifier(SystemCase, m.CaseID))
	t.BusinessStatus = concept(SystemItemState, string(r.State), "")
	t.Priority = priority(s, r.State)
	t.Code = concept(SystemStep, s.Code, s.Title)
	if s.Kind != "" {
		t.Code.Coding = append(t.Code.Coding, concept(SystemStepKind, s.Kind, "").Coding...)
	}
	t.Description = optional(s.Summary)
	t.For = reference(r.Patient)
	t.Focus = reference(r.Focus)
	if b := reference(r.BasedOn); b != nil {
		t.BasedOn = []r4.Reference{*b}
	}
	t.AuthoredOn = optional(r.Authored.In(f.Calendar.Zone()).Format(time.RFC3339))
	t.LastModified = &updated
	for _, pf := range s.Performers {
		if r.Role == "" || r.Role == pf.Role {
			t.PerformerType = append(t.PerformerType, *concept(SystemRole, pf.Role, pf.Display))
		}
	}
	t.Restriction = f.window(&item, r)
	if r.Replaces != "" && r.Because != "" {
		t.ReasonCode = &r4.CodeableConcept{Text: new("Asked again, because " + r.Because + ".")}
	}
	f.taskExtensions(t, r, &item, p)
	t.Input = instructions(s)
	if r.By != "" {
		t.Requester = &r4.Reference{Display: &r.By}
	}
	if r.Day != "" {
		t.Input = append(t.Input, fhir.TaskParameter{Type: *concept(SystemInput, InputRequestedDay, "requested day"), ValueDate: &r.Day})
	}
	for _, ref := range r.Among {
		t.Input = append(t.Input, fhir.TaskParameter{Type: *concept(SystemInput, InputChoice, "may be meant"), ValueReference: reference(ref)})
	}
	if err := worked(t, r); err != nil {
		return nil, err
	}
	return t, nil
}

// window is when the item may be done. An item that follows another may open
// only after it was due: a period cannot say that, so its start is left out.
func (f Facility) window(i *readiness.Item, r *Row) *r4.TaskRestriction {
	p := &r4.Period{Start: optional(r.Opens), End: optional(r.Due)}
	if !i.Opens.IsZero() && !i.Due.IsZero() && (i.Opens.Day > i.Due.Day || !i.Due.At.IsZero() && i.Opens.Begins(f.Calendar).After(i.Due.At)) {
		p.Start = nil
	}
	if p.Start == nil && p.End == nil {
		return nil
	}
	return &r4.TaskRestriction{Period: p}
}

// priority is the step's own, raised to urgent for what is late.
func priority(s *readiness.Step, state readiness.ItemState) *r4.RequestPriority {
	out := r4.RequestPriorityRoutine
	switch s.Priority {
	case "urgent":
		out = r4.RequestPriorityUrgent
	case "asap":
		out = r4.RequestPriorityAsap
	case "stat":
		out = r4.RequestPriorityStat
	}
	if state == readiness.Late && out == r4.RequestPriorityRoutine {
		out = r4.RequestPriorityUrgent
	}
	return &out
}

func (f Facility) taskExtensions(t *fhir.Task, r *Row, item *readiness.Item, p *Protocol) {
	add := func(e r4.Extension) { t.Extension = append(t.Extension, e) }
	if rule := p.Why(item); rule != "" {
		add(stringExtension("rule", rule))
	}
	if item.Compressed {
		yes := true
		add(r4.Extension{Url: ExtensionBase + "compressed", ValueBoolean: &yes})
	}
	for _, q := range r.Needs {
		add(stringExtension("unknown-because", q))
	}
	for _, line := range r.Advice {
		add(stringExtension("medicine-advice", line))
	}
	if item.Raised != nil && item.Raised.Why != "" {
		add(stringExtension("why", item.Raised.Why))
	}
	t.ReasonReference = reference(r.About)
	if r.Last != "" {
		e := r4.Extension{Url: ExtensionBase + "last-day-at"}
		if item.Last.At.IsZero() {
			e.ValueDate = &r.Last
		} else {
			e.ValueDateTime = &r.Last
		}
		add(e)
	}
	if r.LeaveBy != "" && item.State.Waiting() {
		add(r4.Extension{Url: ExtensionBase + "leave-time-by", ValueDate: &r.LeaveBy})
	}
	for _, s := range item.Step.Sources {
		add(sourceExtension(s))
	}
	if r.Replaces != "" {
		add(r4.Extension{Url: "http://hl7.org/fhir/StructureDefinition/task-replaces", ValueReference: reference("Task/" + r.Replaces)})
	}
}

// instructions carries the two texts of the step: for whoever does it, and for
// the patient and the coach.
func instructions(s *readiness.Step) []fhir.TaskParameter {
	var out []fhir.TaskParameter
	for _, t := range []struct{ code, text string }{
		{"performer", s.ForPerformer}, {"patient", s.ForPatient},
	} {
		if t.text == "" {
			continue
		}
		out = append(out, fhir.TaskParameter{
			Type:          *concept(Base+"/CodeSystem/instruction-audience", t.code, "Instruction"),
			ValueMarkdown: &t.text,
		})
	}
	return out
}

// worked adds what people wrote.
func worked(t *fhir.Task, r *Row) error {
	if r.Why != "" && (r.Work == nil || r.Work.StatusReason == nil) {
		t.StatusReason = &r4.CodeableConcept{Text: &r.Why}
	}
	if r.Record != "" {
		t.Extension = append(t.Extension, r4.Extension{Url: ExtensionBase + "evidence-record", ValueReference: reference(r.Record)})
		t.ExecutionPeriod = &r4.Period{End: &r.RecordOn}
	}
	if r.Work == nil {
		return nil
	}
	if r.State == readiness.Paused && r.Work.Status != "" {
		t.Extension = append(t.Extension, r4.Extension{Url: ExtensionBase + "earlier-status", ValueCode: &r.Work.Status})
	}
	for _, e := range []struct {
		raw  json.RawMessage
		into any
	}{
		{r.Work.StatusReason, &t.StatusReason}, {r.Work.Owner, &t.Owner}, {r.Work.Note, &t.Note},
		{r.Work.Output, &t.Output}, {r.Work.ExecutionPeriod, &t.ExecutionPeriod},
	} {
		if e.raw == nil {
			continue
		}
		if err := json.Unmarshal(e.raw, e.into); err != nil {
			return err
		}
	}
	return nil
}

func identifier(system, value string) r4.Identifier {
	return r4.Identifier{System: &system, Value: &value}
}

func concept(system, code, display string) *r4.CodeableConcept {
	return &r4.CodeableConcept{Coding: []r4.Coding{{System: &system, Code: &code, Display: optional(display)}}}
}

func reference(ref string) *r4.Reference {
	if ref == "" {
		return nil
	}
	return &r4.Reference{Reference: &ref}
}

func optional(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

// sourceExtension names where a rule comes from, and how that was checked.
func sourceExtension(s readiness.Source) r4.Extension {
	return stringExtension("source", s.Text+" ("+s.Mark+")")
}

func stringExtension(name, v string) r4.Extension {
	return r4.Extension{Url: ExtensionBase + name, ValueString: &v}
}

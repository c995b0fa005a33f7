package translate

import (
	"encoding/json"
	"strconv"
	"time"

	r4 "github.com/samply/golang-fhir-models/fhir-models/fhir"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// NothingStored stands on every plan that answers a question.
const NothingStored = "The answer to a question: nothing of it is stored, and nobody is asked to do anything."

// planID is the id of the RequestGroup inside the CarePlan.
const planID = "plan"

// AppliedView is what the answer of PlanDefinition/$apply is rendered from.
type AppliedView struct {
	Booking *Booking // as supposed
	Plan    *readiness.Plan
	Other   OtherDays
	Presses []readiness.Pressing // musts that are late or soon due for the day that is supposed
	Holds   []HoldView           // on the day that is supposed
	Held    []string             // references of those of the booking's resources that are held here

	Encounter, Practitioner string // references in whose context it was asked; empty: none
	Now                     time.Time
}

// Applied renders a plan as R4 has $apply answer: a CarePlan with a single
// activity, a RequestGroup with one action for each item that applies or may
// apply. The request that R4 wants each action to have is a Task with intent
// option, beside it in the CarePlan.
//
// Source: HL7 FHIR R4 (4.0.1), OperationDefinition PlanDefinition-apply, and
// invariant rqg-1 of RequestGroup (an action has a resource or actions).
func (f Facility) Applied(v AppliedView, p *Protocol) ([]byte, error) {
	c := fhir.NewCarePlan(r4.RequestStatusDraft, r4.CarePlanIntentProposal, *reference(v.Booking.Patient))
	c.InstantiatesCanonical = []string{p.Canonical()}
	c.Title = optional(p.Title)
	notes := NothingStored + " " + p.notice()
	c.Description = &notes
	c.Created = new(v.Now.In(f.Calendar.Zone()).Format(time.RFC3339))
	c.Encounter, c.Author = reference(v.Encounter), reference(v.Practitioner)
	c.Period = f.period(v.Booking, v.Plan)
	for _, m := range v.Held {
		c.SupportingInfo = append(c.SupportingInfo, *reference(m))
	}
	view := PlanView{Booking: v.Booking, Plan: v.Plan, Other: v.Other, Holds: v.Holds}
	c.Extension = f.standing(view, p)
	if words := PressesWords(v.Presses); words != "" {
		c.Extension = append(c.Extension, stringExtension("why", words))
	}
	c.Text = &r4.Narrative{Status: r4.NarrativeStatusGenerated, Div: f.narrative(view, p, notes)}
	c.Activity = []r4.CarePlanActivity{{Reference: reference("#" + planID)}}

	group := fhir.NewRequestGroup(r4.RequestStatusDraft, r4.RequestIntentProposal)
	group.Id = new(planID)
	group.InstantiatesCanonical = c.InstantiatesCanonical
	group.Subject = &c.Subject
	group.Encounter, group.Author, group.AuthoredOn = c.Encounter, c.Author, c.Created
	tasks, err := f.options(group, v, p)
	if err != nil {
		return nil, err
	}
	body, err := fhir.Marshal(group)
	if err != nil {
		return nil, err
	}
	c.Contained = append([]json.RawMessage{body}, tasks...)
	return fhir.Marshal(c)
}

// options adds an action to the group for each item that is part of the answer,
// and gives their Tasks.
func (f Facility) options(group *fhir.RequestGroup, v AppliedView, p *Protocol) ([]json.RawMessage, error) {
	var tasks []json.RawMessage
	for n := range v.Plan.Items {
		if !asked(v.Plan, n) {
			continue
		}
		i := &v.Plan.Items[n]
		t, err := f.option(i, actionID(i.Key, v.Plan.Items[:n]), v, p)
		if err != nil {
			return nil, err
		}
		body, err := fhir.Marshal(t)
		if err != nil {
			return nil, err
		}
		tasks = append(tasks, body)
		group.Action = append(group.Action, actionFor(i, t, p))
	}
	return tasks, nil
}

// standing tells the state of a plan and why it is so.
func (f Facility) standing(v PlanView, p *Protocol) []r4.Extension {
	out := []r4.Extension{{
		Url:                  ExtensionBase + "readiness-state",
		ValueCodeableConcept: concept(SystemCaseState, string(v.Plan.State), ""),
	}}
	day := func(name string, d calendar.Date) {
		if s := d.String(); !d.IsZero() {
			out = append(out, r4.Extension{Url: ExtensionBase + name, ValueDate: &s})
		}
	}
	day("surgery-date", v.Plan.Day)
	if safe := v.Other.Safe; safe != nil && safe.Conditional() {
		out = append(out, notBefore(safe, p))
	} else if safe != nil {
		day("earliest-safe-date", safe.Day)
	}
	for _, why := range f.reasons(v, p) {
		out = append(out, stringExtension("why", why))
	}
	return out
}

// notBefore is the earliest day where it rests on what nobody knows: it has no
// value that could be taken for a day that can be met.
func notBefore(s *readiness.Safe, p *Protocol) r4.Extension {
	day := s.Day.String()
	out := r4.Extension{Url: ExtensionBase + "earliest-safe-date", Extension: []r4.Extension{{Url: "not-before", ValueDate: &day}}}
	for _, d := range s.Unknown {
		words := doubtWords(d)
		out.Extension = append(out.Extension, r4.Extension{Url: "if-known", ValueString: &words})
	}
	for _, o := range s.Pressing {
		words := p.titled(o.Key) + pressingBy(o)
		out.Extension = append(out.Extension, r4.Extension{Url: "if-done", ValueString: &words})
	}
	return out
}

// asked reports whether an item is part of the answer: it applies or may apply,
// and no later round has taken its place.
func asked(pl *readiness.Plan, n int) bool {
	i := &pl.Items[n]
	replaced := n+1 < len(pl.Items) && pl.Items[n+1].Replaces > 0
	return i.Applies != readiness.No && i.State != readiness.Needless && !replaced
}

// actionID is the id of the step's action in the PlanDefinition; the second and
// further repeats of a step are numbered.
func actionID(k readiness.Key, before []readiness.Item) string {
	seen := map[string]bool{}
	for n := range before {
		if o := before[n].Key; o.Step == k.Step && o.Repeat != k.Repeat {
			seen[o.Repeat] = true
		}
	}
	if len(seen) == 0 {
		return k.Step
	}
	return k.Step + "." + strconv.Itoa(len(seen)+1)
}

// option is the item as a request that might be made.
func (f Facility) option(i *readiness.Item, id string, v AppliedView, p *Protocol) (*fhir.Task, error) {
	row := f.RowOf(i)
	row.Patient, row.Authored, row.Status = v.Booking.Patient, v.Now, "draft"
	switch i.State {
	case readiness.StateDone:
		row.Status = "completed"
	case readiness.StateWaived:
		row.Status = "cancelled"
	}
	t, err := f.Task(&row, TaskMeta{ID: id, Updated: v.Now}, p)
	if err != nil {
		return nil, err
	}
	t.Intent = "option"
	t.Meta, t.LastModified = nil, nil // nothing is held under this id
	t.Identifier, t.GroupIdentifier = nil, nil
	if t.ExecutionPeriod == nil && !i.Entry.On.IsZero() {
		t.ExecutionPeriod = &r4.Period{End: new(i.Entry.On.String())}
	}
	if i.Entry.Reason != "" {
		t.StatusReason = &r4.CodeableConcept{Text: new(i.Entry.Reason)}
	}
	return t, nil
}

// actionFor is the item within the RequestGroup.
func actionFor(i *readiness.Item, t *fhir.Task, p *Protocol) r4.RequestGroupAction {
	a := r4.RequestGroupAction{
		Id: t.Id, Title: optional(i.Step.Title), Description: optional(i.Step.Summary),
		TextEquivalent: optional(p.Why(i)), Priority: t.Priority, Code: []r4.CodeableConcept{*t.Code},
		RequiredBehavior: required(i.Step.Need), Resource: reference("#" + *t.Id),
	}
	if t.Restriction != nil {
		a.TimingPeriod = t.Restriction.Period
	}
	if i.Applies != readiness.Unknown {
		return a
	}
	if c := i.Step.Condition; c != nil {
		a.Condition = []r4.RequestGroupActionCondition{{
			Kind:       r4.ActionConditionKindApplicability,
			Expression: &r4.Expression{Language: "text/cel", Expression: optional(c.Text), Description: optional(c.Words)},
		}}
	}
	for _, need := range i.Needs {
		a.Extension = append(a.Extension, stringExtension("unknown-because", need))
	}
	return a
}

func required(n readiness.Need) *r4.ActionRequiredBehavior {
	out := r4.ActionRequiredBehaviorMust
	switch n {
	case readiness.Should:
		out = r4.ActionRequiredBehaviorMustUnlessDocumented
	case readiness.Could:
		out = r4.ActionRequiredBehaviorCould
	}
	return &out
}

package casework

import (
	"context"
	"encoding/json"
	"errors"
	"net/url"
	"strings"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// answersTaken is the system of the identifier of answers that are written down at
// the desk: one for each form that was opened, so that a form sent twice is
// recorded once.
const answersTaken = translate.Base + "/answers-at-the-desk"

// AnswerForm is a questionnaire to be asked aloud for an item.
type AnswerForm struct {
	TaskID, CaseID string
	Version        int64  // of the item
	Item           string // its title
	Title          string // of the questionnaire
	Person         Person
	Closes         bool   // complete answers close the item
	Settled        string // what the item is by now, where it waits no more; empty: it waits
	Questions      []translate.FormQuestion
}

// WrittenDown is what a person wrote down of somebody's answers.
type WrittenDown struct {
	TaskID  string
	Version int64  // of the item, that the person saw
	By      string // name of the person at the desk
	Form    string // what tells this filling in from others
	Given   map[string]translate.Given
	Source  string // that the archive names
}

// Give adds what was written down for one question.
func (a *WrittenDown) Give(linkID string, values []string, unit string) {
	if a.Given == nil {
		a.Given = map[string]translate.Given{}
	}
	a.Given[linkID] = translate.Given{Values: values, Unit: unit}
}

// Unfinished says that answers cannot be recorded as they stand. Nothing was
// stored.
type Unfinished struct {
	Slips []translate.Slip
	// Advice is what the person must be told at once by what they have answered so
	// far; empty: nothing yet.
	Advice string
}

func (u *Unfinished) Error() string { return "the answers are not complete" }

// Overtaken says that the item was settled while the answers were asked for.
// Nothing was stored.
type Overtaken struct{ Says string }

func (o *Overtaken) Error() string { return "the item was settled in the meantime" }

// AnswerForm reads what is to be asked for an item. The error is a *Refusal with
// ErrNotFound when there is no such item, or its step has no questionnaire of ours.
func (o *Office) AnswerForm(ctx context.Context, taskID string) (*AnswerForm, error) {
	var out *AnswerForm
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		var err error
		_, out, err = o.answerForm(tx, taskID)
		return err
	})
	if errors.Is(err, store.ErrNotFound) {
		return nil, notFound("Task")
	}
	return out, err
}

func (o *Office) answerForm(tx *store.Tx, taskID string) (*translate.Questionnaire, *AnswerForm, error) {
	item, err := tx.Item(taskID)
	if err != nil {
		return nil, nil, err
	}
	v, err := o.itemView(tx, item)
	if err != nil {
		return nil, nil, err
	}
	form, err := o.formOf(tx, item)
	if err != nil {
		return nil, nil, err
	}
	if form.Questionnaire == nil {
		return nil, nil, Refuse(ErrNotFound, fhir.CodeNotSupported, "Task", "no questions are asked for this item")
	}
	out := &AnswerForm{
		TaskID: taskID, CaseID: item.CaseID, Version: item.Version, Item: v.Step.Title, Title: form.Title, Closes: form.Closes,
		Settled: settledWords(&v), Questions: form.Form(),
	}
	out.Person, err = o.who(tx, item.Patient)
	return form.Questionnaire, out, err
}

// formOf is the questionnaire of an item's step, as it is read today.
func (o *Office) formOf(tx *store.Tx, item store.Item) (translate.StepForm, error) {
	p, err := o.protocolOf(tx, item.Protocol)
	if err != nil {
		return translate.StepForm{}, err
	}
	now, err := o.inForce(tx)
	form := p.FormOf(item.Step)
	if err == nil && form.Questionnaire != nil {
		if newer := now.Questionnaires()[form.URL]; newer != nil {
			form.Questionnaire = newer
		}
	}
	return form, err
}

// settledWords say what became of an item that waits no more, and who said so.
func settledWords(v *ItemView) string {
	if v.State.Waiting() || v.Status != "completed" && v.Status != "cancelled" {
		return ""
	}
	out := "“" + v.Step.Title + "” is settled: " + strings.ReplaceAll(string(v.State), "-", " ")
	switch {
	case v.Record != "":
		out += ", shown by " + v.Record
	case len(v.Notes) > 0:
		out += ", recorded by " + v.Notes[len(v.Notes)-1].By
	}
	return out + "."
}

// RecordAnswers makes a QuestionnaireResponse of what was written down and takes it
// in as one that was received: the same checks, and the same follows. It returns
// the id of the response. The error is *Unfinished or *Overtaken where nothing was
// stored and the person must look again.
func (o *Office) RecordAnswers(ctx context.Context, a WrittenDown) (string, error) {
	if strings.TrimSpace(a.By) == "" {
		return "", ErrNameless
	}
	var body []byte
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		form, shown, err := o.answerForm(tx, a.TaskID)
		if err != nil {
			return err
		}
		again, err := tx.ByIdentifier("QuestionnaireResponse", answersTaken, a.number())
		if err != nil {
			return err
		}
		if shown.Settled != "" && shown.Version != a.Version && len(again) == 0 {
			return &Overtaken{Says: shown.Settled}
		}
		body, err = o.responseOf(form, shown.Person.Ref, a, tx)
		return err
	})
	if errors.Is(err, store.ErrNotFound) {
		return "", notFound("Task")
	}
	if err != nil {
		return "", err
	}
	r, issues := fhir.Parse(body, len(body)+1)
	if len(issues) > 0 {
		return "", &Refusal{Err: ErrInvalid, Issues: issues}
	}
	out, err := o.Receive(ctx, Delivery{
		Source: a.Source, ContentType: "application/fhir+json", Method: "POST", Target: "QuestionnaireResponse", Body: body,
		Requests: []Request{{
			Method: "POST", Type: "QuestionnaireResponse", Resource: r,
			IfNoneExist: url.Values{"identifier": {answersTaken + "|" + a.number()}}.Encode(),
		}},
	})
	if err != nil {
		return "", err
	}
	return out[0].Stored.ID, nil
}

// number tells this filling in from all others.
func (a *WrittenDown) number() string { return a.TaskID + "." + a.Form }

// responseOf is the response as it is sent on.
func (o *Office) responseOf(form *translate.Questionnaire, patient string, a WrittenDown, tx *store.Tx) ([]byte, error) {
	heard := translate.Heard{
		Patient: patient, By: a.By, At: tx.Now.In(o.facility.Calendar.Zone()), System: answersTaken, Number: a.number(), Finished: true,
	}
	r, slips := form.Fill(a.Given, heard)
	if len(slips) == 0 {
		return json.Marshal(r)
	}
	unfinished := &Unfinished{Slips: slips}
	heard.Finished = false
	r, _ = form.Fill(a.Given, heard)
	body, err := json.Marshal(r)
	if err != nil {
		return nil, err
	}
	if so, issues := fhir.Parse(body, len(body)+1); len(issues) == 0 {
		if sorted, urgent := form.Sort(so, tx.Now, o.facility.Calendar); urgent {
			unfinished.Advice = sorted.Advice
		}
	}
	return nil, unfinished
}

// unasked refuses to close an item without the answers that show that it was done.
func (o *Office) unasked(tx *store.Tx, a *Act, item store.Item) error {
	if a.Does != ActDone {
		return nil
	}
	form, err := o.formOf(tx, item)
	if err != nil || !form.Closes {
		return err
	}
	return Refuse(ErrInvalid, fhir.CodeRequired, "Task", "this is done by asking its questions: record the answers, so that a yes is not lost")
}

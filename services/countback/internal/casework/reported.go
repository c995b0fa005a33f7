package casework

import (
	"context"
	"errors"
	"strings"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// priorityAtOnce is the priority of a step that cannot wait for another.
const priorityAtOnce = "stat"

const answersOf = "QuestionnaireResponse/"

// Pressing reports whether the item is about a person who must be called now.
func (v *ItemView) Pressing() bool { return atOnce(v.Step) && v.State.Waiting() }

func atOnce(s *readiness.Step) bool { return s.Trigger != "" && s.Priority == priorityAtOnce }

// Decides reports whether the item answers a person's report, or asks a prescriber
// what becomes of a medicine, so that it is done only with what was decided.
func (v *ItemView) Decides() bool {
	return v.Step.AsksPrescriber() || v.Report != "" && answersReport(v.Step)
}

func answersReport(s *readiness.Step) bool {
	return s.Trigger != "" && s.Trigger != readiness.TriggerHold && s.Trigger != readiness.TriggerMove && s.Trigger != readiness.TriggerLateSigned && !s.SignsLastDose()
}

// reportOf is the id of the answers that an item was raised for; empty: none.
func reportOf(row *translate.Row) string {
	id, ours := strings.CutPrefix(row.About, answersOf)
	id, _, _ = strings.Cut(id, "/")
	if !ours {
		return ""
	}
	return id
}

// undecided refuses to close a report that nothing is said about.
func (o *Office) undecided(tx *store.Tx, a *Act, item store.Item) error {
	if a.Does != ActDone || a.Text+a.Reason != "" && a.Owner != "" {
		return nil
	}
	v, err := o.itemView(tx, item)
	if err != nil || !v.Decides() {
		return err
	}
	if v.Step.AsksPrescriber() {
		return Refuse(ErrInvalid, fhir.CodeRequired, "Task.statusReason.text", "this asks what the prescriber decides: write what was decided, and who decided it")
	}
	return Refuse(ErrInvalid, fhir.CodeRequired, "Task.note", "this answers a person's report: write what was decided, and who decided it")
}

// pressingWords say of items why somebody must be called now.
func pressingWords(items []ItemView) (out []string) {
	for n := range items {
		if i := &items[n]; i.Pressing() {
			words := i.Step.Title + "."
			if i.Raised != nil && i.Raised.Why != "" {
				words = i.Step.Title + ": " + i.Raised.Why
			}
			if !i.Due.IsZero() {
				words = strings.TrimSuffix(words, ".") + "; due " + i.Due.Words() + "."
			}
			out = append(out, words)
		}
	}
	return out
}

// Named says what an item is and whom it is about, for a page that answers what
// was done with it. Both are empty when there is no such item.
func (o *Office) Named(ctx context.Context, taskID string) (title, person string, err error) {
	err = o.db.Read(ctx, func(tx *store.Tx) error {
		item, err := tx.Item(taskID)
		if errors.Is(err, store.ErrNotFound) {
			return nil
		}
		if err != nil {
			return err
		}
		v, err := o.itemView(tx, item)
		if err != nil {
			return err
		}
		p, err := o.who(tx, item.Patient)
		title, person = v.Step.Title, p.Name
		return err
	})
	return title, person, err
}

// Answered is what a person answered to a questionnaire, to be read.
type Answered struct {
	Person   Person
	Authored string // as the response says; empty: it does not
	By       string // who wrote them down for the person; empty: nobody is named
	Followed Followed
	Lines    []AnsweredLine
}

// AnsweredLine is a question with its answers, or the heading of a group.
type AnsweredLine struct {
	Question string
	Answers  []string
	Heading  bool
}

// Answered reads the answers that a response gives. The error is a *Refusal
// with ErrNotFound or ErrGone when there is none.
func (o *Office) Answered(ctx context.Context, id string) (*Answered, error) {
	var out *Answered
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		s, err := tx.Current("QuestionnaireResponse", id)
		if err != nil {
			return err
		}
		if s.Deleted {
			return Refuse(ErrGone, "deleted", "QuestionnaireResponse", "these answers were deleted")
		}
		r, issues := fhir.Parse(s.Body, len(s.Body)+1)
		if len(issues) > 0 {
			return issues
		}
		p, err := o.inForce(tx)
		if err != nil {
			return err
		}
		out = &Answered{Authored: r.String("authored"), By: authorOf(r)}
		out.read(p.Questionnaires().Of(r), r.Get("item"))
		follows, err := o.followed(tx, s, r)
		if err != nil {
			return err
		}
		out.Followed = *follows
		out.Person, err = o.who(tx, s.Patient)
		return err
	})
	if errors.Is(err, store.ErrNotFound) {
		return nil, notFound("QuestionnaireResponse")
	}
	return out, err
}

// read takes the answers in their order, with all that stands below them.
func (a *Answered) read(form *translate.Questionnaire, list *fhir.Node) {
	for _, item := range list.Items() {
		line := AnsweredLine{Question: item.String("text")}
		for _, other := range []string{form.Text(item.String("linkId")), item.String("linkId")} {
			if line.Question == "" {
				line.Question = other
			}
		}
		for _, answer := range item.Get("answer").Items() {
			if words := translate.AnswerWords(answer); words != "" {
				line.Answers = append(line.Answers, words)
			}
		}
		line.Heading = len(line.Answers) == 0 && item.Get("item").Len() > 0
		a.Lines = append(a.Lines, line)
		a.read(form, item.Get("item"))
		for _, answer := range item.Get("answer").Items() {
			a.read(form, answer.Get("item"))
		}
	}
}

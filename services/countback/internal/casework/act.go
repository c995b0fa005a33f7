package casework

import (
	"context"
	"encoding/json"
	"errors"
	"strings"
	"time"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// What a person may do with an item.
const (
	ActDone      = "done"
	ActWaive     = "waive"
	ActApplies   = "applies"
	ActNotNeeded = "not-needed"
	ActFailed    = "failed"
	ActReopen    = "reopen"
	ActNote      = "note"
	ActAssign    = "assign"
	ActTried     = "tried" // nobody was reached: a note with the time, and nothing else
	ActSign      = "sign"
	ActHappened  = "happened"  // what became of an operation whose day has passed
	ActAgree     = "agree"     // a second person, with what was signed
	ActDisagree  = "not-agree" // the signature is asked for again
)

// Act is what a person does with one item, in words instead of a whole Task.
type Act struct {
	TaskID  string
	Version int64  // that the person saw; 0: whatever stands
	Does    string // one of the Act constants
	By      string // name of the person who does it
	On      string // the day it was done, 2006-01-02; empty: today
	Reason  string // why it is waived, not needed, failed, reopened or released
	Owner   string // name of who takes it on, or answers for it
	Text    string // of a note
	Signs   string // of a signature for a medicine: one of the Sign constants
	Dose    string // the day of the last dose that is signed, where it is another one, 2006-01-02
	DoseAt  string // its hour by the facility's clock, 15:04; empty: any
	// DoseWords is the other dose that is signed, in the prescriber's own words for
	// the person.
	DoseWords string
	Came      string // the day on which the person came, 2006-01-02
	CameAt    string // its hour by the facility's clock, 15:04; empty: not known
	Home      string // the day on which they went home
	HomeAt    string // its hour
	NotDone   bool   // the operation did not take place
	Means     string // reference to the record that is meant of those that are asked about, or translate.MeantNone
	Meant     bool   // a last dose later than the rules give is meant; else it is a *LateDose
	Source    string // that the archive names

	at    time.Time // when
	meant string    // Means in words
	asks  bool      // it is about a request for another day
}

// ErrNameless says that a person did not say who they are.
var ErrNameless = errors.New("nobody is named")

// Act writes what the person does on the item's Task and records that through
// Work, as a client of the FHIR API would: the same rules judge it, and the same
// events follow. Who did it stands in a note of the Task.
func (o *Office) Act(ctx context.Context, a Act) (Result, error) {
	if strings.TrimSpace(a.By) == "" {
		return Result{}, ErrNameless
	}
	var s store.Stored
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		item, err := tx.Item(a.TaskID)
		if err != nil {
			return err
		}
		a.at = tx.Now
		if err := o.worded(tx, &a, item); err != nil {
			return err
		}
		if err := o.undecided(tx, &a, item); err != nil {
			return err
		}
		if err := o.unasked(tx, &a, item); err != nil {
			return err
		}
		s, err = o.rendered(tx, item)
		return err
	})
	if errors.Is(err, store.ErrNotFound) {
		return Result{}, notFound("Task")
	}
	if err != nil {
		return Result{}, err
	}
	if a.Version != 0 && a.Version != s.Version {
		return Result{}, Refuse(ErrVersion, "conflict", "Task", "somebody changed this item in the meantime: look at it again")
	}
	body, err := o.acted(a, s.Body)
	if err != nil {
		return Result{}, err
	}
	r, issues := fhir.Parse(body, len(body)+1)
	if len(issues) > 0 {
		return Result{}, &Refusal{Err: ErrInvalid, Issues: issues}
	}
	return o.Work(ctx, TaskWork{
		ID: a.TaskID, IfMatch: etag(s.Version), Source: a.Source, ContentType: "application/fhir+json", Body: body, Resource: r, Ask: !a.Meant,
	})
}

type deed struct{ status, code, said string }

// deeds say what each act writes: the status, the code of the reason, and what
// the note says was done. An empty status stays as it is.
var deeds = map[string]deed{
	ActDone:      {"completed", "", "Done."},
	ActWaive:     {"cancelled", translate.ReasonWaived, "Waived."},
	ActNotNeeded: {"cancelled", translate.ReasonNotNeeded, "Does not apply."},
	ActFailed:    {"failed", "", "Could not be done."},
	ActApplies:   {"requested", "", "It does apply."},
	ActReopen:    {"requested", "", "Asked for again."},
	ActNote:      {},
	ActAssign:    {"", "", "Taken on."},
	ActTried:     {"", "", "Tried, not reached."},
	ActSign:      {"completed", "", ""},
	ActHappened:  {"completed", "", ""},
	ActAgree:     {"completed", "", "Looked at, and agreed."},
	ActDisagree:  {"completed", "", "Looked at, and not agreed."},
}

// worded looks up what the note says beside what was done.
func (o *Office) worded(tx *store.Tx, a *Act, item store.Item) error {
	p, err := o.protocolOf(tx, item.Protocol)
	if err != nil {
		return err
	}
	if s := p.Step(item.Step); s != nil {
		a.asks = s.Trigger == readiness.TriggerMove
		a.answers(s)
	}
	if a.Means == "" || a.Means == translate.MeantNone {
		return nil
	}
	named, err := o.choices(tx, p, []string{a.Means})
	if err == nil {
		a.meant = named[0].Name
	}
	return err
}

// MeansNone is Act.Means where none of the records is meant.
const MeansNone = translate.MeantNone

// Does reports whether something is one of the Act constants.
func Does(act string) bool { return deeds[act] != (deed{}) || act == ActNote }

// acted is the Task with what the person wrote.
func (o *Office) acted(a Act, task []byte) ([]byte, error) {
	done, ok := deeds[a.Does]
	if !ok {
		return nil, Refuse(ErrMalformed, fhir.CodeValue, "", "this is nothing that can be done with an item")
	}
	t := map[string]json.RawMessage{}
	if err := json.Unmarshal(task, &t); err != nil {
		return nil, err
	}
	changes := map[string]any{}
	if done.status != "" {
		changes["status"] = done.status
		delete(t, "statusReason")
	}
	if a.Does == ActSign {
		if err := o.signs(t, &a); err != nil {
			return nil, err
		}
	}
	if a.Does == ActHappened {
		if err := o.tells(t, &a); err != nil {
			return nil, err
		}
	}
	if a.Does == ActDone {
		if err := means(t, &a); err != nil {
			return nil, err
		}
	}
	if a.Does == ActAgree || a.Does == ActDisagree {
		if err := agrees(t, a.Does == ActAgree); err != nil {
			return nil, err
		}
	}
	if done.status == "completed" {
		delete(t, "executionPeriod")
		if a.On != "" {
			changes["executionPeriod"] = map[string]string{"end": a.On}
		}
	}
	reason := map[string]any{}
	if a.Reason != "" {
		reason["text"] = a.Reason
	}
	if done.code != "" {
		reason["coding"] = []any{map[string]string{"system": translate.SystemReason, "code": done.code}}
	}
	if len(reason) > 0 {
		changes["statusReason"] = reason
	}
	if a.Owner != "" {
		changes["owner"] = map[string]string{"display": a.Owner}
	}
	for name, value := range changes {
		raw, err := json.Marshal(value)
		if err != nil {
			return nil, err
		}
		t[name] = raw
	}
	if err := o.noted(t, a, a.said(done.said)); err != nil {
		return nil, err
	}
	return json.Marshal(t)
}

// noted adds who did it, in a note.
func (o *Office) noted(t map[string]json.RawMessage, a Act, said string) error {
	var notes []json.RawMessage
	if raw := t["note"]; raw != nil {
		if err := json.Unmarshal(raw, &notes); err != nil {
			return err
		}
	}
	for _, more := range []string{a.Owner, a.Reason, a.Text} {
		if more != "" {
			said = strings.TrimSpace(said + " " + strings.TrimSuffix(more, ".") + ".")
		}
	}
	raw, err := json.Marshal(map[string]string{
		"authorString": a.By, "time": a.at.In(o.facility.Calendar.Zone()).Format(time.RFC3339), "text": said,
	})
	if err != nil {
		return err
	}
	t["note"], err = json.Marshal(append(notes, raw))
	return err
}

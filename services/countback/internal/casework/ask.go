package casework

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// MoveAsk is a person's request that whoever books moves an operation. It moves
// nothing: the plan follows the booking when that comes with the day.
type MoveAsk struct {
	CaseID string
	Day    string // that is asked for, 2006-01-02
	Seen   string // the day that stood when the person looked; "": there was none
	By     string // name of who asks
	Reason string
	Source string // that the archive names
}

// asked is a request on its way into the plan of its case.
type asked struct {
	caseID string
	translate.AskRow
}

func (a *asked) of(caseID string) bool { return a != nil && a.caseID == caseID }

// AskMove records the request as a Task of the case for whoever books, with its
// event, and gives that Task. The error is a *Refusal where the day cannot be
// asked for, or is asked for already, and ErrNameless where nobody is named.
func (o *Office) AskMove(ctx context.Context, a MoveAsk) (store.Stored, error) {
	a.By, a.Reason = strings.TrimSpace(a.By), strings.TrimSpace(a.Reason)
	if a.By == "" {
		return store.Stored{}, ErrNameless
	}
	if a.Reason == "" {
		return store.Stored{}, Refuse(ErrInvalid, "required", "", "say why another day is asked for")
	}
	var out store.Stored
	err := o.db.Write(ctx, func(tx *store.Tx) error {
		row, patient, err := o.askable(tx, a)
		if err != nil {
			return err
		}
		if err := archiveAsk(tx, a); err != nil {
			return err
		}
		if err := o.replan(tx, patient, cause{ask: &asked{a.CaseID, row}}); err != nil {
			return err
		}
		items, err := tx.Items(a.CaseID)
		if err != nil {
			return err
		}
		for _, it := range items {
			if it.Repeat == row.Key() {
				out, err = o.rendered(tx, it)
			}
		}
		return err
	})
	if errors.Is(err, store.ErrNotFound) {
		return out, notFound("CarePlan")
	}
	return out, err
}

// askable judges the request and gives what is kept of it.
func (o *Office) askable(tx *store.Tx, a MoveAsk) (row translate.AskRow, patient string, err error) {
	p, err := o.inForce(tx)
	if err != nil {
		return row, "", err
	}
	if !slices.ContainsFunc(p.Steps, func(s readiness.Step) bool { return s.Trigger == readiness.TriggerMove }) {
		return row, "", Refuse(ErrInvalid, "business-rule", "", "the protocol in force has no step by which another day is asked for")
	}
	if c, err := tx.Case(a.CaseID); err == nil {
		if err := o.wake(tx, c.Patient); err != nil {
			return row, "", err
		}
	}
	v, err := o.view(tx, a.CaseID)
	if err != nil {
		return row, "", err
	}
	w, err := o.whatIf(tx, v, a.Day)
	if err != nil {
		return row, "", err
	}
	switch booked, open := v.Surgery.Day, v.Asked(); {
	case booked.String() != a.Seen:
		return row, "", Refuse(ErrConflict, "conflict", "", "the booking moved in the meantime: look again at what would change")
	case booked == w.Day.Day:
		return row, "", Refuse(ErrInvalid, "business-rule", "", "the booking says that day already")
	case open != nil:
		return row, "", Refuse(ErrConflict, "conflict", "", fmt.Sprintf("%s is asked for already: take that back first", open.Raised.Day.Format("Mon 2 Jan 2006")))
	}
	c, err := tx.Case(a.CaseID)
	if err != nil {
		return row, "", err
	}
	var d caseData
	if err := json.Unmarshal(c.Data, &d); err != nil {
		return row, "", err
	}
	on, err := standingVersion(tx, c.Key)
	row = translate.AskRow{
		N: len(d.Asks) + 1, On: on, Day: w.Day.Day.String(), Instead: d.Day, At: tx.Now, By: a.By, Reason: a.Reason,
		Against: strings.TrimSpace(strings.Join(append(w.Cannot, w.Closed), " ")),
	}
	return row, c.Patient, err
}

// Asked is the request for another day that waits for the booking; nil: none.
func (v *CaseView) Asked() *ItemView {
	for n := range v.Items {
		if v.Items[n].asked() {
			return &v.Items[n]
		}
	}
	return nil
}

// asked reports whether the item is a request for another day that waits.
func (v *ItemView) asked() bool {
	return v.Step.Trigger == readiness.TriggerMove && v.State.Waiting() && v.Raised != nil && !v.Raised.Day.IsZero()
}

// standingVersion names the version of a resource that stands.
func standingVersion(tx *store.Tx, ref string) (string, error) {
	typ, id, _ := strings.Cut(ref, "/")
	s, err := tx.Current(typ, id)
	return ref + "/_history/" + strconv.FormatInt(s.Version, 10), err
}

// archiveAsk keeps what was asked as it came, in the form that FHIR has for it.
func archiveAsk(tx *store.Tx, a MoveAsk) error {
	type parameter map[string]string
	body, err := json.Marshal(map[string]any{"resourceType": "Parameters", "parameter": []parameter{
		{"name": "surgery", "valueDate": a.Day}, {"name": "reason", "valueString": a.Reason}, {"name": "by", "valueString": a.By},
	}})
	if err != nil {
		return err
	}
	_, err = tx.Archive(store.Received{
		At: tx.Now, Source: a.Source, ContentType: "application/fhir+json", Method: "POST", Target: "CarePlan/" + a.CaseID, Body: body,
	})
	return err
}

// ask brings the requests for another day into the case: one whose day the
// booking has is met by the version of it that stands, and stays so.
func (w *writing) ask(begun bool) {
	w.asks = slices.Clone(w.before.Asks)
	if w.why.ask.of(w.c.ID) {
		w.asks = append(w.asks, w.why.ask.AskRow)
	}
	c, f := &w.b.Case, w.office.facility
	for n := range w.asks {
		a := &w.asks[n]
		if version := w.bookingVersion(); a.Met == "" && a.Day == c.Day.String() && version != "" && !w.closed(a.Key()) {
			a.Met, a.MetOn = version, f.Today(w.tx.Now).String()
		}
		c.Raise(a.Ask(f), w.protocol.Protocol, begun)
	}
}

// bookingVersion names the version of what stands for the booking; empty where
// that is not this person's any more.
func (w *writing) bookingVersion() string {
	for _, r := range w.records {
		if v := r.String("meta", "versionId"); r.Ref() == w.b.Primary && v != "" {
			return r.Ref() + "/_history/" + v
		}
	}
	return ""
}

// closed reports whether a person declined the request or took it back.
func (w *writing) closed(key string) bool {
	for k, row := range w.rows {
		if k.Repeat == key && row.Work != nil && (row.Work.Outcome == readiness.Failed || row.Work.Outcome == readiness.Waived) {
			return true
		}
	}
	return false
}

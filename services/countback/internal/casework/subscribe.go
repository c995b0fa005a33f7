package casework

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/search"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/subscription"
)

// subscriptionType is the type of a Subscription.
const subscriptionType = "Subscription"

// maxSubscriptions is how many Subscriptions may be held, so that nobody can make
// the service write to the whole world.
const maxSubscriptions = 100

// Subscribing is what a client wants of a Subscription.
type Subscribing struct {
	Method                      string // POST, PUT, PATCH or DELETE
	ID, IfMatch                 string // ID empty for POST
	Source, ContentType, Target string
	Body                        []byte // as sent
	Resource                    *fhir.Resource
	Patch                       fhir.Amendment
}

// Subscribe makes, changes or deletes a Subscription. A client asks for requested
// or off: after requested, the receiver must answer a handshake before it is told
// of anything. The numbers of its events go on from one change to the next.
//
// What it does not take is a *Refusal with the element named.
func (o *Office) Subscribe(ctx context.Context, s Subscribing) (Result, error) {
	var out Result
	err := o.db.Write(ctx, func(tx *store.Tx) error {
		w := subscribing{office: o, tx: tx, Subscribing: s}
		var err error
		out, err = w.run()
		return err
	})
	if err != nil {
		return Result{}, err
	}
	o.wakeNotifier()
	return out, nil
}

// wakeNotifier says that there is something new to be sent.
func (o *Office) wakeNotifier() {
	select {
	case o.subscribed <- struct{}{}:
	default:
	}
}

// Subscribed is signalled after a Subscription was made or changed.
func (o *Office) Subscribed() <-chan struct{} { return o.subscribed }

// subscribing is one such wish within its transaction.
type subscribing struct {
	office *Office
	tx     *store.Tx
	Subscribing
	cur store.Stored // Version 0: none yet
}

func (w *subscribing) run() (Result, error) {
	if err := w.find(); err != nil {
		return Result{}, err
	}
	received, err := w.tx.Archive(store.Received{
		At: w.tx.Now, Source: w.Source, ContentType: w.ContentType, Method: w.Method, Target: w.Target, Body: w.Body,
	})
	if err != nil {
		return Result{}, err
	}
	if w.Method == "DELETE" {
		return w.erase(received)
	}
	if w.Patch != nil {
		held, err := w.office.parsed.get(w.cur)
		if err != nil {
			return Result{}, err
		}
		if w.Resource, err = patchedOf(w.Patch, held, subscriptionType); err != nil {
			return Result{}, err
		}
	}
	wanted, err := w.understood()
	if err != nil {
		return Result{}, err
	}
	return w.save(wanted, received)
}

// find reads the Subscription that is meant, and obeys If-Match.
func (w *subscribing) find() error {
	if w.Method == "POST" {
		w.ID = w.tx.NewID()
	} else if w.Resource != nil && w.Resource.ID() != w.ID {
		return Refuse(ErrMalformed, "invariant", "Subscription.id", "Subscription.id must be the id that the address names")
	}
	cur, err := w.tx.Current(subscriptionType, w.ID)
	switch {
	case errors.Is(err, store.ErrNotFound):
		cur = store.Stored{Type: subscriptionType, ID: w.ID}
	case err != nil:
		return err
	}
	w.cur = cur
	if w.IfMatch != "" && (cur.Version == 0 || strings.TrimSpace(w.IfMatch) != etag(cur.Version)) {
		return Refuse(ErrVersion, "conflict", subscriptionType, "the Subscription has changed since the version named in If-Match: read it again")
	}
	switch {
	case w.Patch != nil && cur.Version == 0:
		return notFound(subscriptionType)
	case w.Patch != nil && cur.Deleted:
		return Refuse(ErrGone, "deleted", subscriptionType, "this Subscription was deleted")
	}
	return nil
}

func (w *subscribing) erase(received int64) (Result, error) {
	if w.cur.Version == 0 || w.cur.Deleted {
		return Result{Stored: w.cur, Deleted: true}, nil
	}
	next := store.Stored{
		Type: subscriptionType, ID: w.ID, Version: w.cur.Version + 1, Updated: w.tx.Now, Deleted: true, ReceivedID: received,
	}
	if err := w.tx.Save(next, nil); err != nil {
		return Result{}, err
	}
	return Result{Stored: next, Changed: true, Deleted: true}, w.tx.DropDelivery(w.ID)
}

// understood reads what is wanted, or refuses it with all that is wrong.
func (w *subscribing) understood() (*subscription.Subscription, error) {
	s, issues := subscription.Read(w.Resource, w.office.facility.Base, w.office.receivers.Policy)
	status := w.Resource.String("status")
	if status != subscription.Requested && status != subscription.Off {
		issues = append(issues, fhir.Issue{
			Severity: fhir.SeverityError, Code: fhir.CodeBusinessRule, Expression: "Subscription.status",
			Text: "a client asks for requested or off: active and error are set by the service, by how the receiver answers",
		})
	}
	if s != nil && status == subscription.Requested && !s.End.IsZero() && !s.End.After(w.tx.Now) {
		issues = append(issues, fhir.Issue{
			Severity: fhir.SeverityError, Code: fhir.CodeBusinessRule, Expression: "Subscription.end",
			Text: "the end has come already",
		})
	}
	if len(issues) > 0 {
		return nil, &Refusal{Err: ErrInvalid, Issues: issues}
	}
	return s, nil
}

func (w *subscribing) save(wanted *subscription.Subscription, received int64) (Result, error) {
	d, err := w.tx.DeliveryOf(w.ID)
	fresh := errors.Is(err, store.ErrNotFound)
	if fresh {
		if d, err = w.begin(); err != nil {
			return Result{}, err
		}
	}
	if err != nil {
		return Result{}, err
	}
	res, err := withStatus(w.Resource, wanted.Status, "")
	if err != nil {
		return Result{}, err
	}
	out := Result{Stored: w.cur, Created: w.cur.Version == 0 || w.cur.Deleted}
	if out.Created || string(w.office.written(res, w.cur)) != string(w.cur.Body) {
		if out.Stored, err = w.office.putSubscription(w.tx, res, w.cur, received); err != nil {
			return Result{}, err
		}
		out.Changed = true
	}
	d.Status, d.EndsAt, d.Heartbeat = wanted.Status, wanted.End, int64(wanted.Heartbeat/time.Second)
	d.Greet = wanted.Status == subscription.Requested
	d.Failures, d.FailingSince, d.NotBefore = 0, time.Time{}, time.Time{}
	return out, w.tx.PutDelivery(d)
}

// begin is where a new Subscription stands: it asks for what happens from now on.
func (w *subscribing) begin() (store.Delivery, error) {
	all, err := w.tx.Deliveries()
	if err != nil {
		return store.Delivery{}, err
	}
	if len(all) >= maxSubscriptions {
		return store.Delivery{}, Refuse(ErrConflict, "too-costly", subscriptionType,
			fmt.Sprintf("there are %d Subscriptions already, which is the most that are held: delete one that is not used", maxSubscriptions))
	}
	last, err := w.tx.LastOutbox()
	return store.Delivery{ID: w.ID, NumberedTo: last}, err
}

// written is a Subscription as a version of it is stored.
func (o *Office) written(r *fhir.Resource, v store.Stored) []byte {
	return r.WithMeta(v.ID, strconv.FormatInt(v.Version, 10), v.Updated.In(o.facility.Calendar.Zone()))
}

// putSubscription stores the next version of a Subscription.
func (o *Office) putSubscription(tx *store.Tx, r *fhir.Resource, cur store.Stored, received int64) (store.Stored, error) {
	next := store.Stored{Type: subscriptionType, ID: cur.ID, Version: cur.Version + 1, Updated: tx.Now, ReceivedID: received}
	next.Body = o.written(r, next)
	parsed, issues := fhir.Parse(next.Body, len(next.Body)+1)
	if len(issues) > 0 {
		return next, &Refusal{Err: ErrInvalid, Issues: issues}
	}
	return next, tx.Save(next, search.Index(parsed, o.facility.Base, o.facility.Calendar.Zone()))
}

// withStatus is a Subscription with another status, and why; empty for nothing.
func withStatus(r *fhir.Resource, status, why string) (*fhir.Resource, error) {
	ops := `[{"op":"add","path":"/status","value":` + strconv.Quote(status) + `}`
	switch {
	case why != "":
		ops += `,{"op":"add","path":"/error","value":` + strconv.Quote(why) + `}`
	case r.Get("error").Exists():
		ops += `,{"op":"remove","path":"/error"}`
	}
	p, issues := fhir.ParseJSONPatch([]byte(ops+"]"), 0)
	if len(issues) > 0 {
		return nil, issues
	}
	return patchedOf(p, r, subscriptionType)
}

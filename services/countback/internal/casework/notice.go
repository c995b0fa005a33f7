package casework

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"time"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/subscription"
)

// Notification is one thing that is to be sent to a receiver now.
type Notification struct {
	ID       string // of the Subscription
	Kind     string // see package subscription
	Endpoint string
	Type     string // of the body, as the receiver asked for it
	Headers  []subscription.Header
	Timeout  time.Duration
	Body     []byte

	version int64 // of the Subscription that it follows
	last    int64 // number of the last event in it; 0: none
}

// DueSubscriptions are the ids of the Subscriptions to which something may be
// sent now.
func (o *Office) DueSubscriptions(ctx context.Context) ([]string, error) {
	var out []string
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		all, err := tx.Deliveries()
		if err != nil {
			return err
		}
		for _, d := range all {
			if o.dueKind(d, tx.Now) != "" {
				out = append(out, d.ID)
			}
		}
		return nil
	})
	return out, err
}

// dueKind is what is to be sent now to a receiver; empty for nothing.
func (o *Office) dueKind(d store.Delivery, now time.Time) string {
	// What lies further ahead than any rest was written while the clock was wrong.
	rests := d.NotBefore.After(now) && d.NotBefore.Sub(now) <= o.receivers.RetryMax
	silent := now.Sub(d.SentAt)
	switch {
	case d.Status == subscription.Off || rests:
		return ""
	case d.Greet:
		return subscription.Handshake
	case d.Delivered < d.Events:
		return subscription.EventNotification
	case d.Heartbeat > 0 && (silent < 0 || silent >= time.Duration(d.Heartbeat)*time.Second):
		return subscription.Heartbeat
	}
	return ""
}

// NextNotification is what is to be sent to a receiver now; nil for nothing.
func (o *Office) NextNotification(ctx context.Context, id string) (*Notification, error) {
	var out *Notification
	var unreadable fhir.Issues
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		d, err := tx.DeliveryOf(id)
		if errors.Is(err, store.ErrNotFound) {
			return nil
		}
		if err != nil {
			return err
		}
		kind := o.dueKind(d, tx.Now)
		if kind == "" {
			return nil
		}
		out, err = o.notification(tx, d, kind)
		if errors.As(err, &unreadable) {
			return nil // it is switched off with the next event
		}
		return err
	})
	return out, err
}

// notification makes a notification of the kind.
func (o *Office) notification(tx *store.Tx, d store.Delivery, kind string) (*Notification, error) {
	s, cur, err := o.subscriptionOf(tx, d.ID)
	if err != nil {
		return nil, err
	}
	n := o.notice(tx, d, s, kind)
	out := &Notification{
		ID: d.ID, Kind: kind, Endpoint: s.Endpoint, Type: s.Payload, Headers: s.Headers, Timeout: s.Timeout, version: cur.Version,
	}
	if kind == subscription.EventNotification {
		if n.Events, err = newsOf(tx, d.ID, d.Delivered+1, d.Events, s.MaxCount); err != nil {
			return nil, err
		}
		out.last = d.Events // only a number that was left out
		if len(n.Events) > 0 {
			out.last = n.Events[len(n.Events)-1].Number
		}
		n.Total = out.last
	}
	out.Body, err = n.Bundle()
	return out, err
}

// notice is what is said of a Subscription in any notification.
func (o *Office) notice(tx *store.Tx, d store.Delivery, s *subscription.Subscription, kind string) subscription.Notice {
	return subscription.Notice{
		Base: o.facility.Base, ID: d.ID, Topic: s.Topic.URL, Status: d.Status, Kind: kind, Content: s.Content,
		Total: d.Events, At: tx.Now.In(o.facility.Calendar.Zone()),
	}
}

// newsOf reads events of a Subscription.
func newsOf(tx *store.Tx, id string, first, last int64, limit int) ([]subscription.Numbered, error) {
	rows, err := tx.SubscriptionEvents(id, first, last, limit)
	if err != nil {
		return nil, err
	}
	out := make([]subscription.Numbered, 0, len(rows))
	for _, r := range rows {
		one := subscription.Numbered{Number: r.Number, At: r.At}
		if err := json.Unmarshal(r.News, &one.News); err != nil {
			return nil, fmt.Errorf("event %d of a Subscription: %w", r.Number, err)
		}
		out = append(out, one)
	}
	return out, nil
}

// Outcome is what became of a Subscription by an attempt.
type Outcome struct {
	Status string // before and after; empty where it was deleted meanwhile
	Turned bool   // the status is another than before
	// Farewell is sent once, and not again: it says that nothing more will come.
	// Nil in any other case.
	Farewell *Notification
}

// Notified notes how an attempt went. why says what went wrong, in words that may
// be logged and read by anyone; empty when the receiver took it.
func (o *Office) Notified(ctx context.Context, n *Notification, why string) (Outcome, error) {
	var out Outcome
	err := o.db.Write(ctx, func(tx *store.Tx) error {
		out = Outcome{}
		d, err := tx.DeliveryOf(n.ID)
		if errors.Is(err, store.ErrNotFound) {
			return nil
		}
		if err != nil {
			return err
		}
		before := d.Status
		if err := o.notified(tx, &d, n, why, &out); err != nil {
			return err
		}
		out.Status, out.Turned = d.Status, d.Status != before
		return nil
	})
	return out, err
}

func (o *Office) notified(tx *store.Tx, d *store.Delivery, n *Notification, why string, out *Outcome) error {
	s, cur, err := o.subscriptionOf(tx, d.ID)
	if err != nil {
		return err
	}
	if why == "" && n.last > 0 {
		d.Delivered = max(d.Delivered, n.last) // what was taken was taken, whatever came between
	}
	if cur.Version != n.version || d.Status == subscription.Off {
		return tx.PutDelivery(*d) // somebody changed it meanwhile: nothing else follows from the answer
	}
	if why == "" {
		d.Failures, d.FailingSince, d.NotBefore, d.SentAt, d.Greet = 0, time.Time{}, time.Time{}, tx.Now, false
		return o.stand(tx, d, subscription.Active, "")
	}
	if d.Failures++; d.FailingSince.IsZero() || d.FailingSince.After(tx.Now) {
		d.FailingSince = tx.Now
	}
	d.NotBefore = tx.Now.Add(o.receivers.rest(d.Failures))
	since := fhir.FormatInstant(d.FailingSince.In(o.facility.Calendar.Zone()))
	switch {
	case tx.Now.Sub(d.FailingSince) >= o.receivers.OffAfter:
		text := fmt.Sprintf("switched off: nothing was taken since %s; last: %s. Ask for requested to go on where it stopped", since, why)
		if err := o.switchOff(tx, d, text); err != nil {
			return err
		}
		return o.farewell(tx, *d, s, text, n, out)
	case d.Greet || d.Failures >= failuresToError:
		return o.stand(tx, d, subscription.Failing, fmt.Sprintf("nothing was taken since %s: %s", since, why))
	}
	return tx.PutDelivery(*d)
}

// farewell is the last thing that is sent: a sign of life that says that there
// will be no more.
func (o *Office) farewell(tx *store.Tx, d store.Delivery, s *subscription.Subscription, text string, n *Notification, out *Outcome) error {
	last := o.notice(tx, d, s, subscription.Heartbeat)
	last.Error = text
	body, err := last.Bundle()
	again := *n
	again.Kind, again.Body, again.last = subscription.Heartbeat, body, 0
	out.Farewell = &again
	return err
}

// SubscriptionStatus answers $status: a searchset Bundle with how it stands with
// one Subscription, or with those of the ids and statuses; none of these: with
// all.
func (o *Office) SubscriptionStatus(ctx context.Context, id string, ids, statuses []string) ([]byte, error) {
	if err := o.NumberEvents(ctx); err != nil { // what was committed before the question counts
		return nil, err
	}
	var out []byte
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		var list []subscription.Notice
		all, err := tx.Deliveries()
		if err != nil {
			return err
		}
		for _, d := range all {
			wanted := (len(ids) == 0 || slices.Contains(ids, d.ID)) && (len(statuses) == 0 || slices.Contains(statuses, d.Status))
			if id != "" {
				wanted = d.ID == id
			}
			if !wanted {
				continue
			}
			n, err := o.statusOf(tx, d)
			if err != nil {
				return err
			}
			list = append(list, n)
		}
		if id != "" && len(list) == 0 {
			return o.missing(tx, id)
		}
		out, err = subscription.Statuses(tx.Now.In(o.facility.Calendar.Zone()), list)
		return err
	})
	return out, err
}

// statusOf is how it stands with a Subscription, also where it is not understood
// any more.
func (o *Office) statusOf(tx *store.Tx, d store.Delivery) (subscription.Notice, error) {
	s, cur, err := o.subscriptionOf(tx, d.ID)
	var unreadable fhir.Issues
	if err != nil && !errors.As(err, &unreadable) {
		return subscription.Notice{}, err
	}
	r, err := o.parsed.get(cur)
	if err != nil {
		return subscription.Notice{}, err
	}
	if s == nil {
		s = &subscription.Subscription{Topic: subscription.Topic{URL: r.String("criteria")}, Content: subscription.IDOnly}
	}
	n := o.notice(tx, d, s, subscription.QueryStatus)
	n.Error = r.String("error")
	return n, nil
}

// missing says why there is no such Subscription.
func (o *Office) missing(tx *store.Tx, id string) error {
	cur, err := tx.Current(subscriptionType, id)
	if err == nil && cur.Deleted {
		return Refuse(ErrGone, "deleted", subscriptionType, "this Subscription was deleted")
	}
	if err == nil || errors.Is(err, store.ErrNotFound) {
		return notFound(subscriptionType)
	}
	return err
}

// eventsLimit is how many events $events tells at once.
const eventsLimit = 1000

// SubscriptionEvents answers $events: a notification Bundle with the events of
// these numbers, the first of them where they are many. Zero for since and until
// means from the first that is held, and to the last.
func (o *Office) SubscriptionEvents(ctx context.Context, id string, since, until int64, content string) ([]byte, error) {
	if err := o.NumberEvents(ctx); err != nil { // what was committed before the question counts
		return nil, err
	}
	var out []byte
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		d, err := tx.DeliveryOf(id)
		if errors.Is(err, store.ErrNotFound) {
			return o.missing(tx, id)
		}
		if err != nil {
			return err
		}
		s, _, err := o.subscriptionOf(tx, id)
		if err != nil {
			return err
		}
		n := o.notice(tx, d, s, subscription.QueryEvent)
		if content == subscription.Empty {
			n.Content = content
		}
		if until == 0 {
			until = d.Events
		}
		if n.Events, err = newsOf(tx, id, since, until, eventsLimit); err != nil {
			return err
		}
		out, err = n.Bundle()
		return err
	})
	return out, err
}

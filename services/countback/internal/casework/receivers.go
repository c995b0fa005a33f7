package casework

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"time"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/event"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/subscription"
)

// Receivers say how those who subscribed are treated. Zero values take the
// defaults.
type Receivers struct {
	Policy   subscription.Policy
	OffAfter time.Duration  // a receiver that takes nothing for so long is switched off; default 24 h
	RetryMin time.Duration  // rest after a failure, doubled each time; default 1 s
	RetryMax time.Duration  // longest rest after a failure; default 15 min
	Jitter   func() float64 // from 0 to 1; default random
}

// keepDelivered is how long $events can tell of what was delivered.
const keepDelivered = 7 * 24 * time.Hour

// MostOffAfter bounds OffAfter: what happened meanwhile must still be held.
const MostOffAfter = 5 * 24 * time.Hour

// failuresToError is how many attempts in a row fail before the Subscription says so.
const failuresToError = 3

func (r Receivers) withDefaults() Receivers {
	orDefault := func(d *time.Duration, otherwise time.Duration) {
		if *d <= 0 {
			*d = otherwise
		}
	}
	orDefault(&r.OffAfter, 24*time.Hour)
	orDefault(&r.RetryMin, time.Second)
	orDefault(&r.RetryMax, 15*time.Minute)
	if r.Jitter == nil {
		r.Jitter = rand.Float64
	}
	return r
}

// rest is how long nothing is tried after so many failures in a row: half of it
// is certain, and half is chance, so that receivers that failed together are not
// tried together for ever.
func (r Receivers) rest(failures int) time.Duration {
	d := r.RetryMax
	if shift := failures - 1; shift < 24 {
		d = min(d, r.RetryMin<<shift)
	}
	return d/2 + time.Duration(r.Jitter()*float64(d/2))
}

// numberLimit is how many events are numbered in one transaction.
const numberLimit = 500

// NumberEvents gives what was committed since the last time its numbers in each
// Subscription that asks for it, and switches off those whose end has come.
func (o *Office) NumberEvents(ctx context.Context) error {
	for {
		more, err := o.numberSome(ctx)
		if err != nil {
			return fmt.Errorf("number events: %w", err)
		}
		if !more {
			return nil
		}
	}
}

// numbering is what one Subscription is to be told, as found in a snapshot.
type numbering struct {
	before  store.Delivery
	version int64 // of the Subscription
	after   store.Delivery
	events  []store.SubscriptionEvent
	off     string // why it is switched off; empty: it is not
	more    bool
}

// numberSome does so with some of them, and reports whether there may be more.
// What each Subscription asks for is found out before the write, which others
// wait for; one that changed in between is looked at again.
func (o *Office) numberSome(ctx context.Context) (more bool, err error) {
	var list []numbering
	err = o.db.Read(ctx, func(tx *store.Tx) error {
		list, err = o.behind(tx)
		return err
	})
	if err != nil || len(list) == 0 {
		return false, err
	}
	err = o.db.Write(ctx, func(tx *store.Tx) error {
		more = false
		for _, n := range list {
			same, err := o.numbered(tx, n)
			if err != nil {
				return err
			}
			more = more || n.more || !same
		}
		return nil
	})
	return more, err
}

// behind finds the Subscriptions that there is something to number for.
func (o *Office) behind(tx *store.Tx) ([]numbering, error) {
	last, err := tx.LastOutbox()
	if err != nil {
		return nil, err
	}
	all, err := tx.Deliveries()
	if err != nil {
		return nil, err
	}
	var out []numbering
	events := map[int64]event.Event{} // read once for all of them
	for _, d := range all {
		if d.Status == subscription.Off || d.NumberedTo >= last && !ended(d, tx.Now) {
			continue
		}
		n, err := o.number(tx, d, last, events)
		if err != nil {
			return nil, err
		}
		out = append(out, n)
	}
	return out, nil
}

func ended(d store.Delivery, now time.Time) bool { return !d.EndsAt.IsZero() && !d.EndsAt.After(now) }

// number finds the events of one Subscription up to the outbox row last. Where
// rows are gone that it had not seen (it was off for longer than they are kept),
// one number is left out: the receiver sees the gap, and reads the API.
func (o *Office) number(tx *store.Tx, d store.Delivery, last int64, events map[int64]event.Event) (numbering, error) {
	n := numbering{before: d, after: d}
	if ended(d, tx.Now) {
		n.off = "its end has come"
	}
	s, cur, err := o.subscriptionOf(tx, d.ID)
	n.version = cur.Version
	var issues fhir.Issues
	if errors.As(err, &issues) {
		n.off, err = "this version of the service does not understand it any more", nil
	}
	if err != nil || n.off != "" {
		return n, err
	}
	rows, err := tx.OutboxAfter(d.NumberedTo, numberLimit)
	if err != nil {
		return n, err
	}
	if len(rows) == 0 || rows[0].Seq > d.NumberedTo+1 {
		n.after.Events++
	}
	n.after.NumberedTo = last
	if n.more = len(rows) == numberLimit; n.more {
		n.after.NumberedTo = rows[len(rows)-1].Seq
	}
	for _, row := range rows {
		e, known := events[row.Seq]
		if !known {
			if e, err = event.Decode(row.Body); err != nil {
				return n, fmt.Errorf("outbox row %d: %w", row.Seq, err)
			}
			events[row.Seq] = e
		}
		one, ok, err := told(s, e, row)
		if err != nil {
			return n, err
		}
		if ok {
			n.after.Events++
			one.Subscription, one.Number = d.ID, n.after.Events
			n.events = append(n.events, one)
		}
	}
	return n, nil
}

// numbered writes down what was found, unless the Subscription is another than it
// was found for.
func (o *Office) numbered(tx *store.Tx, n numbering) (same bool, err error) {
	d, err := tx.DeliveryOf(n.before.ID)
	if errors.Is(err, store.ErrNotFound) {
		return true, nil // it was deleted
	}
	if err != nil {
		return false, err
	}
	cur, err := tx.Current(subscriptionType, d.ID)
	if err != nil {
		return false, err
	}
	if d.NumberedTo != n.before.NumberedTo || d.Events != n.before.Events || cur.Version != n.version {
		return false, nil
	}
	if n.off != "" {
		return true, o.switchOff(tx, &d, n.off)
	}
	d.NumberedTo, d.Events = n.after.NumberedTo, n.after.Events
	if err := tx.AddSubscriptionEvents(n.events); err != nil {
		return false, err
	}
	return true, tx.PutDelivery(d)
}

// told is what a Subscription is told of an outbox row.
func told(s *subscription.Subscription, e event.Event, row store.OutboxEvent) (store.SubscriptionEvent, bool, error) {
	news, ok, err := s.Match(e, row.Patient)
	if err != nil || !ok {
		return store.SubscriptionEvent{}, false, err
	}
	body, err := json.Marshal(news)
	return store.SubscriptionEvent{EventID: row.ID, CaseID: row.CaseID, At: row.CreatedAt, News: body}, true, err
}

// subscriptionOf reads the current Subscription.
func (o *Office) subscriptionOf(tx *store.Tx, id string) (*subscription.Subscription, store.Stored, error) {
	cur, err := tx.Current(subscriptionType, id)
	if err != nil {
		return nil, cur, err
	}
	r, err := o.parsed.get(cur)
	if err != nil {
		return nil, cur, err
	}
	// It was taken once: what its endpoint may be is asked of each connection.
	s, issues := subscription.Read(r, o.facility.Base, subscription.Policy{Plain: true, LinkLocal: true})
	if len(issues) > 0 {
		return nil, cur, issues
	}
	return s, cur, nil
}

// switchOff ends the deliveries of a Subscription.
func (o *Office) switchOff(tx *store.Tx, d *store.Delivery, why string) error {
	d.Greet, d.NotBefore = false, time.Time{}
	return o.stand(tx, d, subscription.Off, why)
}

// stand gives a Subscription another status; the same one is no new version.
func (o *Office) stand(tx *store.Tx, d *store.Delivery, status, why string) error {
	if d.Status == status {
		return tx.PutDelivery(*d)
	}
	d.Status = status
	if err := tx.PutDelivery(*d); err != nil {
		return err
	}
	cur, err := tx.Current(subscriptionType, d.ID)
	if err != nil {
		return err
	}
	held, err := o.parsed.get(cur)
	if err != nil {
		return err
	}
	res, err := withStatus(held, status, why)
	if err != nil {
		return err
	}
	_, err = o.putSubscription(tx, res, cur, 0)
	return err
}

// PruneDelivered deletes what was delivered long ago.
func (o *Office) PruneDelivered(ctx context.Context) error {
	return o.db.Write(ctx, func(tx *store.Tx) error {
		_, err := tx.PruneSubscriptionEvents(tx.Now.Add(-keepDelivered))
		return err
	})
}

// Standing is how it stands with one Subscription.
type Standing struct {
	ID, Status        string
	Reason            string // what it is for, as its client says
	Events, Delivered int64
	FailingSince      time.Time // zero: it takes what it is sent
	Error             string    // why it is in error or off; empty for nothing
}

// Subscriptions says how it stands with each Subscription, by id.
func (o *Office) Subscriptions(ctx context.Context) ([]Standing, error) {
	var out []Standing
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		all, err := tx.Deliveries()
		for _, d := range all {
			cur, err := tx.Current(subscriptionType, d.ID)
			if err != nil {
				return err
			}
			r, err := o.parsed.get(cur)
			if err != nil {
				return err
			}
			out = append(out, Standing{
				ID: d.ID, Status: d.Status, Reason: r.String("reason"), Events: d.Events, Delivered: d.Delivered, FailingSince: d.FailingSince, Error: r.String("error"),
			})
		}
		return err
	})
	return out, err
}

package outbox

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"example.org/countback/services/countback/internal/event"
)

// ErrStop, returned (or wrapped) by a ConsumeOptions function, ends Consume
// without acknowledging the event.
var ErrStop = errors.New("stop consuming")

// ErrConsume says that the options of Consume cannot be used.
var ErrConsume = errors.New("consume")

const (
	// ackWait is how long the broker waits for an acknowledgement before it
	// hands the event over again.
	ackWait = 30 * time.Second
	// ackLimit bounds one attempt to acknowledge, ackPause is the first rest
	// before the next.
	ackLimit = 2 * time.Second
	ackPause = 50 * time.Millisecond
	// retryMax is the longest rest before an event is handed over again.
	retryMax = 30 * time.Second
	// messageAhead is how many messages one pull asks for. More would not come:
	// the next is only sent once the one before is acknowledged.
	messageAhead = 1
	// enterAgain is how long a quiet wait for a message lasts before it is
	// entered once more; see next.
	enterAgain = 250 * time.Millisecond
)

// ConsumeOptions configure a reference consumer.
type ConsumeOptions struct {
	Durable  string // name that the broker keeps the position under; one running Consume each
	Facility string // token of the one facility to follow; "" = all

	// Handle takes the next event of a case. After an error the same event is
	// handed over again, later ones of all cases wait. Types that are newer than
	// this consumer come too.
	Handle func(event.Event) error

	// Gap says that events of a case never came: want was next, got is here.
	// The caller reads the case from the FHIR API, which is at least as new as
	// event got; after that, got is handed to Handle as usual.
	Gap func(caseID string, want, got int64) error

	// Last, when set, gives the sequence of the last event whose effect the
	// caller has stored, 0 for none. It is asked once a case and takes the
	// place of rebuilding from the stream.
	Last func(caseID string) (int64, error)

	Log   *slog.Logger  // nil = silent
	Retry time.Duration // first rest after an error, doubled each time; default 1 s

	acked func(event.Event) // of tests: the broker has noted that the event is settled
}

// Consume follows the events of a facility, in order within each case, until
// ctx ends (nil), a function returns ErrStop (that error), or the options cannot
// be used (ErrConsume). It waits for a stream that does not exist yet, and goes
// on after the broker was away. What it promises is in the package comment.
func Consume(ctx context.Context, js jetstream.JetStream, o ConsumeOptions) error {
	if o.Durable == "" || o.Handle == nil || o.Gap == nil {
		return fmt.Errorf("%w: durable name, Handle and Gap are needed", ErrConsume)
	}
	filter, err := event.Filter(o.Facility)
	if err != nil {
		return fmt.Errorf("%w: %w", ErrConsume, err)
	}
	o.Log = orSilent(o.Log)
	o.Retry = orDefault(o.Retry, time.Second)
	c := &consumer{o: o, js: js, filter: filter, last: map[caseKey]int64{}, rebuilt: o.Last != nil}
	for failures := 0; ctx.Err() == nil; failures++ {
		progress, err := c.follow(ctx)
		if errors.Is(err, ErrStop) || errors.Is(err, ErrConsume) {
			return err
		}
		if progress {
			failures = 0
		}
		if ctx.Err() == nil {
			c.o.Log.Warn("event consumer will try again", "durable", o.Durable, "error", err)
			_ = pause(ctx, backoff(o.Retry, failures)) // the loop looks at ctx itself
		}
	}
	return nil
}

func backoff(first time.Duration, failures int) time.Duration {
	return min(first<<min(failures, 10), max(first, retryMax))
}

// caseKey names a case over all sources, as CloudEvents makes an id unique
// within its source only.
type caseKey struct{ source, caseID string }

type consumer struct {
	o       ConsumeOptions
	js      jetstream.JetStream
	filter  string
	last    map[caseKey]int64 // sequence of the last event handled
	rebuilt bool
}

// follow handles messages until something breaks. It tells whether any came.
func (c *consumer) follow(ctx context.Context) (progress bool, err error) {
	durable, err := c.durable(ctx)
	if err != nil {
		return false, err
	}
	if !c.rebuilt {
		if err := c.rebuild(ctx, durable.CachedInfo().AckFloor.Stream); err != nil {
			return false, err
		}
		c.rebuilt = true
	}
	messages, err := durable.Messages(jetstream.PullMaxMessages(messageAhead))
	if err != nil {
		return false, fmt.Errorf("read messages: %w", err)
	}
	defer c.release(ctx, messages)
	for {
		if ctx.Err() != nil {
			return progress, nil // before Next asks the broker for another message
		}
		msg, err := next(ctx, messages)
		if err != nil {
			return progress, fmt.Errorf("read messages: %w", err)
		}
		progress = true
		if err := c.take(ctx, msg); err != nil {
			return progress, err
		}
	}
}

// next waits for a message. The library asks the broker for one when Next is
// entered, unless the goroutine that sent its last request has not come back yet;
// then nothing is asked for, and the wait ends with a missed heartbeat after
// 30 s. On a busy machine that goroutine can be slower than the message that it
// fetched, so a wait that stays quiet is entered once more.
func next(ctx context.Context, messages jetstream.MessagesContext) (jetstream.Msg, error) {
	entered, cancel := context.WithTimeout(ctx, enterAgain)
	msg, err := messages.Next(jetstream.NextContext(entered))
	cancel()
	if errors.Is(err, context.DeadlineExceeded) && ctx.Err() == nil {
		return messages.Next(jetstream.NextContext(ctx))
	}
	return msg, err
}

// release gives back what was fetched and not handled, which the broker would
// otherwise keep from a successor for ackWait.
func (c *consumer) release(ctx context.Context, messages jetstream.MessagesContext) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), ackLimit)
	defer cancel()
	defer messages.Stop()
	messages.Drain()
	for {
		msg, err := messages.Next(jetstream.NextContext(ctx))
		if err != nil {
			return
		}
		c.settled(msg.Nak())
	}
}

func (c *consumer) durable(ctx context.Context) (jetstream.Consumer, error) {
	ctx, cancel := context.WithTimeout(ctx, requestLimit)
	defer cancel()
	durable, err := c.js.CreateOrUpdateConsumer(ctx, StreamName, jetstream.ConsumerConfig{
		Durable:       c.o.Durable,
		FilterSubject: c.filter,
		DeliverPolicy: jetstream.DeliverAllPolicy,
		AckPolicy:     jetstream.AckExplicitPolicy,
		AckWait:       ackWait,
		// One at a time: an event that is handed over again still comes before
		// its successors.
		MaxAckPending: 1,
	})
	if errors.Is(err, jetstream.ErrInvalidConsumerName) {
		return nil, fmt.Errorf("%w: %w", ErrConsume, err)
	}
	if err != nil {
		return nil, fmt.Errorf("open durable consumer: %w", err)
	}
	return durable, nil
}

// take handles one message and settles it with the broker. Only ErrStop is an
// error: what the broker misses, it sends again.
func (c *consumer) take(ctx context.Context, msg jetstream.Msg) error {
	e, err := event.FromMessage(msg.Headers(), msg.Data())
	if err != nil {
		// No later attempt can read it. Its case shows a gap with the next event.
		c.o.Log.Error("message is no event and is passed over", "stream_seq", sequenceOf(msg), "error", err)
		c.settled(msg.TermWithReason("not an event"))
		return nil
	}
	err = c.apply(e)
	if errors.Is(err, ErrStop) {
		c.settled(msg.Nak())
		return err
	}
	if err != nil {
		c.o.Log.Warn("event not handled, will come again", "id", e.ID, "error", err)
		c.settled(msg.NakWithDelay(backoff(c.o.Retry, deliveries(msg)-1)))
		return nil
	}
	err = c.ack(ctx, msg)
	if err == nil && c.o.acked != nil {
		c.o.acked(e)
	}
	c.settled(err)
	return nil
}

// ack waits until the broker has noted that the message is settled. A broker
// that went away meanwhile is asked again, as the message would block all
// others for ackWait otherwise. The end of ctx does not cut an attempt short, so
// that a consumer which is stopped leaves nothing handled and not noted.
func (c *consumer) ack(ctx context.Context, msg jetstream.Msg) error {
	retry, cancel := context.WithTimeout(ctx, ackWait)
	defer cancel()
	for failures := 0; ; failures++ {
		attempt, cancel := context.WithTimeout(context.WithoutCancel(ctx), ackLimit)
		err := msg.DoubleAck(attempt)
		cancel()
		if err == nil || pause(retry, backoff(ackPause, failures)) != nil {
			return err
		}
	}
}

// settled logs an answer that did not reach the broker. The message then comes
// again and is dropped by its sequence, if it was handled.
func (c *consumer) settled(err error) {
	if err != nil {
		c.o.Log.Warn("answer to the broker did not arrive", "durable", c.o.Durable, "error", err)
	}
}

func sequenceOf(msg jetstream.Msg) uint64 {
	meta, err := msg.Metadata()
	if err != nil {
		return 0
	}
	return meta.Sequence.Stream
}

func deliveries(msg jetstream.Msg) int {
	meta, err := msg.Metadata()
	if err != nil {
		return 1
	}
	return int(min(meta.NumDelivered, 100))
}

// apply keeps to the sequence: drop what we have, apply the next, tell of a gap.
func (c *consumer) apply(e event.Event) error {
	key := caseKey{e.Source, e.CaseID()}
	last, known := c.last[key]
	if !known && c.o.Last != nil {
		var err error
		if last, err = c.o.Last(e.CaseID()); err != nil {
			return err
		}
		c.last[key] = last
	}
	if e.CaseSequence <= last {
		return nil
	}
	if want := last + 1; e.CaseSequence > want {
		if err := c.o.Gap(e.CaseID(), want, e.CaseSequence); err != nil {
			return err
		}
		// The gap is closed, even if the event has to come again.
		c.last[key] = e.CaseSequence - 1
	}
	if err := c.o.Handle(e); err != nil {
		return err
	}
	c.last[key] = e.CaseSequence
	return nil
}

// rebuild reads what this durable consumer had acknowledged, up to a stream
// sequence, for the last sequence of each case. The highest counts, as an
// event that the audit published again comes after its successors. A case whose
// events have all aged out of the stream begins anew, with a gap: reading the
// API once more is the safe answer.
func (c *consumer) rebuild(ctx context.Context, floor uint64) error {
	if floor == 0 {
		return nil
	}
	stream, err := c.js.Stream(ctx, StreamName)
	if err != nil {
		return fmt.Errorf("rebuild from stream: %w", err)
	}
	for next := max(1, stream.CachedInfo().State.FirstSeq); next <= floor; {
		msg, err := stream.GetMsg(ctx, next, jetstream.WithGetMsgSubject(c.filter))
		if errors.Is(err, jetstream.ErrMsgNotFound) || err == nil && msg.Sequence > floor {
			return nil
		}
		if err != nil {
			return fmt.Errorf("rebuild from stream: %w", err)
		}
		c.remember(msg)
		next = msg.Sequence + 1
	}
	return nil
}

func (c *consumer) remember(msg *jetstream.RawStreamMsg) {
	e, err := event.FromMessage(map[string][]string(nats.Header(msg.Header)), msg.Data)
	if err != nil {
		return // was passed over when it came
	}
	key := caseKey{e.Source, e.CaseID()}
	c.last[key] = max(c.last[key], e.CaseSequence)
}

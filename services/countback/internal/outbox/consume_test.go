package outbox

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/event"
)

func contextWithTimeout(t *testing.T, d time.Duration) (context.Context, context.CancelFunc) {
	t.Helper()
	return context.WithTimeout(limited(t), d)
}

type gap struct {
	caseID    string
	want, got int64
}

type collected struct {
	events []event.Event
	gaps   []gap
}

// collect consumes until the event with an id was handled and acknowledged.
// Handle and Gap of the options are asked first, when they are set.
func collect(t *testing.T, js jetstream.JetStream, o ConsumeOptions, until string) collected {
	t.Helper()
	ctx, cancel := context.WithCancel(limited(t))
	defer cancel()
	var got collected
	handle, onGap := o.Handle, o.Gap
	o.Handle = func(e event.Event) error {
		if handle != nil {
			if err := handle(e); err != nil {
				return err
			}
		}
		got.events = append(got.events, e)
		return nil
	}
	o.Gap = func(caseID string, want, have int64) error {
		if onGap != nil {
			if err := onGap(caseID, want, have); err != nil {
				return err
			}
		}
		got.gaps = append(got.gaps, gap{caseID, want, have})
		return nil
	}
	o.Retry = time.Millisecond
	reached := false
	o.acked = func(e event.Event) {
		if e.ID == until {
			reached = true
			cancel()
		}
	}
	require.NoError(t, Consume(ctx, js, o))
	require.True(t, reached, "never came: %s", until)
	return got
}

// send publishes events straight to the stream, without ids that the broker
// would compare.
func send(t *testing.T, js jetstream.JetStream, events ...event.Event) {
	t.Helper()
	for _, e := range events {
		body, err := event.Encode(e)
		require.NoError(t, err)
		sendRaw(t, js, "countback.v1.north."+e.Name(), nats.Header{"Content-Type": {event.ContentType}}, body)
	}
}

func sendRaw(t *testing.T, js jetstream.JetStream, subject string, header nats.Header, body []byte) {
	t.Helper()
	_, err := js.PublishMsg(limited(t), &nats.Msg{Subject: subject, Header: header, Data: body})
	require.NoError(t, err)
}

func streamFor(t *testing.T) jetstream.JetStream {
	t.Helper()
	js := connect(t, startServer(t, ServerOptions{}).Connect)
	require.NoError(t, EnsureStream(limited(t), js))
	return js
}

func TestConsumerKeepsToTheSequence(t *testing.T) {
	for _, tt := range []struct {
		name string
		sent []int64
		want []int64
		gaps []gap
	}{
		{"in order", []int64{1, 2, 3}, []int64{1, 2, 3}, nil},
		{"each twice", []int64{1, 1, 2, 2, 3, 3}, []int64{1, 2, 3}, nil},
		{"the whole again", []int64{1, 2, 3, 1, 2, 3}, []int64{1, 2, 3}, nil},
		{"one missing", []int64{1, 3}, []int64{1, 3}, []gap{{"a", 2, 3}}},
		{"one late", []int64{1, 3, 2, 4}, []int64{1, 3, 4}, []gap{{"a", 2, 3}}},
		{"two gaps", []int64{2, 6}, []int64{2, 6}, []gap{{"a", 1, 2}, {"a", 3, 6}}},
		{"the first is not the first", []int64{7, 8}, []int64{7, 8}, []gap{{"a", 1, 7}}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			js := streamFor(t)
			for _, n := range tt.sent {
				send(t, js, sample(t, "a", n))
			}
			send(t, js, sample(t, "end", 1))
			got := collect(t, js, ConsumeOptions{Durable: "d"}, "end-1")
			require.Equal(t, tt.want, sequences(got.events)["a"])
			require.Equal(t, tt.gaps, got.gaps)
		})
	}
}

func TestConsumerTellsSourcesApart(t *testing.T) {
	js := streamFor(t)
	other := sample(t, "a", 1)
	other.Source, other.ID = "http://countback.example/facility/south", "south-a-1"
	send(t, js, sample(t, "a", 1), other)
	got := collect(t, js, ConsumeOptions{Durable: "d"}, "south-a-1")
	require.Len(t, got.events, 2)
	require.Empty(t, got.gaps)
}

func TestErrorsAreTriedAgainInOrder(t *testing.T) {
	js := streamFor(t)
	send(t, js, sample(t, "a", 1), sample(t, "b", 1), sample(t, "a", 2), sample(t, "a", 4), sample(t, "a", 5))
	failures := map[string]int{}
	failTwice := func(key string) error {
		if failures[key]++; failures[key] <= 2 {
			return errInjected
		}
		return nil
	}
	got := collect(t, js, ConsumeOptions{
		Durable: "d",
		Handle:  func(e event.Event) error { return failTwice(e.ID) },
		Gap:     func(caseID string, want, have int64) error { return failTwice(fmt.Sprint(caseID, want, have)) },
	}, "a-5")
	var ids []string
	for _, e := range got.events {
		ids = append(ids, e.ID)
	}
	require.Equal(t, []string{"a-1", "b-1", "a-2", "a-4", "a-5"}, ids)
	require.Equal(t, []gap{{"a", 3, 4}}, got.gaps, "the gap is told until it is taken, and then no more")
	require.Equal(t, map[string]int{"a-1": 3, "b-1": 3, "a-2": 3, "a-4": 3, "a-5": 3, fmt.Sprint("a", 3, 4): 3}, failures)
}

func TestStopLeavesTheEventForLater(t *testing.T) {
	js := streamFor(t)
	send(t, js, sample(t, "a", 1), sample(t, "a", 2))
	var handled []string
	err := Consume(limited(t), js, ConsumeOptions{
		Durable: "d",
		Handle: func(e event.Event) error {
			if e.CaseSequence == 2 {
				return fmt.Errorf("disk full: %w", ErrStop)
			}
			handled = append(handled, e.ID)
			return nil
		},
		Gap: func(string, int64, int64) error { return errInjected },
	})
	require.ErrorIs(t, err, ErrStop)
	require.Equal(t, []string{"a-1"}, handled)
	c, err := js.Consumer(limited(t), StreamName, "d")
	require.NoError(t, err)
	require.EqualValues(t, 1, c.CachedInfo().AckFloor.Stream)
	requireBeforeAckWait(t, func() {
		rest := collect(t, js, ConsumeOptions{Durable: "d"}, "a-2")
		require.Equal(t, []int64{2}, sequences(rest.events)["a"])
		require.Empty(t, rest.gaps)
	})
}

// requireBeforeAckWait fails when f had to wait for the broker to hand a
// message over again.
func requireBeforeAckWait(t *testing.T, f func()) {
	t.Helper()
	late := time.AfterFunc(ackWait/2, func() {})
	f()
	require.True(t, late.Stop(), "a message was kept back")
}

// A consumer that waits for the next event is stopped at the moment when this
// event is sent. If it did not handle it, its successor has it at once.
func TestStoppedConsumerKeepsNothingBack(t *testing.T) {
	js := streamFor(t)
	const rounds = 40
	left := 0
	for n := int64(1); n <= rounds; n++ {
		if sendAndStop(t, js, n) {
			continue
		}
		left++
		requireBeforeAckWait(t, func() {
			rest := collect(t, js, ConsumeOptions{Durable: "d"}, fmt.Sprint("a-", n))
			require.Equal(t, []int64{n}, sequences(rest.events)["a"])
			require.Empty(t, rest.gaps)
		})
	}
	t.Logf("%d of %d events were left to the successor", left, rounds)
}

// sendAndStop tells whether the stopped consumer has handled the event.
func sendAndStop(t *testing.T, js jetstream.JetStream, n int64) (handled bool) {
	t.Helper()
	ctx, stop := context.WithCancel(limited(t))
	defer stop()
	ended := make(chan error, 1)
	go func() {
		ended <- Consume(ctx, js, ConsumeOptions{
			Durable: "d",
			Handle:  func(event.Event) error { handled = true; return nil },
			Gap:     func(string, int64, int64) error { return errors.New("there must be none") },
		})
	}()
	for waiting := 0; waiting == 0; { // each turn asks the broker; none waits for time
		require.NoError(t, ctx.Err())
		if c, err := js.Consumer(ctx, StreamName, "d"); err == nil {
			waiting = c.CachedInfo().NumWaiting
		}
	}
	body, err := event.Encode(sample(t, "a", n))
	require.NoError(t, err)
	ack, err := js.PublishMsgAsync(&nats.Msg{
		Subject: "countback.v1.north.case.redated", Data: body, Header: nats.Header{"Content-Type": {event.ContentType}},
	})
	require.NoError(t, err)
	stop()
	require.NoError(t, <-ended)
	select {
	case <-ack.Ok():
	case err := <-ack.Err():
		require.NoError(t, err)
	}
	return handled
}

func TestRestartedConsumerKnowsWhatItHas(t *testing.T) {
	js := streamFor(t)
	send(t, js, sample(t, "a", 1), sample(t, "b", 1), sample(t, "a", 2), sample(t, "c", 4))
	first := collect(t, js, ConsumeOptions{Durable: "d"}, "c-4")
	require.Len(t, first.events, 4)
	require.Equal(t, []gap{{"c", 1, 4}}, first.gaps)

	send(t, js, sample(t, "a", 1), sample(t, "a", 2), sample(t, "c", 2), sample(t, "b", 2), sample(t, "a", 3), sample(t, "c", 5))
	second := collect(t, js, ConsumeOptions{Durable: "d"}, "c-5")
	require.Empty(t, second.gaps)
	require.Equal(t, map[string][]int64{"a": {3}, "b": {2}, "c": {5}}, sequences(second.events))

	fresh := collect(t, js, ConsumeOptions{Durable: "another"}, "c-5")
	require.Equal(t, map[string][]int64{"a": {1, 2, 3}, "b": {1, 2}, "c": {4, 5}}, sequences(fresh.events))
}

func TestCallerThatStoresTheSequenceIsAsked(t *testing.T) {
	js := streamFor(t)
	send(t, js, sample(t, "a", 1), sample(t, "a", 2), sample(t, "a", 3), sample(t, "b", 1))
	asked := map[string]int{}
	got := collect(t, js, ConsumeOptions{
		Durable: "d",
		Last: func(caseID string) (int64, error) {
			asked[caseID]++
			if asked[caseID] == 1 {
				return 0, errInjected // a database that is busy: tried again
			}
			return map[string]int64{"a": 2}[caseID], nil
		},
	}, "b-1")
	require.Equal(t, map[string][]int64{"a": {3}, "b": {1}}, sequences(got.events))
	require.Empty(t, got.gaps)
	require.Equal(t, map[string]int{"a": 2, "b": 2}, asked)
}

func TestMessageThatIsNoEventIsPassedOver(t *testing.T) {
	js := streamFor(t)
	send(t, js, sample(t, "a", 1))
	sendRaw(t, js, "countback.v1.north.case.opened", nil, []byte("hello"))
	send(t, js, sample(t, "a", 3))
	got := collect(t, js, ConsumeOptions{Durable: "d"}, "a-3")
	require.Equal(t, []int64{1, 3}, sequences(got.events)["a"])
	require.Equal(t, []gap{{"a", 2, 3}}, got.gaps)
}

func TestConsumerTakesBinaryMode(t *testing.T) {
	js := streamFor(t)
	e := sample(t, "a", 1)
	sendRaw(t, js, "countback.v1.north.case.redated", nats.Header{
		"CE-ID": {e.ID}, "Ce-Source": {e.Source}, "ce-specversion": {"1.0"}, "ce-type": {e.Type}, "ce-subject": {e.Subject},
		"ce-time": {"2026-11-02T12:00:00Z"}, "ce-casesequence": {"1"}, "Content-Type": {"application/json"},
	}, e.Data)
	got := collect(t, js, ConsumeOptions{Durable: "d"}, "a-1")
	require.Len(t, got.events, 1)
	data, err := got.events[0].CaseData()
	require.NoError(t, err)
	require.Equal(t, "a", data.CarePlan)
}

func TestConsumerFollowsOneFacility(t *testing.T) {
	js := streamFor(t)
	body, err := event.Encode(sample(t, "x", 1))
	require.NoError(t, err)
	header := nats.Header{"Content-Type": {event.ContentType}}
	sendRaw(t, js, "countback.v1.south.case.redated", header, body)
	sendRaw(t, js, "countback.v1.northern.case.redated", header, body)
	send(t, js, sample(t, "a", 1))
	got := collect(t, js, ConsumeOptions{Durable: "d", Facility: "north"}, "a-1")
	require.Equal(t, map[string][]int64{"a": {1}}, sequences(got.events))
	again := collect(t, js, ConsumeOptions{Durable: "all"}, "a-1")
	require.Len(t, again.events, 2, "x comes twice and is taken once")
}

func TestConsumerWaitsForTheStreamAndSurvivesARestart(t *testing.T) {
	db := openStore(t)
	b := startBroker(t)
	ctx, cancel := context.WithCancel(limited(t))
	defer cancel()
	events := make(chan event.Event, 64)
	ended := make(chan error, 1)
	js := b.js()
	go func() {
		ended <- Consume(ctx, js, ConsumeOptions{
			Durable: "d", Retry: time.Millisecond,
			Handle: func(e event.Event) error { events <- e; return nil },
			Gap:    func(string, int64, int64) error { return errors.New("there must be none") },
		})
	}()
	r, _ := runRelay(t, relayOptions(db, b.js()))
	var got []event.Event
	take := func(n int) {
		for range n {
			select {
			case e := <-events:
				got = append(got, e)
			case <-ctx.Done():
				require.Fail(t, "an event did not come")
			}
		}
	}
	enqueue(t, db, "a", 1, 3)
	take(3)
	b.stop()
	enqueue(t, db, "a", 4, 6)
	b.start()
	require.NoError(t, r.Drained(limited(t)))
	take(3)
	cancel()
	require.NoError(t, <-ended)
	require.Equal(t, map[string][]int64{"a": upTo(6)}, sequences(got))
	require.Empty(t, events)
}

func TestConsumeRefusesOptions(t *testing.T) {
	js := streamFor(t)
	handle := func(event.Event) error { return nil }
	gap := func(string, int64, int64) error { return nil }
	for _, tt := range []struct {
		name string
		o    ConsumeOptions
	}{
		{"no name", ConsumeOptions{Handle: handle, Gap: gap}},
		{"no Handle", ConsumeOptions{Durable: "d", Gap: gap}},
		{"no Gap", ConsumeOptions{Durable: "d", Handle: handle}},
		{"a name with a dot", ConsumeOptions{Durable: "a.b", Handle: handle, Gap: gap}},
		{"a facility with a dot", ConsumeOptions{Durable: "d", Facility: "a.b", Handle: handle, Gap: gap}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			require.ErrorIs(t, Consume(limited(t), js, tt.o), ErrConsume)
		})
	}
}

package outbox

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"sync"
	"testing"

	"github.com/nats-io/nats.go"
	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/event"
	"example.org/countback/services/countback/internal/store"
)

func TestRelayPublishesAndMarks(t *testing.T) {
	db := openStore(t)
	js := connect(t, startServer(t, ServerOptions{}).Connect)
	enqueue(t, db, "a", 1, 2)
	r, stop := runRelay(t, relayOptions(db, js))
	require.NoError(t, r.Drained(limited(t)))
	enqueue(t, db, "b", 1, 1) // wakes it: the poll is an hour away
	require.NoError(t, r.Drained(limited(t)))
	stop()

	require.Equal(t, Stats{Published: 3}, r.Stats())
	left, err := db.Unpublished(limited(t), 10)
	require.NoError(t, err)
	require.Empty(t, left)
	rows, err := db.Published(limited(t), 0, 10)
	require.NoError(t, err)
	require.Len(t, rows, 3)
	stream, err := js.Stream(limited(t), StreamName)
	require.NoError(t, err)
	for _, row := range rows {
		msg, err := stream.GetMsg(limited(t), row.StreamSeq)
		require.NoError(t, err)
		require.Equal(t, row.Body, msg.Data)
		require.Equal(t, "countback.v1.north.case.redated", msg.Subject)
		require.Equal(t, row.ID, msg.Header.Get(nats.MsgIdHdr))
		// CloudEvents NATS protocol binding: structured mode is told by this header.
		require.Equal(t, "application/cloudevents+json", msg.Header.Get("Content-Type"))
		e, err := event.FromMessage(msg.Header, msg.Data)
		require.NoError(t, err)
		require.Equal(t, row.ID, e.ID)
		require.Equal(t, row.CaseSequence, e.CaseSequence)
	}
}

func TestWakeAloneMakesTheRelayPublish(t *testing.T) {
	db := openStore(t)
	js := connect(t, startServer(t, ServerOptions{}).Connect)
	marked := make(chan int, 8)
	rows := &failing{DB: db, mark: func(m []store.Mark) error { marked <- len(m); return nil }}
	r, _ := runRelay(t, relayOptions(rows, js))
	require.NoError(t, r.Drained(limited(t)))
	enqueue(t, db, "a", 1, 1)
	select {
	case n := <-marked:
		require.Equal(t, 1, n)
	case <-limited(t).Done():
		require.Fail(t, "the relay did not wake")
	}
}

// writers commits events of several cases from several goroutines. Each
// transaction counts its case's sequence up, as casework does.
func writers(t *testing.T, db *store.DB, goroutines, each int) map[string]int64 {
	t.Helper()
	const cases = 7
	counts := map[string]int64{} // only touched inside a transaction: one at a time
	var all sync.WaitGroup
	failed := make(chan error, goroutines*each)
	for g := range goroutines {
		all.Go(func() {
			for i := range each {
				id := fmt.Sprintf("case-%d", (g*31+i*17)%cases)
				failed <- db.Write(context.Background(), func(tx *store.Tx) error {
					n := counts[id] + 1
					if err := tx.Enqueue([]store.OutboxRow{row(t, id, n), row(t, id, n+1)}); err != nil {
						return err
					}
					counts[id] = n + 1
					return nil
				})
			}
		})
	}
	all.Wait()
	for range goroutines * each {
		require.NoError(t, <-failed)
	}
	return counts
}

func requireWhole(t *testing.T, counts map[string]int64, events []event.Event) {
	t.Helper()
	got := sequences(events)
	require.Len(t, got, len(counts))
	for id, n := range counts {
		require.Equal(t, upTo(n), got[id], id)
	}
}

func TestOrderWithinACaseUnderConcurrentWriters(t *testing.T) {
	db := openStore(t)
	js := connect(t, startServer(t, ServerOptions{}).Connect)
	o := relayOptions(db, js)
	o.Batch, o.Lanes = 5, 4
	r, stop := runRelay(t, o)
	counts := writers(t, db, 8, 25)
	require.NoError(t, r.Drained(limited(t)))
	stop()
	requireWhole(t, counts, inStream(t, js))
	require.EqualValues(t, 8*25*2, r.Stats().Published)
}

func TestBrokerGoesAwayAndComesBack(t *testing.T) {
	db := openStore(t)
	b := startBroker(t)
	js := b.js()
	o := relayOptions(db, js)
	o.Batch, o.Lanes = 5, 4
	r, stop := runRelay(t, o)
	halfway := make(chan struct{})
	done := make(chan struct{})
	go func() {
		defer close(done)
		<-halfway
		b.stop()
		b.start()
	}()
	enqueue(t, db, "before", 1, 3)
	require.NoError(t, r.Drained(limited(t)))
	close(halfway)
	counts := writers(t, db, 4, 25) // no write fails for it
	<-done
	require.NoError(t, r.Drained(limited(t)))
	stop()
	counts["before"] = 3
	requireWhole(t, counts, inStream(t, b.js()))
}

func TestNothingIsLostWhileTheBrokerIsDown(t *testing.T) {
	db := openStore(t)
	b := startBroker(t)
	failedOnce := make(chan struct{})
	var once sync.Once
	js := b.js()
	o := relayOptions(db, js)
	o.Log = slog.New(onRecord(func() { once.Do(func() { close(failedOnce) }) }))
	r, stop := runRelay(t, o)
	require.NoError(t, r.Drained(limited(t)))
	b.stop()
	enqueue(t, db, "a", 1, 4)
	enqueue(t, db, "b", 1, 4)
	select {
	case <-failedOnce: // it has tried and failed
	case <-limited(t).Done():
		require.Fail(t, "the relay did not try")
	}
	left, err := db.Unpublished(limited(t), 10)
	require.NoError(t, err)
	require.Len(t, left, 8)
	b.start()
	require.NoError(t, r.Drained(limited(t)))
	stop()
	require.NotZero(t, r.Stats().Failed)
	requireWhole(t, map[string]int64{"a": 4, "b": 4}, inStream(t, b.js()))
}

// onRecord is a log handler that only tells that something was logged.
type onRecord func()

func (f onRecord) Enabled(context.Context, slog.Level) bool      { return true }
func (f onRecord) Handle(_ context.Context, _ slog.Record) error { f(); return nil }
func (f onRecord) WithAttrs([]slog.Attr) slog.Handler            { return f }
func (f onRecord) WithGroup(string) slog.Handler                 { return f }

func TestRefusedRowHoldsUpOnlyItsCase(t *testing.T) {
	db := openStore(t)
	js := connect(t, startServer(t, ServerOptions{}).Connect)
	tooLong := row(t, "a", 2)
	tooLong.Body = bytes.Repeat([]byte("x"), 1<<20)
	wrong := row(t, "c", 1)
	wrong.Subject = "elsewhere.case.opened"
	enqueue(t, db, "a", 1, 1)
	require.NoError(t, db.Write(limited(t), func(tx *store.Tx) error {
		return tx.Enqueue([]store.OutboxRow{tooLong, wrong})
	}))
	enqueue(t, db, "a", 3, 6)
	enqueue(t, db, "b", 1, 9)

	var buf lockedBuffer
	out := make(chan store.Mark, 64)
	o := relayOptions(&failing{DB: db, mark: func(m []store.Mark) error {
		for _, x := range m {
			out <- x
		}
		return nil
	}}, js)
	o.Batch = 3 // smaller than what is held up
	o.Log = slog.New(slog.NewTextHandler(&buf, nil))
	r, stop := runRelay(t, o)
	for range 10 {
		select {
		case <-out:
		case <-limited(t).Done():
			require.Fail(t, "the other cases do not go on")
		}
	}
	// A row that comes later finds its way past what is held up too.
	enqueue(t, db, "d", 1, 1)
	select {
	case <-out:
	case <-limited(t).Done():
		require.Fail(t, "a later case does not go on")
	}
	stop()
	require.Equal(t, map[string][]int64{"a": upTo(1), "b": upTo(9), "d": upTo(1)}, sequences(inStream(t, js)))
	require.EqualValues(t, 2, r.Stats().Refused)
	require.Equal(t, 2, bytes.Count([]byte(buf.String()), []byte("holds up its case")), "each is reported once")
}

func TestDeletedStreamIsMadeAgain(t *testing.T) {
	db := openStore(t)
	js := connect(t, startServer(t, ServerOptions{}).Connect)
	r, stop := runRelay(t, relayOptions(db, js))
	enqueue(t, db, "a", 1, 2)
	require.NoError(t, r.Drained(limited(t)))
	require.NoError(t, js.DeleteStream(limited(t), StreamName))
	enqueue(t, db, "a", 3, 3)
	require.NoError(t, r.Drained(limited(t)))
	stop()
	require.Equal(t, map[string][]int64{"a": {3}}, sequences(inStream(t, js)))
}

func TestRelayStops(t *testing.T) {
	db := openStore(t)
	js := connect(t, startServer(t, ServerOptions{}).Connect)
	r, stop := runRelay(t, relayOptions(db, js))
	require.NoError(t, r.Drained(limited(t)))
	require.ErrorIs(t, r.Run(limited(t)), ErrRunning)
	stop()
	require.ErrorIs(t, r.Drained(limited(t)), ErrStopped)

	idle, err := NewRelay(relayOptions(db, js))
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(limited(t))
	cancel()
	require.ErrorIs(t, idle.Drained(ctx), context.Canceled)

	_, err = NewRelay(RelayOptions{Rows: db, JS: js})
	require.Error(t, err)
}

func TestStopWhileTheBrokerIsAway(t *testing.T) {
	db := openStore(t)
	b := startBroker(t)
	o := relayOptions(db, b.js())
	failed := make(chan struct{}, 1)
	o.Log = slog.New(onRecord(func() {
		select {
		case failed <- struct{}{}:
		default:
		}
	}))
	o.RetryMin, o.RetryMax = testLimit, testLimit // it would rest longer than the test may take
	r, stop := runRelay(t, o)
	require.NoError(t, r.Drained(limited(t)))
	b.stop()
	enqueue(t, db, "a", 1, 1)
	<-failed
	stop()
	left, err := db.Unpublished(limited(t), 10)
	require.NoError(t, err)
	require.Len(t, left, 1)
}

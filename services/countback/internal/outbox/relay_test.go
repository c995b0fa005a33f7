package outbox

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
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

var errInjected = errors.New("injected")

// crashBeforeMark publishes what is in the outbox and dies before any mark.
func crashBeforeMark(t *testing.T, db *store.DB, o RelayOptions) (acknowledged int) {
	t.Helper()
	ctx, crash := context.WithCancel(context.Background())
	defer crash()
	var most atomic.Int64
	o.Rows = &failing{DB: db, mark: func(m []store.Mark) error {
		most.Store(max(most.Load(), int64(len(m))))
		crash()
		return errInjected
	}}
	r, err := NewRelay(o)
	require.NoError(t, err)
	require.NoError(t, r.Run(ctx))
	return int(most.Load())
}

func TestCrashBetweenPublishAndMark(t *testing.T) {
	db := openStore(t)
	js := connect(t, startServer(t, ServerOptions{}).Connect)
	enqueue(t, db, "a", 1, 3)
	enqueue(t, db, "b", 1, 2)
	require.Equal(t, 5, crashBeforeMark(t, db, relayOptions(db, js)))
	left, err := db.Unpublished(limited(t), 10)
	require.NoError(t, err)
	require.Len(t, left, 5, "the rows do not know that they went out")

	r, stop := runRelay(t, relayOptions(db, js))
	require.NoError(t, r.Drained(limited(t)))
	stop()
	// Within the duplicate window the stream holds each once.
	requireWhole(t, map[string]int64{"a": 3, "b": 2}, inStream(t, js))
	rows, err := db.Published(limited(t), 0, 10)
	require.NoError(t, err)
	seen := map[uint64]bool{}
	for _, row := range rows {
		require.NotZero(t, row.StreamSeq)
		require.False(t, seen[row.StreamSeq])
		seen[row.StreamSeq] = true
	}
}

func TestEffectHappensOnceAfterTheDuplicateWindow(t *testing.T) {
	db := openStore(t)
	js := connect(t, startServer(t, ServerOptions{}).Connect)
	enqueue(t, db, "a", 1, 3)
	enqueue(t, db, "b", 1, 2)
	require.Equal(t, 5, crashBeforeMark(t, db, relayOptions(db, js)))
	// The broker forgets the ids, as it does when the window is over: a stream
	// filled with the same messages under no id.
	stream, err := js.Stream(limited(t), StreamName)
	require.NoError(t, err)
	var old []*nats.Msg
	for seq := uint64(1); seq <= 5; seq++ {
		msg, err := stream.GetMsg(limited(t), seq)
		require.NoError(t, err)
		msg.Header.Del(nats.MsgIdHdr)
		old = append(old, &nats.Msg{Subject: msg.Subject, Header: msg.Header, Data: msg.Data})
	}
	require.NoError(t, js.DeleteStream(limited(t), StreamName))
	require.NoError(t, EnsureStream(limited(t), js))
	for _, msg := range old {
		_, err := js.PublishMsg(limited(t), msg)
		require.NoError(t, err)
	}

	r, stop := runRelay(t, relayOptions(db, js))
	require.NoError(t, r.Drained(limited(t)))
	enqueue(t, db, "a", 4, 4)
	require.NoError(t, r.Drained(limited(t)))
	stop()
	stream, err = js.Stream(limited(t), StreamName)
	require.NoError(t, err)
	require.EqualValues(t, 11, stream.CachedInfo().State.Msgs, "delivered at least once")

	got := collect(t, js, ConsumeOptions{Durable: "d"}, "a-4")
	require.Empty(t, got.gaps)
	require.Equal(t, map[string][]int64{"a": upTo(4), "b": upTo(2)}, sequences(got.events))
}

func TestEveryOperationFailsOnce(t *testing.T) {
	never := func() error { return nil }
	for _, tt := range []struct {
		name  string
		last  int64 // the highest n with which the run meets the fault
		fault func(rows *failing, js *failingJS, fail func() error)
	}{
		{"read", 6, func(rows *failing, _ *failingJS, fail func() error) { rows.read = fail }},
		{"mark", 6, func(rows *failing, _ *failingJS, fail func() error) {
			rows.mark = func([]store.Mark) error { return fail() }
		}},
		{"publish", 16, func(_ *failing, js *failingJS, fail func() error) { js.before = fail }},
		{"answer to a publish", 16, func(_ *failing, js *failingJS, fail func() error) { js.after = fail }},
	} {
		for nth := int64(1); nth <= tt.last; nth++ {
			t.Run(fmt.Sprintf("%s %d", tt.name, nth), func(t *testing.T) {
				db := openStore(t)
				real := connect(t, startServer(t, ServerOptions{}).Connect)
				var count atomic.Int64
				rows, js := &failing{DB: db}, &failingJS{JetStream: real, before: never, after: never}
				tt.fault(rows, js, func() error {
					if count.Add(1) == nth {
						return errInjected
					}
					return nil
				})
				o := relayOptions(rows, js)
				o.Batch, o.Lanes = 3, 2
				require.NoError(t, db.Write(limited(t), func(tx *store.Tx) error {
					return tx.Enqueue(sixteenRows(t))
				}))
				r, stop := runRelay(t, o)
				require.NoError(t, r.Drained(limited(t)))
				stop()
				require.GreaterOrEqual(t, count.Load(), nth, "the fault was met")
				require.EqualValues(t, 1, r.Stats().Failed)
				require.EqualValues(t, 16, r.Stats().Published)
				requireWhole(t, map[string]int64{"a": 5, "b": 5, "c": 6}, inStream(t, real))
			})
		}
	}
}

// sixteenRows are three cases, each with several rows in a row.
func sixteenRows(t *testing.T) []store.OutboxRow {
	t.Helper()
	var rows []store.OutboxRow
	for _, c := range []struct {
		id          string
		first, last int64
	}{{"a", 1, 3}, {"b", 1, 5}, {"a", 4, 5}, {"c", 1, 6}} {
		for n := c.first; n <= c.last; n++ {
			rows = append(rows, row(t, c.id, n))
		}
	}
	return rows
}

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

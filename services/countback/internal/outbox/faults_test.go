package outbox

import (
	"context"
	"errors"
	"fmt"
	"sync/atomic"
	"testing"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/store"
)

var errInjected = errors.New("injected")

// failing is the real store with faults put between it and the relay. Each
// function is asked before the real call and may return an error instead.
type failing struct {
	*store.DB
	read func() error
	mark func([]store.Mark) error
}

func (f *failing) Unpublished(ctx context.Context, limit int) ([]store.OutboxRow, error) {
	if f.read != nil {
		if err := f.read(); err != nil {
			return nil, err
		}
	}
	return f.DB.Unpublished(ctx, limit)
}

func (f *failing) MarkPublished(ctx context.Context, marks []store.Mark) error {
	if f.mark != nil {
		if err := f.mark(marks); err != nil {
			return err
		}
	}
	return f.DB.MarkPublished(ctx, marks)
}

// failingJS is the real JetStream with faults around a publish: before it
// (nothing was sent) or after it (it was stored, the answer was lost).
type failingJS struct {
	jetstream.JetStream
	before, after func() error
}

func (f *failingJS) PublishMsg(ctx context.Context, m *nats.Msg, opts ...jetstream.PublishOpt) (*jetstream.PubAck, error) {
	if err := f.before(); err != nil {
		return nil, err
	}
	ack, err := f.JetStream.PublishMsg(ctx, m, opts...)
	if lost := f.after(); lost != nil {
		return nil, lost
	}
	return ack, err
}

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
				direct := connect(t, startServer(t, ServerOptions{}).Connect)
				var count atomic.Int64
				rows, js := &failing{DB: db}, &failingJS{JetStream: direct, before: never, after: never}
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
				requireWhole(t, map[string]int64{"a": 5, "b": 5, "c": 6}, inStream(t, direct))
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

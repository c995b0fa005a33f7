package outbox

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"example.org/countback/services/countback/internal/event"
	"example.org/countback/services/countback/internal/store"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// testLimit ends a test that hangs. Nothing waits for it in a passing run.
const testLimit = 90 * time.Second

// today is where the clock of the tests stands.
var today = time.Date(2026, 11, 2, 12, 0, 0, 0, time.UTC)

func clock() time.Time { return today }

func limited(t *testing.T) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), testLimit)
	t.Cleanup(cancel)
	return ctx
}

func startServer(t *testing.T, o ServerOptions) *Server {
	t.Helper()
	if o.StoreDir == "" {
		o.StoreDir = t.TempDir()
	}
	s, err := StartServer(o)
	require.NoError(t, err)
	t.Cleanup(s.Shutdown)
	return s
}

func connect(t *testing.T, dial func() (*nats.Conn, error)) jetstream.JetStream {
	t.Helper()
	nc, err := dial()
	require.NoError(t, err)
	t.Cleanup(nc.Close)
	js, err := jetstream.New(nc)
	require.NoError(t, err)
	return js
}

// broker is a server that listens, so that a connection outlives its restart.
type broker struct {
	t      *testing.T
	dir    string
	server *Server
	url    string
	conns  []*nats.Conn
}

func startBroker(t *testing.T) *broker {
	t.Helper()
	b := &broker{t: t, dir: t.TempDir()}
	b.server = startServer(t, ServerOptions{StoreDir: b.dir, Listen: "127.0.0.1:0"})
	b.url = b.server.ClientURL()
	return b
}

func (b *broker) js() jetstream.JetStream {
	js := connect(b.t, func() (*nats.Conn, error) { return Connect(b.url) })
	b.conns = append(b.conns, js.Conn())
	return js
}

func (b *broker) stop() { b.server.Shutdown() }

// start begins anew on the same files and port, and returns when every
// connection is back: one that is not yet refuses whatever is asked of it.
func (b *broker) start() {
	b.t.Helper()
	b.server = startServer(b.t, ServerOptions{StoreDir: b.dir, Listen: b.url[len("nats://"):]})
	for _, nc := range b.conns {
		connected := nc.StatusChanged(nats.CONNECTED)
		for !nc.IsConnected() && !nc.IsClosed() {
			select {
			case <-connected:
			case <-limited(b.t).Done():
				require.Fail(b.t, "the connection is not back")
			}
		}
		nc.RemoveStatusListener(connected)
	}
}

func openStore(t *testing.T) *store.DB {
	t.Helper()
	db, err := store.Open(limited(t), store.Options{Path: t.TempDir(), Now: clock})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	return db
}

// sample builds the nth event of a case.
func sample(t *testing.T, caseID string, sequence int64) event.Event {
	t.Helper()
	e, err := event.NewCase(event.Options{
		ID: fmt.Sprintf("%s-%d", caseID, sequence), Facility: "north", Name: event.CaseRedated,
		Time: today, CaseSequence: sequence,
	}, event.CaseData{
		CarePlan: caseID, Version: sequence, State: "on-track",
		Protocol: "http://countback.example/fhir/PlanDefinition/p|1",
	})
	require.NoError(t, err)
	return e
}

func row(t *testing.T, caseID string, sequence int64) store.OutboxRow {
	t.Helper()
	e := sample(t, caseID, sequence)
	body, err := event.Encode(e)
	require.NoError(t, err)
	subject, err := event.Subject("north", e.Name())
	require.NoError(t, err)
	return store.OutboxRow{ID: e.ID, CaseID: caseID, CaseSequence: sequence, Subject: subject, Body: body}
}

// enqueue commits events first to last of a case, one transaction each.
func enqueue(t *testing.T, db *store.DB, caseID string, first, last int64) {
	t.Helper()
	for n := first; n <= last; n++ {
		require.NoError(t, db.Write(limited(t), func(tx *store.Tx) error {
			return tx.Enqueue([]store.OutboxRow{row(t, caseID, n)})
		}))
	}
}

// relayOptions rest briefly, so that failures cost a test little time. Poll is
// long, so that a wake-up that is missed shows.
func relayOptions(rows Rows, js jetstream.JetStream) RelayOptions {
	return RelayOptions{
		Rows: rows, JS: js, Now: clock, Poll: time.Hour,
		RetryMin: time.Millisecond, RetryMax: 20 * time.Millisecond,
	}
}

// runRelay starts a relay and returns it with a function that stops it.
func runRelay(t *testing.T, o RelayOptions) (*Relay, func()) {
	t.Helper()
	r, err := NewRelay(o)
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- r.Run(ctx) }()
	stop := sync.OnceFunc(func() {
		cancel()
		require.NoError(t, <-ended)
	})
	t.Cleanup(stop)
	return r, stop
}

// inStream reads every event in the stream, in order.
func inStream(t *testing.T, js jetstream.JetStream) []event.Event {
	t.Helper()
	ctx := limited(t)
	stream, err := js.Stream(ctx, StreamName)
	require.NoError(t, err)
	state := stream.CachedInfo().State
	var out []event.Event
	for seq := max(1, state.FirstSeq); seq <= state.LastSeq; seq++ {
		msg, err := stream.GetMsg(ctx, seq)
		if errors.Is(err, jetstream.ErrMsgNotFound) {
			continue
		}
		require.NoError(t, err)
		e, err := event.FromMessage(msg.Header, msg.Data)
		require.NoError(t, err)
		require.Equal(t, e.ID, msg.Header.Get(nats.MsgIdHdr))
		out = append(out, e)
	}
	return out
}

// sequences lists the casesequence of each case in the order of the stream.
func sequences(events []event.Event) map[string][]int64 {
	out := map[string][]int64{}
	for _, e := range events {
		out[e.CaseID()] = append(out[e.CaseID()], e.CaseSequence)
	}
	return out
}

func upTo(n int64) []int64 {
	var out []int64
	for i := int64(1); i <= n; i++ {
		out = append(out, i)
	}
	return out
}

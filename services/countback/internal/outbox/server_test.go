package outbox

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/event"
)

func TestServerWithoutPortKeepsItsStream(t *testing.T) {
	dir := t.TempDir()
	s := startServer(t, ServerOptions{StoreDir: dir})
	require.Empty(t, s.ClientURL())
	require.True(t, s.nats.JetStreamConfig().SyncAlways, "an acknowledged message is on disk")
	js := connect(t, s.Connect)
	require.NoError(t, EnsureStream(limited(t), js))
	_, err := js.Publish(limited(t), "countback.v1.north.case.opened", []byte("x"))
	require.NoError(t, err)
	js.Conn().Close()
	s.Shutdown()
	s.Shutdown()

	again := startServer(t, ServerOptions{StoreDir: dir})
	stream, err := connect(t, again.Connect).Stream(limited(t), StreamName)
	require.NoError(t, err)
	require.EqualValues(t, 1, stream.CachedInfo().State.Msgs)
}

func TestServerOnFreePort(t *testing.T) {
	s := startServer(t, ServerOptions{Listen: "127.0.0.1:0"})
	require.Regexp(t, `^nats://127\.0\.0\.1:[1-9][0-9]*$`, s.ClientURL())
	js := connect(t, func() (*nats.Conn, error) { return Connect(s.ClientURL()) })
	require.NoError(t, EnsureStream(limited(t), js))
}

func TestServerRefusesOptions(t *testing.T) {
	for _, tt := range []struct {
		name string
		o    ServerOptions
	}{
		{"no folder", ServerOptions{}},
		{"every interface", ServerOptions{StoreDir: "x", Listen: ":4222"}},
		{"every interface by number", ServerOptions{StoreDir: "x", Listen: "0.0.0.0:4222"}},
		{"another host", ServerOptions{StoreDir: "x", Listen: "192.0.2.7:4222"}},
		{"no port", ServerOptions{StoreDir: "x", Listen: "127.0.0.1"}},
		{"a port by name", ServerOptions{StoreDir: "x", Listen: "127.0.0.1:nats"}},
		{"a port too high", ServerOptions{StoreDir: "x", Listen: "127.0.0.1:65536"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, err := StartServer(tt.o)
			require.ErrorIs(t, err, ErrServer)
		})
	}
}

func TestServerWritesToOurLog(t *testing.T) {
	var buf lockedBuffer
	log := slog.New(slog.NewTextHandler(&buf, &slog.HandlerOptions{Level: slog.LevelDebug}))
	startServer(t, ServerOptions{Log: log}).Shutdown()
	require.Contains(t, buf.String(), "nats server")
}

type lockedBuffer struct {
	mu  sync.Mutex
	buf bytes.Buffer
}

func (b *lockedBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.buf.Write(p)
}

func (b *lockedBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.buf.String()
}

func TestConnect(t *testing.T) {
	nc, err := Connect("nats://127.0.0.1:1") // nobody listens there
	require.NoError(t, err, "a broker that is away is waited for")
	defer nc.Close()
	js, err := jetstream.New(nc)
	require.NoError(t, err)
	ctx, cancel := context.WithTimeout(limited(t), 20*time.Millisecond)
	defer cancel()
	require.ErrorIs(t, EnsureStream(ctx, js), context.DeadlineExceeded)

	_, err = Connect("nats://127.0.0.1:port")
	require.Error(t, err)
}

func TestEnsureStream(t *testing.T) {
	create := func(t *testing.T, have *jetstream.StreamConfig) (jetstream.StreamConfig, error) {
		s := startServer(t, ServerOptions{})
		js := connect(t, s.Connect)
		if have != nil {
			_, err := js.CreateStream(limited(t), *have)
			require.NoError(t, err)
		}
		if err := EnsureStream(limited(t), js); err != nil {
			return jetstream.StreamConfig{}, err
		}
		require.NoError(t, EnsureStream(limited(t), js), "a second time")
		stream, err := js.Stream(limited(t), StreamName)
		require.NoError(t, err)
		return stream.CachedInfo().Config, nil
	}
	all := []string{event.SubjectAll}
	t.Run("none yet", func(t *testing.T) {
		got, err := create(t, nil)
		require.NoError(t, err)
		require.Equal(t, all, got.Subjects)
		require.Equal(t, jetstream.FileStorage, got.Storage)
		require.Equal(t, jetstream.LimitsPolicy, got.Retention)
		require.GreaterOrEqual(t, got.MaxAge, auditAge+24*time.Hour)
		require.Equal(t, duplicateWindow, got.Duplicates)
		require.Equal(t, 1, got.Replicas)
		require.EqualValues(t, -1, got.MaxBytes)
		require.EqualValues(t, -1, got.MaxMsgs)
	})
	t.Run("an operator's, with more", func(t *testing.T) {
		got, err := create(t, &jetstream.StreamConfig{
			Name: StreamName, Subjects: append(all, "hospital.>"), Description: "ours",
			MaxAge: 90 * 24 * time.Hour, Duplicates: time.Hour,
		})
		require.NoError(t, err)
		require.Equal(t, append(all, "hospital.>"), got.Subjects)
		require.Equal(t, "ours", got.Description)
		require.Equal(t, 90*24*time.Hour, got.MaxAge)
		require.Equal(t, time.Hour, got.Duplicates)
	})
	t.Run("an operator's, with less", func(t *testing.T) {
		got, err := create(t, &jetstream.StreamConfig{
			Name: StreamName, Subjects: []string{"hospital.>"}, MaxAge: time.Hour, Duplicates: time.Second,
		})
		require.NoError(t, err)
		require.Equal(t, append([]string{"hospital.>"}, all...), got.Subjects)
		require.Equal(t, streamMaxAge, got.MaxAge)
		require.Equal(t, duplicateWindow, got.Duplicates)
	})
	t.Run("kept for ever stays so", func(t *testing.T) {
		got, err := create(t, &jetstream.StreamConfig{Name: StreamName, Subjects: all})
		require.NoError(t, err)
		require.Zero(t, got.MaxAge)
	})
	t.Run("in memory", func(t *testing.T) {
		_, err := create(t, &jetstream.StreamConfig{Name: StreamName, Subjects: all, Storage: jetstream.MemoryStorage})
		require.ErrorIs(t, err, ErrStream)
	})
	t.Run("deleted when read", func(t *testing.T) {
		_, err := create(t, &jetstream.StreamConfig{Name: StreamName, Subjects: all, Retention: jetstream.WorkQueuePolicy})
		require.ErrorIs(t, err, ErrStream)
	})
}

func TestEnsureStreamWaitsForAnElection(t *testing.T) {
	ports := freePorts(t, clusterReplicas)
	var routes string
	for _, port := range ports {
		routes += fmt.Sprintf("nats://127.0.0.1:%d,", port)
	}
	var nodes []*server.Server
	for i, port := range ports {
		s, err := server.NewServer(&server.Options{
			ServerName: fmt.Sprintf("node-%d", i), Host: "127.0.0.1", Port: server.RANDOM_PORT,
			JetStream: true, StoreDir: t.TempDir(), NoSigs: true, NoLog: true,
			Cluster: server.ClusterOpts{Name: "hospital", Host: "127.0.0.1", Port: port},
			Routes:  server.RoutesFromStr(strings.TrimSuffix(routes, ",")),
		})
		require.NoError(t, err)
		s.Start()
		t.Cleanup(func() { s.Shutdown(); s.WaitForShutdown() })
		nodes = append(nodes, s)
	}
	for _, s := range nodes {
		require.True(t, s.ReadyForConnections(testLimit))
	}
	js := connect(t, func() (*nats.Conn, error) { return Connect(nodes[0].ClientURL()) })
	require.Error(t, ensureOnce(limited(t), js), "nobody is elected yet")
	require.NoError(t, EnsureStream(limited(t), js))
	stream, err := js.Stream(limited(t), StreamName)
	require.NoError(t, err)
	require.Equal(t, clusterReplicas, stream.CachedInfo().Config.Replicas)
}

// freePorts finds ports that nobody listens on, since each node of a cluster
// must know those of the others before any of them starts.
func freePorts(t *testing.T, n int) []int {
	t.Helper()
	var ports []int
	for range n {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		require.NoError(t, err)
		defer func() { require.NoError(t, l.Close()) }()
		ports = append(ports, l.Addr().(*net.TCPAddr).Port)
	}
	return ports
}

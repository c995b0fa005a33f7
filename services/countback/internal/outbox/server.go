package outbox

import (
	"errors"
	"fmt"
	"log/slog"
	"net"
	"strconv"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
)

// ErrServer says that the embedded NATS server could not be started.
var ErrServer = errors.New("embedded NATS server")

// startLimit bounds the start. An empty store starts in milliseconds; a store
// of millions of messages after a crash is read through first.
const startLimit = time.Minute

// reconnectWait is the pause between attempts to reach a server that went away.
const reconnectWait = 250 * time.Millisecond

// ServerOptions configure the embedded server.
type ServerOptions struct {
	StoreDir string       // folder of the JetStream files; must belong to this process alone
	Listen   string       // "host:port" on loopback, port 0 for a free one; "" opens no port
	Log      *slog.Logger // nil = silent
}

// Server is a NATS server with JetStream inside this process.
type Server struct{ nats *server.Server }

// StartServer starts the embedded server and returns when it takes
// connections. It listens on loopback only, since it knows no accounts: what
// is to be reached from elsewhere is a NATS server of its own, with TLS and
// accounts. The error is ErrServer.
func StartServer(o ServerOptions) (*Server, error) {
	if o.StoreDir == "" {
		return nil, fmt.Errorf("%w: no store folder given", ErrServer)
	}
	options := &server.Options{
		ServerName: "countback",
		JetStream:  true,
		StoreDir:   o.StoreDir,
		// The default syncs every two minutes: a power cut then loses
		// acknowledged messages (nats-server issue 7564).
		SyncAlways:             true,
		NoSigs:                 true,
		DontListen:             true,
		DisableJetStreamBanner: true,
	}
	if o.Listen != "" {
		host, port, err := loopback(o.Listen)
		if err != nil {
			return nil, err
		}
		options.DontListen, options.Host, options.Port = false, host, port
	}
	s, err := server.NewServer(options)
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrServer, err)
	}
	s.SetLoggerV2(serverLog{orSilent(o.Log)}, false, false, false)
	s.Start()
	if !s.ReadyForConnections(startLimit) {
		s.Shutdown()
		s.WaitForShutdown()
		return nil, fmt.Errorf("%w: not ready within %s; the store folder may be unusable or the port taken", ErrServer, startLimit)
	}
	return &Server{nats: s}, nil
}

func loopback(listen string) (host string, port int, err error) {
	host, text, err := net.SplitHostPort(listen)
	if err != nil {
		return "", 0, fmt.Errorf("%w: listen address: %w", ErrServer, err)
	}
	port, err = strconv.Atoi(text)
	if err != nil || port < 0 || port > 65535 {
		return "", 0, fmt.Errorf("%w: listen address has no valid port", ErrServer)
	}
	if ip := net.ParseIP(host); host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return "", 0, fmt.Errorf("%w: it listens on loopback only, as it knows no accounts", ErrServer)
	}
	if port == 0 {
		port = server.RANDOM_PORT
	}
	return host, port, nil
}

// Connect returns a connection that passes through no port. It does not
// outlive the server.
func (s *Server) Connect() (*nats.Conn, error) {
	nc, err := nats.Connect("", append(connectOptions(), nats.InProcessServer(s.nats))...)
	if err != nil {
		return nil, fmt.Errorf("connect to the embedded NATS server: %w", err)
	}
	return nc, nil
}

// ClientURL is where other processes reach the server; "" without a port.
func (s *Server) ClientURL() string {
	if s.nats.Addr() == nil {
		return ""
	}
	return s.nats.ClientURL()
}

// Shutdown stops the server and returns when its files are closed. It may be
// called more than once.
func (s *Server) Shutdown() {
	s.nats.Shutdown()
	s.nats.WaitForShutdown()
}

// Connect returns a connection to an external NATS server or cluster. It
// succeeds while the server is down and goes on trying, because a broker that
// is away must not keep anyone from working; only a wrong URL or wrong options
// are errors. Further options (TLS, credentials) are the caller's.
func Connect(url string, more ...nats.Option) (*nats.Conn, error) {
	options := append(connectOptions(), nats.RetryOnFailedConnect(true))
	nc, err := nats.Connect(url, append(options, more...)...)
	if err != nil {
		return nil, fmt.Errorf("connect to NATS: %w", err)
	}
	return nc, nil
}

func connectOptions() []nats.Option {
	return []nats.Option{
		nats.Name("countback"),
		nats.MaxReconnects(-1),
		nats.ReconnectWait(reconnectWait),
		// No buffer while disconnected: a publish that cannot be sent fails at
		// once and its row is tried again, instead of leaving the process late.
		nats.ReconnectBufSize(-1),
	}
}

// serverLog writes the server's log lines to ours. Debug and trace lines, which
// could hold what messages hold, are never asked for.
type serverLog struct{ log *slog.Logger }

func (l serverLog) Noticef(format string, v ...any) {
	l.log.Debug("nats server", "text", fmt.Sprintf(format, v...))
}

func (l serverLog) Warnf(format string, v ...any) {
	l.log.Warn("nats server", "text", fmt.Sprintf(format, v...))
}

func (l serverLog) Errorf(format string, v ...any) {
	l.log.Error("nats server", "text", fmt.Sprintf(format, v...))
}

func (l serverLog) Fatalf(format string, v ...any) {
	l.log.Error("nats server cannot go on", "text", fmt.Sprintf(format, v...))
}

func (l serverLog) Debugf(string, ...any) {}
func (l serverLog) Tracef(string, ...any) {}

func orSilent(log *slog.Logger) *slog.Logger {
	if log == nil {
		return slog.New(slog.DiscardHandler)
	}
	return log
}

package mllp

import (
	"bufio"
	"cmp"
	"context"
	"errors"
	"io"
	"log/slog"
	"net"
	"sync"
	"syscall"
	"time"

	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/siu"
)

// Limits, each with the one default that New sets in place of zero.
const (
	maxMessage = 256 << 10 // bytes of a message
	maxConns   = 64        // connections at once
	passTimes  = 64        // messages up to so many times too long are passed over

	idleTime  = time.Hour        // between messages
	frameTime = 30 * time.Second // for one message to arrive, and for an answer to go
	workTime  = time.Minute      // for one message to be stored

	acceptPause = 100 * time.Millisecond // after a connection that could not be taken
)

// Options say what a Server serves.
type Options struct {
	Office *casework.Office
	Read   siu.Options
	Log    *slog.Logger
	Now    func() time.Time // for MSH-7 of answers

	MaxMessage, MaxConns int // bytes of a message, and connections at once; zero: the defaults
	// Idle is how long a connection may wait between messages, Frame how long one
	// message may take to arrive and its answer to go; zero: the defaults.
	Idle, Frame time.Duration
}

// Figures are what an operator watches.
type Figures struct {
	Answers     map[string]int64 // by acknowledgment code
	Connections int
}

// Server answers messages. It serves one listener.
type Server struct {
	Options
	mu      sync.Mutex
	conns   map[net.Conn]bool // true: a message is in hand
	closing bool
	answers map[string]int64
	done    sync.WaitGroup

	// work is held from the look at what is held to the commit: else two messages
	// at once would both find nobody, and make one person two.
	work sync.Mutex
}

// New makes a server.
func New(o Options) *Server {
	o.MaxMessage, o.MaxConns = cmp.Or(o.MaxMessage, maxMessage), cmp.Or(o.MaxConns, maxConns)
	o.Idle, o.Frame = cmp.Or(o.Idle, idleTime), cmp.Or(o.Frame, frameTime)
	return &Server{Options: o, conns: map[net.Conn]bool{}, answers: map[string]int64{}}
}

// passing reports an error of Accept after which the next may go well: that of
// one connection, or of the machine being short of something. It must not end a
// service that others are being served by.
func passing(err error) bool {
	for _, e := range []error{syscall.ECONNABORTED, syscall.EMFILE, syscall.ENFILE, syscall.ENOBUFS, syscall.ENOMEM} {
		if errors.Is(err, e) {
			return true
		}
	}
	return false
}

// Serve takes connections until the listener is closed, and returns nil then.
func (s *Server) Serve(l net.Listener) error {
	for {
		conn, err := l.Accept()
		if errors.Is(err, net.ErrClosed) {
			return nil
		}
		if passing(err) {
			s.Log.Warn("hl7 connection could not be taken; it is tried again", "error", err)
			time.Sleep(acceptPause)
			continue
		}
		if err != nil {
			return err
		}
		if !s.open(conn) {
			s.Log.Warn("hl7 connection refused: there are as many as are allowed", "connections", s.MaxConns)
			conn.Close()
			continue
		}
		go func() {
			defer s.done.Done()
			defer s.gone(conn)
			s.talk(conn)
		}()
	}
}

// Close ends connections that wait for a message, and returns when the others have
// answered theirs, or with the error of ctx. The listener is the caller's to close,
// before.
func (s *Server) Close(ctx context.Context) error {
	s.mu.Lock()
	s.closing = true
	for conn, busy := range s.conns {
		if !busy {
			conn.Close()
		}
	}
	s.mu.Unlock()
	finished := make(chan struct{})
	go func() { s.done.Wait(); close(finished) }()
	select {
	case <-finished:
		return nil
	case <-ctx.Done():
	}
	s.mu.Lock()
	for conn := range s.conns {
		conn.Close()
	}
	s.mu.Unlock()
	<-finished
	return ctx.Err()
}

// Figures gives the counts since the start.
func (s *Server) Figures() Figures {
	s.mu.Lock()
	defer s.mu.Unlock()
	f := Figures{Answers: map[string]int64{}, Connections: len(s.conns)}
	for code, n := range s.answers {
		f.Answers[code] = n
	}
	return f
}

func (s *Server) open(conn net.Conn) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.closing || len(s.conns) >= s.MaxConns {
		return false
	}
	s.conns[conn] = false
	s.done.Add(1)
	return true
}

func (s *Server) gone(conn net.Conn) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.conns, conn)
	conn.Close()
}

// busy notes whether a connection has a message in hand; false is given when the
// server is closing and no more is to be done.
func (s *Server) busy(conn net.Conn, working bool) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.conns[conn] = working && !s.closing
	return !s.closing
}

// talk answers the messages of one connection in their order.
func (s *Server) talk(conn net.Conn) {
	// A timer and not a deadline: what the clock shows is no business of ours.
	patience := time.AfterFunc(s.Idle, func() { conn.Close() })
	defer patience.Stop()
	r := bufio.NewReader(conn)
	for {
		patience.Reset(s.Idle)
		message, err := readFrame(r, s.MaxMessage, passTimes*s.MaxMessage, func() { patience.Reset(s.Frame) })
		switch {
		case errors.Is(err, errFraming):
			s.Log.Warn("hl7 connection ended: " + errFraming.Error())
			return
		case err != nil && !errors.Is(err, errTooLong):
			if !errors.Is(err, io.EOF) && !errors.Is(err, net.ErrClosed) {
				s.Log.Info("hl7 connection broke")
			}
			return
		}
		patience.Stop()
		if !s.busy(conn, true) {
			return
		}
		answer := s.answer(message, err)
		patience.Reset(s.Frame)
		if _, err := conn.Write(framed(answer)); err != nil {
			s.Log.Warn("hl7 answer could not be sent; the sender will send its message again")
			return
		}
		if !s.busy(conn, false) {
			return
		}
	}
}

package mllp

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/hl7"
	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/siu"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// logged is what was written to the log.
type logged struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (l *logged) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(p)
}

func (l *logged) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

// inlet is a server over a real office and a real database, on a real port.
type inlet struct {
	*Server
	t        *testing.T
	db       *store.DB
	log      *logged
	listener net.Listener
	served   chan error
}

func open(t *testing.T, change ...func(*Options)) *inlet {
	t.Helper()
	zone, err := time.LoadLocation("America/Chicago")
	require.NoError(t, err)
	cal, err := calendar.New(calendar.Options{Zone: zone})
	require.NoError(t, err)
	now := func() time.Time { return time.Date(2026, 11, 2, 9, 0, 0, 0, zone) }
	in := &inlet{t: t, log: &logged{}, served: make(chan error, 1)}
	in.db, err = store.Open(t.Context(), store.Options{Path: t.TempDir(), Now: now})
	require.NoError(t, err)
	office, err := casework.Open(t.Context(), casework.Options{DB: in.db, Facility: translate.Facility{Calendar: cal, Base: "https://plans.meadowfold.example/fhir"}, Token: "main"})
	require.NoError(t, err)
	o := Options{
		Office: office, Now: now, Log: slog.New(slog.NewJSONHandler(in.log, nil)),
		Read: siu.Options{Zone: zone, Systems: map[string]string{"REG": "https://registry.meadowfold.example/person", "THEATRE": "https://theatre.meadowfold.example/appointment"}},
	}
	for _, f := range change {
		f(&o)
	}
	in.Server = New(o)
	in.listener, err = net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	go func() { in.served <- in.Serve(in.listener) }()
	t.Cleanup(func() {
		in.listener.Close()
		require.NoError(t, in.Close(context.Background()))
		require.NoError(t, <-in.served)
		require.NoError(t, in.db.Close())
		require.NotContains(t, strings.ToLower(in.log.String()), "canary", "the log holds what was sent")
	})
	return in
}

// line is a sender's connection.
type line struct {
	net.Conn
	t *testing.T
	r *bufio.Reader
}

func (in *inlet) dial() *line {
	in.t.Helper()
	conn, err := net.Dial("tcp", in.listener.Addr().String())
	require.NoError(in.t, err)
	in.t.Cleanup(func() { conn.Close() })
	return &line{conn, in.t, bufio.NewReader(conn)}
}

func (l *line) put(raw []byte) {
	l.t.Helper()
	_, err := l.Write(raw)
	require.NoError(l.t, err)
}

// answered gives the code and the message of the next answer, and its message's id.
func (l *line) answered() (code, id string, m *hl7.Message) {
	l.t.Helper()
	raw, err := readFrame(l.r, 1<<20, 1<<20, func() {})
	require.NoError(l.t, err)
	m, err = hl7.Parse(raw)
	require.NoError(l.t, err)
	msa := m.All("MSA")[0]
	return msa.Value(1, 1), msa.Value(2, 1), m
}

// ended asks that the server has closed the connection without another byte.
func (l *line) ended() {
	l.t.Helper()
	rest, _ := io.ReadAll(l.r) // a reset is an end as well
	require.Empty(l.t, rest)
}

func message(n int) []byte {
	return fmt.Appendf(nil, "MSH|^~\\&|THEATRE|MEADOWFOLD|||20261005101500-0500||SIU^S12|%d|P|2.5.1\r"+
		"SCH||A-%[1]d^THEATRE|||||||||^^^20261130073000^20261130093000\r"+
		"PID|||P-%[1]d^^^REG||Canary^Number%[1]d||19510302|F\rAIS|||0SRD0J9^Left knee^I10P\r", n)
}

func (in *inlet) kept() (deliveries int) {
	in.t.Helper()
	require.NoError(in.t, in.db.Read(context.Background(), func(tx *store.Tx) error {
		for id := int64(1); ; id++ {
			if _, err := tx.Archived(id); err != nil {
				return nil
			}
			deliveries++
		}
	}))
	return deliveries
}

// What came is kept as it was sent, byte for byte.
func TestBytesAreKept(t *testing.T) {
	in := open(t)
	l := in.dial()
	before := in.kept()
	sent := bytes.ReplaceAll(message(1), []byte("\r"), []byte("\r\n"))
	l.put(framed(sent))
	code, id, _ := l.answered()
	require.Equal(t, "AA", code)
	require.Equal(t, "1", id)
	require.NoError(t, in.db.Read(context.Background(), func(tx *store.Tx) error {
		got, err := tx.Archived(int64(before + 1))
		require.NoError(t, err)
		require.Equal(t, sent, got.Body)
		require.Equal(t, "hl7v2:THEATRE/MEADOWFOLD", got.Source)
		require.Equal(t, mediaType, got.ContentType)
		require.Equal(t, "SIU^S12", got.Target)
		return nil
	}))
}

// Messages of one connection are answered in their order, however they arrive.
func TestOrderOfAnswers(t *testing.T) {
	in := open(t)
	l := in.dial()
	var all []byte
	for n := range 5 {
		all = append(append(all, framed(message(n))...), "\r\n"...)
	}
	for _, part := range [][]byte{all[:1], all[1:300], all[300:]} {
		l.put(part)
	}
	for n := range 5 {
		code, id, _ := l.answered()
		require.Equal(t, "AA", code)
		require.Equal(t, fmt.Sprint(n), id)
	}
	require.Equal(t, Figures{Answers: map[string]int64{"AA": 5}, Connections: 1}, in.Figures())
}

// hold keeps the one writer of the database busy until the function that it gives
// is called.
func (in *inlet) hold() (release func()) {
	held, free, done := make(chan struct{}), make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		_ = in.db.Write(context.Background(), func(*store.Tx) error { close(held); <-free; return nil })
	}()
	<-held
	return func() { close(free); <-done }
}

func (in *inlet) inHand() bool {
	in.mu.Lock()
	defer in.mu.Unlock()
	for _, busy := range in.conns {
		if busy {
			return true
		}
	}
	return false
}

// Nothing is answered before it is committed; and a server that is told to close
// meanwhile finishes the message in hand, while a connection that waits is ended.
func TestAnswerAfterCommitAndClose(t *testing.T) {
	in := open(t)
	waiting, working := in.dial(), in.dial()
	waiting.put(framed(message(1)))
	waiting.answered()
	release := in.hold()
	working.put(framed(message(2)))
	require.Eventually(t, in.inHand, 10*time.Second, time.Millisecond)
	require.NoError(t, working.SetReadDeadline(time.Now().Add(100*time.Millisecond)))
	_, err := working.Conn.Read(make([]byte, 1))
	require.ErrorIs(t, err, os.ErrDeadlineExceeded, "answered before the commit")
	require.NoError(t, working.SetReadDeadline(time.Time{}))

	require.NoError(t, in.listener.Close())
	closed := make(chan error, 1)
	go func() { closed <- in.Close(context.Background()) }()
	waiting.ended()
	release()
	code, id, _ := working.answered()
	require.Equal(t, "AA", code)
	require.Equal(t, "2", id)
	require.NoError(t, <-closed)
	working.ended()
}

// What cannot be stored now is answered AR, and taken when it is sent again.
func TestFailureIsToBeSentAgain(t *testing.T) {
	in := open(t)
	require.NoError(t, in.db.Close())
	l := in.dial()
	l.put(framed(message(1)))
	code, id, m := l.answered()
	require.Equal(t, "AR", code)
	require.Equal(t, "1", id)
	require.Equal(t, "207", m.All("ERR")[0].Value(3, 1))
	require.Contains(t, m.All("ERR")[0].Value(8, 1), "send the message again")
}

func TestFrames(t *testing.T) {
	small := func(o *Options) { o.MaxMessage = 1000 }
	for _, c := range []struct {
		name   string
		raw    string
		answer string // of the message with the fault; empty: the connection ends
		code   string
	}{
		{"no frame", "canary", "", ""},
		{"no end", "\x0bcanary\x1cx", "", ""},
		{"a beginning within", "\x0bcanary\x0b", "", ""},
		{"an empty frame", "\x0b\x1c\r", "AR", "100"},
		{"too long", "\x0b" + string(message(7)) + strings.Repeat("NTE|canary\r", 100) + "\x1c\r", "AR", "104"},
		{"far too long", "\x0b" + strings.Repeat("canary", 12000), "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := open(t, small)
			l := in.dial()
			_, err := l.Write([]byte(c.raw))
			if c.answer == "" {
				l.ended()
				in.dial().put(framed(message(1))) // others are not harmed
				return
			}
			require.NoError(t, err)
			code, _, m := l.answered()
			require.Equal(t, c.answer, code)
			require.Equal(t, c.code, m.All("ERR")[0].Value(3, 1))
			l.put(framed(message(8)))
			code, id, _ := l.answered()
			require.Equal(t, "AA", code)
			require.Equal(t, "8", id)
		})
	}
}

func TestPatience(t *testing.T) {
	in := open(t, func(o *Options) { o.Idle = 50 * time.Millisecond })
	in.dial().ended()
	in = open(t, func(o *Options) { o.Frame = 50 * time.Millisecond })
	l := in.dial()
	l.put([]byte("\x0bMSH|"))
	l.ended()
}

func TestTooManyConnections(t *testing.T) {
	in := open(t, func(o *Options) { o.MaxConns = 2 })
	first, second := in.dial(), in.dial()
	for n, l := range []*line{first, second} {
		l.put(framed(message(n)))
		l.answered()
	}
	in.dial().ended()
	require.NoError(t, first.Close())
	require.Eventually(t, func() bool { return in.Figures().Connections == 1 }, 10*time.Second, time.Millisecond)
	again := in.dial()
	again.put(framed(message(3)))
	code, _, _ := again.answered()
	require.Equal(t, "AA", code)
}

// The log says of each message what came of it and where its faults are.
func TestLog(t *testing.T) {
	in := open(t)
	l := in.dial()
	l.put(framed(bytes.ReplaceAll(message(1), []byte("^^^REG"), []byte("^^^CANARY"))))
	code, _, m := l.answered()
	require.Equal(t, "AE", code)
	var line map[string]any
	require.NoError(t, json.Unmarshal([]byte(in.log.String()), &line))
	delete(line, "time")
	require.Equal(t, map[string]any{"level": "INFO", "msg": "hl7 message", "event": "S12", "answer": "AE", "id": m.Header().Value(10, 1), "at": []any{"PID-3.4 103"}}, line)
}

// A lost answer leaves nothing to be done: sent again, on another connection, it
// is answered as before.
func TestSentAgain(t *testing.T) {
	in := open(t)
	l := in.dial()
	l.put(framed(message(1)))
	require.NoError(t, l.Close())
	for range 2 {
		l := in.dial()
		l.put(framed(message(1)))
		code, _, m := l.answered()
		require.Equal(t, "AA", code)
		require.Empty(t, m.All("ERR"))
	}
}

package notify

import (
	"context"
	"encoding/binary"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/subscription"
)

// answering is a resolver over a DNS server (RFC 1035) that gives every name one
// IPv4 address, and no other.
func answering(t *testing.T, to string) *net.Resolver {
	t.Helper()
	conn, err := net.ListenPacket("udp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, conn.Close()) })
	address := netip.MustParseAddr(to).As4()
	go func() {
		packet := make([]byte, 1500)
		for {
			n, from, err := conn.ReadFrom(packet)
			if err != nil {
				return
			}
			end := 12
			for end < n && packet[end] != 0 {
				end += int(packet[end]) + 1
			}
			kind := binary.BigEndian.Uint16(packet[end+1:])
			reply := append([]byte(nil), packet[:end+5]...)
			copy(reply[2:], []byte{0x81, 0x80, 0, 1, 0, 0, 0, 0, 0, 0})
			if kind == 1 { // A
				reply[7] = 1
				reply = append(reply, 0xc0, 12, 0, 1, 0, 1, 0, 0, 0, 60, 0, 4)
				reply = append(reply, address[:]...)
			}
			_, _ = conn.WriteTo(reply, from)
		}
	}()
	return &net.Resolver{PreferGo: true, Dial: func(ctx context.Context, _, _ string) (net.Conn, error) {
		return new(net.Dialer).DialContext(ctx, "udp", conn.LocalAddr().String())
	}}
}

// A name is judged by where it leads when the connection is made: one that leads
// to this machine, or to where keys are handed out, is not written to, although
// the endpoint looks like any other.
func TestNamesThatLeadInside(t *testing.T) {
	h, r := newHouse(t), newReceiver(t)
	_, port, err := net.SplitHostPort(strings.TrimPrefix(r.server.URL, "http://"))
	require.NoError(t, err)
	for _, c := range []struct{ name, address string }{
		{"loopback", "127.0.0.1"}, {"link-local", "169.254.169.254"}, {"none", "0.0.0.0"}, {"multicast", "224.0.0.1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			policy := subscription.Policy{Plain: true}
			w := &Worker{o: Options{Secret: secret, Now: h.clock}, client: newClient(policy, answering(t, c.address))}
			why := w.send(t.Context(), &casework.Notification{Type: "application/fhir+json", Endpoint: "http://receiver.larkspindle.example:" + port + "/in", Timeout: time.Minute})
			require.Equal(t, errAddress.Error(), why)
			require.Zero(t, r.attempts())
		})
	}
	w := &Worker{o: Options{Secret: secret, Now: h.clock}, client: newClient(subscription.Policy{}, answering(t, "127.0.0.1"))}
	t.Cleanup(w.client.CloseIdleConnections)
	require.Empty(t, w.send(t.Context(), &casework.Notification{Type: "application/fhir+json", Endpoint: r.url(), Timeout: time.Minute, Body: notification(t)}),
		"an endpoint that says itself that it is on this machine")
}

// notification is one that a receiver takes.
func notification(t *testing.T) []byte {
	t.Helper()
	body, err := subscription.Notice{Base: base, ID: "1", Kind: subscription.Handshake, Status: subscription.Requested, Content: subscription.IDOnly}.Bundle()
	require.NoError(t, err)
	return body
}

// What is sent can be checked by its receiver, and only by who has the secret.
func TestSentIsSigned(t *testing.T) {
	h := newHouse(t)
	var checked, wrong error
	var target, input string
	server := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, q *http.Request) {
		body, err := io.ReadAll(q.Body)
		if checked = err; err != nil {
			return
		}
		input = q.Header.Get("Signature-Input")
		checked = Verify(q, body, target, secret, h.clock())
		wrong = Verify(q, body, target, append([]byte("x"), secret...), h.clock())
	}))
	t.Cleanup(server.Close)
	target = server.URL + "/in?of=countback"
	id := h.subscribe(wish(target, "plan-changed", ""))
	h.pass()
	status, _ := h.status(id)
	require.Equal(t, "active", status)
	require.NoError(t, checked)
	require.Equal(t, `countback=("@method" "@target-uri" "content-digest" "content-type");created=1791298800;keyid="`+KeyID(secret)+`";alg="hmac-sha256"`, input)
	require.ErrorIs(t, wrong, ErrSignature)
}

// What goes wrong is said in words that hold nothing of the endpoint, and where a
// receiver leads on to is not followed.
func TestFailuresAreExplained(t *testing.T) {
	elsewhere := newReceiver(t)
	redirect := httptest.NewServer(http.RedirectHandler(elsewhere.url(), http.StatusTemporaryRedirect))
	t.Cleanup(redirect.Close)
	silent := newReceiver(t)
	silent.hold = make(chan struct{})
	secure := httptest.NewTLSServer(http.NotFoundHandler())
	secure.Config.ErrorLog = nil
	t.Cleanup(secure.Close)
	gone := httptest.NewServer(http.NotFoundHandler())
	gone.Close()
	h := newHouse(t)
	for _, c := range []struct{ name, endpoint, want string }{
		{"redirect", redirect.URL, "the receiver answered 307"},
		{"silent", silent.url(), "the receiver did not answer in time"},
		{"a certificate of nobody", secure.URL, "the certificate of the receiver is not trusted"},
		{"nobody there", gone.URL, "the receiver could not be reached"},
	} {
		t.Run(c.name, func(t *testing.T) {
			timeout := time.Minute
			if c.name == "silent" {
				timeout = 50 * time.Millisecond
			}
			require.Equal(t, c.want, h.worker.send(t.Context(), &casework.Notification{Type: "application/fhir+json", Endpoint: c.endpoint, Timeout: timeout, Body: notification(t)}))
		})
	}
	require.Zero(t, elsewhere.attempts())
	close(silent.hold)
}

// A secret that is too short to be one is refused.
func TestSecret(t *testing.T) {
	h := newHouse(t)
	_, err := New(Options{Office: h.office, Now: h.clock, Secret: secret[:31]})
	require.ErrorContains(t, err, "at least 32")
	_, err = New(Options{Office: h.office, Now: h.clock, Secret: secret[:32]})
	require.NoError(t, err)
	require.NotEqual(t, KeyID(secret), KeyID(secret[:40]))
	require.Len(t, KeyID(secret), 16)
}

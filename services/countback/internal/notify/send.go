package notify

import (
	"bytes"
	"context"
	"crypto/tls"
	"errors"
	"io"
	"net"
	"net/http"
	"net/netip"
	"strconv"
	"syscall"
	"time"

	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/subscription"
)

// Limits of one connection.
const (
	dialTimeout   = 10 * time.Second
	idleTimeout   = 90 * time.Second
	maxAnswer     = 64 << 10 // bytes of an answer that are read, so that the connection can be used again
	maxIdle       = 100
	maxHeaderSize = 64 << 10
)

// hostKey carries the host of an endpoint to where its connection is made.
type hostKey struct{}

// errAddress says that a name leads to an address that is not written to.
var errAddress = errors.New("the endpoint leads to an address that nothing is sent to")

// newClient is a client that connects to allowed addresses only. A nil resolver
// is the system's.
func newClient(p subscription.Policy, names *net.Resolver) *http.Client {
	dialer := &net.Dialer{Timeout: dialTimeout, Resolver: names}
	dialer.ControlContext = func(ctx context.Context, _, address string, _ syscall.RawConn) error {
		at, err := netip.ParseAddrPort(address)
		host, _ := ctx.Value(hostKey{}).(string)
		if err != nil || !p.Allows(at.Addr(), host) {
			return errAddress
		}
		return nil
	}
	return &http.Client{
		Transport: &http.Transport{
			Proxy: nil, // one would connect for us, to anywhere
			DialContext: func(ctx context.Context, network, address string) (net.Conn, error) {
				host, _, err := net.SplitHostPort(address)
				if err != nil {
					return nil, err
				}
				return dialer.DialContext(context.WithValue(ctx, hostKey{}, host), network, address)
			},
			TLSClientConfig: &tls.Config{MinVersion: tls.VersionTLS12}, TLSHandshakeTimeout: dialTimeout,
			MaxIdleConns: maxIdle, MaxIdleConnsPerHost: 2, IdleConnTimeout: idleTimeout,
			MaxResponseHeaderBytes: maxHeaderSize, DisableCompression: true,
		},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
}

// send posts one notification. It says what went wrong in words that hold
// nothing of the endpoint; empty when the receiver took it.
func (w *Worker) send(ctx context.Context, n *casework.Notification) string {
	ctx, cancel := context.WithTimeout(ctx, n.Timeout)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, n.Endpoint, bytes.NewReader(n.Body))
	if err != nil {
		return "the endpoint is no address"
	}
	for _, h := range n.Headers {
		r.Header.Add(h.Name, h.Value)
	}
	r.Header.Set("Content-Type", n.Type)
	if r.Header.Get("User-Agent") == "" {
		r.Header.Set("User-Agent", "Countback")
	}
	if err := sign(r, n.Body, w.o.Secret, w.o.Now()); err != nil {
		return "it could not be signed"
	}
	answer, err := w.client.Do(r)
	if err != nil {
		return explain(ctx, err)
	}
	defer answer.Body.Close()
	_, _ = io.Copy(io.Discard, io.LimitReader(answer.Body, maxAnswer)) // what it says counts for nothing
	if answer.StatusCode < 200 || answer.StatusCode > 299 {
		return "the receiver answered " + strconv.Itoa(answer.StatusCode)
	}
	return ""
}

// explain says why there was no answer.
func explain(ctx context.Context, err error) string {
	var unknown *net.DNSError
	var certificate *tls.CertificateVerificationError
	switch {
	case errors.Is(err, errAddress):
		return errAddress.Error()
	case ctx.Err() != nil:
		return "the receiver did not answer in time"
	case errors.As(err, &unknown):
		return "the name of the receiver is not known"
	case errors.As(err, &certificate):
		return "the certificate of the receiver is not trusted"
	}
	return "the receiver could not be reached"
}

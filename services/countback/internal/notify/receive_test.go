package notify

import (
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/subscription"
)

// reference is a reference receiver that writes down what it is handed.
type reference struct {
	v    *Receiver
	got  []string
	gaps []string
	fail error
}

const endpoint = "https://receiver.larkspindle.example/in"

func newReference(t *testing.T) *reference {
	t.Helper()
	r := &reference{}
	r.v = &Receiver{
		Secret: secret, Target: endpoint, Now: func() time.Time { return time.Unix(1800000000, 0) },
		Handle: func(one Received) error {
			if r.fail != nil {
				return r.fail
			}
			require.Equal(t, []string{base + "/Subscription/1", subscription.Active}, []string{one.Subscription, one.Status})
			r.got = append(r.got, strings.TrimSuffix(fmt.Sprint(one.Kind, " ", one.Number, " ", one.Error), " "))
			return nil
		},
		Gap: func(_ string, first, last int64) { r.gaps = append(r.gaps, fmt.Sprint(first, "-", last)) },
	}
	return r
}

// hand sends a notification to the receiver, signed, and gives its status.
func (r *reference) hand(t *testing.T, n subscription.Notice, numbers ...int64) int {
	t.Helper()
	n.Base, n.ID, n.Status, n.Content, n.At = base, "1", subscription.Active, subscription.IDOnly, time.Unix(1800000000, 0)
	for _, number := range numbers {
		n.Events = append(n.Events, subscription.Numbered{Number: number, At: n.At, News: subscription.News{Focus: "CarePlan/c1"}})
		n.Total = number
	}
	body, err := n.Bundle()
	require.NoError(t, err)
	return r.handBody(t, body)
}

func (r *reference) handBody(t *testing.T, body []byte) int {
	t.Helper()
	q, err := http.NewRequest(http.MethodPost, endpoint, strings.NewReader(string(body)))
	require.NoError(t, err)
	q.Header.Set("Content-Type", "application/fhir+json")
	require.NoError(t, sign(q, body, secret, r.v.Now()))
	w := httptest.NewRecorder()
	r.v.ServeHTTP(w, q)
	return w.Code
}

// The reference receiver takes each event once, in order, and says what never
// came: by the next number, or by how many there are.
func TestReferenceReceiver(t *testing.T) {
	r := newReference(t)
	events := subscription.Notice{Kind: subscription.EventNotification}
	require.Equal(t, 200, r.hand(t, subscription.Notice{Kind: subscription.Handshake}))
	require.Equal(t, 200, r.hand(t, events, 1))
	require.Equal(t, 200, r.hand(t, events, 1))
	require.Equal(t, 200, r.hand(t, events, 1, 2, 3))
	require.Empty(t, r.gaps)
	require.Equal(t, 200, r.hand(t, events, 6))
	require.Equal(t, []string{"4-5"}, r.gaps)
	require.Equal(t, 200, r.hand(t, subscription.Notice{Kind: subscription.Heartbeat, Total: 8}))
	require.Equal(t, []string{"4-5", "7-8"}, r.gaps)
	require.Equal(t, 200, r.hand(t, events, 9))
	require.Equal(t, []string{"handshake 0", "event-notification 1", "event-notification 2", "event-notification 3", "event-notification 6", "heartbeat 0", "event-notification 9"}, r.got)

	require.Equal(t, 200, r.hand(t, subscription.Notice{Kind: subscription.Heartbeat, Total: 9, Error: "switched off"}))
	require.Equal(t, "heartbeat 0 switched off", r.got[len(r.got)-1])
	r.fail = errors.New("the disk is full")
	require.Equal(t, 500, r.hand(t, events, 10))
	r.fail = nil
	require.Equal(t, 200, r.hand(t, events, 10))
	require.Equal(t, "event-notification 10", r.got[len(r.got)-1], "it is sent again, and taken")
	require.Len(t, r.gaps, 2)
}

// One that begins in the middle takes what comes as the first.
func TestReferenceReceiverBeginsLate(t *testing.T) {
	r := newReference(t)
	require.Equal(t, 200, r.hand(t, subscription.Notice{Kind: subscription.EventNotification}, 41))
	require.Equal(t, 200, r.hand(t, subscription.Notice{Kind: subscription.EventNotification}, 42))
	require.Empty(t, r.gaps)
	r = newReference(t)
	require.Equal(t, 200, r.hand(t, subscription.Notice{Kind: subscription.Handshake, Total: 41}))
	require.Equal(t, 200, r.hand(t, subscription.Notice{Kind: subscription.EventNotification}, 42))
	require.Empty(t, r.gaps)
}

// What is not signed, or is no notification, is not taken.
func TestReferenceReceiverRefuses(t *testing.T) {
	r := newReference(t)
	for _, body := range []string{
		"", "{}", `{"resourceType":"Patient"}`, `{"resourceType":"Bundle","type":"searchset"}`, `{"resourceType":"Bundle","type":"history"}`,
		`{"resourceType":"Bundle","type":"history","entry":[{"resource":{"resourceType":"Patient"},"request":{"method":"GET","url":"x"},"response":{"status":"200"}}]}`,
		withParameter(`{"name":"notification-event","part":[{"name":"event-number","valueString":"soon"}]}`),
		withParameter(`{"name":"notification-event","part":[{"name":"event-number","valueString":"0"}]}`),
		withParameter(`{"name":"notification-event","part":[{"name":"focus","valueReference":{"reference":"CarePlan/1"}}]}`),
		withParameter(`{"name":"events-since-subscription-start","valueString":"many"}`),
	} {
		require.Equal(t, 422, r.handBody(t, []byte(body)), body)
	}
	w := httptest.NewRecorder()
	r.v.ServeHTTP(w, httptest.NewRequest(http.MethodPost, endpoint, strings.NewReader("{}")))
	require.Equal(t, 401, w.Code)
	w = httptest.NewRecorder()
	r.v.ServeHTTP(w, httptest.NewRequest(http.MethodGet, endpoint, nil))
	require.Equal(t, []any{405, "POST"}, []any{w.Code, w.Header().Get("Allow")})
	require.Empty(t, r.got)
}

// withParameter is a notification with one parameter.
func withParameter(parameter string) string {
	return `{"resourceType":"Bundle","type":"history","entry":[{"resource":{"resourceType":"Parameters","parameter":[` + parameter +
		`]},"request":{"method":"GET","url":"x"},"response":{"status":"200"}}]}`
}

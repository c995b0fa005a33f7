package wirecheck

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/app"
	"example.org/countback/services/countback/internal/demo"
	"example.org/countback/services/countback/internal/subscription"
)

// post sends a resource and gives the answer.
func post(t *testing.T, url, body string) []byte {
	t.Helper()
	resp, err := http.Post(url, "application/fhir+json", strings.NewReader(body))
	require.NoError(t, err)
	defer resp.Body.Close()
	out, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	require.Equal(t, 201, resp.StatusCode, "%s", out)
	return out
}

// subscribed plays the invented hospital before receivers of every topic, and
// gives the Subscriptions, what the receivers got, and what $status and $events
// say.
func subscribed(t *testing.T) []golden {
	t.Helper()
	var mu sync.Mutex
	var got []golden
	receiver := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		if err != nil {
			w.WriteHeader(http.StatusBadRequest)
			return
		}
		mu.Lock()
		defer mu.Unlock()
		got = append(got, golden{fmt.Sprintf("notification %d", len(got)), body})
	}))
	t.Cleanup(receiver.Close)
	begin, err := demo.Begins()
	require.NoError(t, err)
	a, err := app.Start(t.Context(), app.Config{
		Addr: "127.0.0.1:0", Admin: "127.0.0.1:0", Data: t.TempDir(), Facility: "main",
		Zone: "America/Chicago", Holidays: "us-federal", OperatingDays: "Mon-Fri", Today: begin.Format(time.RFC3339),
	}, slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	var out []golden
	var ids []string
	for _, topic := range subscription.Topics() {
		for _, content := range []string{subscription.IDOnly, subscription.Empty} {
			made := post(t, a.URL()+"/Subscription", `{"resourceType":"Subscription","status":"requested","reason":"a list","criteria":"`+topic.URL+`",
				"channel":{"extension":[{"url":"http://hl7.org/fhir/uv/subscriptions-backport/StructureDefinition/backport-max-count","valuePositiveInt":20}],
				"type":"rest-hook","endpoint":"`+receiver.URL+`","payload":"application/fhir+json",
				"_payload":{"extension":[{"url":"http://hl7.org/fhir/uv/subscriptions-backport/StructureDefinition/backport-payload-content","valueCode":"`+content+`"}]}}}`)
			var r struct{ ID string }
			require.NoError(t, json.Unmarshal(made, &r))
			out, ids = append(out, golden{"Subscription/" + r.ID, made}), append(ids, r.ID)
		}
	}
	require.NoError(t, demo.Play(t.Context(), demo.Options{
		Base: a.URL(), Today: a.Office.Facility().Calendar.At(mustDate(t, app.DemoToday), 12, 0), Stand: a.Clock.Stand, Tick: a.Tick, Out: io.Discard,
		Published: func(context.Context) (map[string]uint64, error) { return nil, nil },
	}))
	for _, id := range ids {
		out = append(out, golden{"events of " + id, get(t, a.URL()+"/Subscription/"+id+"/$events")},
			golden{"Subscription/" + id + " now", get(t, a.URL()+"/Subscription/"+id)})
	}
	out = append(out, golden{"status", get(t, a.URL()+"/Subscription/$status")}, golden{"search", get(t, a.URL()+"/Subscription")})
	require.NoError(t, a.Close())
	mu.Lock()
	defer mu.Unlock()
	require.Greater(t, len(got), 20)
	return append(out, got...)
}

// TestNotifications checks Subscriptions and everything that receivers are sent.
func TestNotifications(t *testing.T) {
	all := subscribed(t)
	for _, one := range all {
		require.Empty(t, faults(one.body), "%s: %s", one.name, one.body)
	}
	t.Logf("%d resources and notifications", len(all))
}

// TestNotificationInvariants holds the same against the official invariants: of a
// Bundle of type history every entry has a request and a response (bdl-3, bdl-4).
func TestNotificationInvariants(t *testing.T) {
	npmFolder(t)
	found := checkInvariants(t, subscribed(t))
	require.Empty(t, found.errorsOf())
}

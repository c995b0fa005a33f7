package app

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/services/countback/internal/notify"
)

// notified is one notification as its receiver took it.
type notified struct {
	kind    string
	numbers []int
	signed  error
	raw     string
}

// ear is a receiver of notifications.
type ear struct {
	server *httptest.Server
	heard  chan notified

	mu     sync.Mutex
	secret []byte
	status int
}

func newEar(t *testing.T) *ear {
	t.Helper()
	e := &ear{heard: make(chan notified, 10000), status: http.StatusOK}
	e.server = httptest.NewServer(e)
	t.Cleanup(e.server.Close)
	return e
}

func (e *ear) url() string { return e.server.URL + "/canary-in" }

func (e *ear) answers(status int) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.status = status
}

func (e *ear) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(r.Body)
	if err != nil {
		return // the sender was killed
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	var b struct {
		Entry []struct {
			Resource struct {
				Parameter []struct {
					Name, ValueCode string
					Part            []struct{ Name, ValueString string }
				}
			}
		}
	}
	if json.Unmarshal(body, &b) != nil || len(b.Entry) != 1 {
		w.WriteHeader(http.StatusUnprocessableEntity)
		return
	}
	n := notified{raw: string(body), signed: notify.Verify(r, body, e.url(), e.secret, time.Now())}
	for _, p := range b.Entry[0].Resource.Parameter {
		if p.Name == "type" {
			n.kind = p.ValueCode
		}
		if p.Name == "notification-event" {
			number, err := strconv.Atoi(p.Part[0].ValueString)
			if err != nil {
				w.WriteHeader(http.StatusUnprocessableEntity)
				return
			}
			n.numbers = append(n.numbers, number)
		}
	}
	if w.WriteHeader(e.status); e.status == http.StatusOK {
		e.heard <- n
	}
}

// listen waits for what is heard next.
func (e *ear) listen(t *testing.T) notified {
	t.Helper()
	select {
	case n := <-e.heard:
		return n
	case <-time.After(time.Minute): // a test that hangs; nothing waits for it in a passing run
		require.FailNow(t, "nothing was heard")
		return notified{}
	}
}

func subscriptionTo(endpoint string) []byte {
	return fmt.Appendf(nil, `{"resourceType":"Subscription","status":"requested","reason":"the ward's list","criteria":"http://countback.example/fhir/SubscriptionTopic/plan-changed",
		"channel":{"type":"rest-hook","endpoint":%q,"payload":"application/fhir+json",
		"_payload":{"extension":[{"url":"http://hl7.org/fhir/uv/subscriptions-backport/StructureDefinition/backport-payload-content","valueCode":"id-only"}]},
		"header":["Authorization: Bearer canary-token"]}}`, endpoint)
}

// idOf is the id of what was just made.
func idOf(t *testing.T, body []byte) string {
	t.Helper()
	var r struct{ ID string }
	require.NoError(t, json.Unmarshal(body, &r))
	require.NotEmpty(t, r.ID)
	return r.ID
}

func secretOf(t *testing.T, dir string) []byte {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(dir, secretFile))
	require.NoError(t, err)
	secret, err := base64.StdEncoding.DecodeString(strings.TrimSpace(string(text)))
	require.NoError(t, err)
	return secret
}

// A receiver subscribes over HTTP, answers the handshake, and is told of a
// booking at once, signed with the secret of the data folder. The log says
// nothing of where it is.
func TestReceiverIsTold(t *testing.T) {
	cfg, e := settings(t), newEar(t)
	var log bytes.Buffer
	a, err := Start(t.Context(), cfg, slog.New(slog.NewJSONHandler(&log, &slog.HandlerOptions{Level: slog.LevelDebug})))
	require.NoError(t, err)
	e.secret = secretOf(t, cfg.Data)
	status, made := send(t, "POST", a.URL()+"/Subscription", subscriptionTo(e.url()))
	require.Equal(t, 201, status, string(made))
	n := e.listen(t)
	require.Equal(t, "handshake", n.kind)
	require.NoError(t, n.signed)

	status, body := send(t, "POST", a.URL(), booking(1, "2026-11-30T07:30:00-06:00"))
	require.Equal(t, 200, status, string(body))
	n = e.listen(t)
	require.Equal(t, []int{1}, n.numbers)
	require.NoError(t, n.signed)
	require.Contains(t, n.raw, a.URL()+"/CarePlan/")
	require.NotContains(t, n.raw, "Testperson")

	at := a.URL() + "/Subscription/" + idOf(t, made)
	status, body = send(t, "GET", at, nil)
	require.Equal(t, 200, status)
	require.Contains(t, string(body), `"status":"active"`)
	require.NotContains(t, string(body), base64.StdEncoding.EncodeToString(e.secret))
	_, metrics := send(t, "GET", a.AdminURL()+"/metrics", nil)
	require.Contains(t, string(metrics), `countback_subscriptions{status="active"} 1`+"\n")
	require.Contains(t, string(metrics), "countback_notifications_failed_total 0\n")
	http.DefaultClient.CloseIdleConnections()
	require.NoError(t, a.Close())
	require.NotContains(t, log.String(), "canary")
	require.NotContains(t, log.String(), e.server.URL)
}

// A receiver that takes nothing stands on the coordinator's page, with why.
func TestDeskNamesDeafReceivers(t *testing.T) {
	a, e := started(t, settings(t)), newEar(t)
	e.answers(http.StatusTeapot)
	page := func() string {
		status, body := send(t, "GET", a.DeskURL(), nil)
		require.Equal(t, 200, status)
		return string(body)
	}
	require.NotContains(t, page(), "Receivers of notifications")
	status, body := send(t, "POST", a.URL()+"/Subscription", subscriptionTo(e.url()))
	require.Equal(t, 201, status, string(body))
	var got string
	require.Eventually(t, func() bool {
		got = page()
		return strings.Contains(got, "Receivers of notifications")
	}, time.Minute, 5*time.Millisecond)
	require.Contains(t, got, "the receiver answered 418")
	require.Contains(t, got, "Subscription "+idOf(t, body))
	status, ready := send(t, "GET", a.AdminURL()+"/readyz", nil)
	require.Equal(t, 200, status, "it takes no copy out of service")
	require.Equal(t, "ok\nsubscription "+idOf(t, body)+" is error\n", string(ready))
	require.NotContains(t, got, e.server.URL)
}

// The process is killed again and again while events are made and told. What a
// receiver took in the end is all of it, without a gap.
func TestKilledWhileNotifying(t *testing.T) {
	e, dir := newEar(t), t.TempDir()
	rng := rand.New(rand.NewPCG(7, 7))
	k := serveKilled(t, dir)
	status, body := send(t, "POST", k.base+"/Subscription", subscriptionTo(e.url()))
	require.Equal(t, 201, status, string(body))
	id, next := idOf(t, body), 0
	for range 3 {
		postUntilKilled(t, k, &next, time.Duration(60+rng.IntN(200))*time.Millisecond)
		k = serveKilled(t, dir)
	}
	status, body = send(t, "POST", k.base, booking(next, "2026-11-30T07:30:00-06:00"))
	require.Equal(t, 200, status, string(body))
	status, body = send(t, "GET", k.base+"/Subscription/"+id+"/$status", nil)
	require.Equal(t, 200, status)
	_, rest, ok := strings.Cut(string(body), `"events-since-subscription-start","valueString":"`)
	require.True(t, ok, string(body))
	text, _, _ := strings.Cut(rest, `"`)
	total, err := strconv.Atoi(text)
	require.NoError(t, err)
	require.Positive(t, total)
	last, twice := 0, 0
	for last < total {
		for _, n := range e.listen(t).numbers {
			if n <= last { // what was not known to be taken comes again, from its first number on
				twice++
				continue
			}
			require.Equal(t, last+1, n, "a gap")
			last = n
		}
	}
	require.NoError(t, k.cmd.Process.Kill())
	_ = k.cmd.Wait()
	http.DefaultClient.CloseIdleConnections()
	t.Logf("%d events, %d of them told twice", total, twice)
}

// The file of -subscriptions, and the secret that is made without it.
func TestReceiversFile(t *testing.T) {
	secret := base64.StdEncoding.EncodeToString(bytes.Repeat([]byte("s"), 32))
	var r receivers
	require.NoError(t, r.read(strings.NewReader("# of the hospital\nsecret "+secret+"\n\noff-after 36h # a weekend\nallow http\nallow link-local\n")))
	require.Equal(t, bytes.Repeat([]byte("s"), 32), r.secret)
	require.Equal(t, 36*time.Hour, r.OffAfter)
	require.True(t, r.Policy.Plain && r.Policy.LinkLocal)
	for _, bad := range []string{"secret short", "secret " + secret[:40], "off-after soon", "off-after 1s", "off-after 900h", "allow all", "allow", "key " + secret} {
		err := new(receivers).read(strings.NewReader("\n" + bad))
		require.ErrorContains(t, err, "line 2", bad)
		require.NotContains(t, err.Error(), secret[:40])
	}
	dir := t.TempDir()
	cfg := Config{Data: dir}
	first, err := cfg.receivers()
	require.NoError(t, err)
	again, err := cfg.receivers()
	require.NoError(t, err)
	require.Equal(t, first.secret, again.secret)
	info, err := os.Stat(filepath.Join(dir, secretFile))
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	require.NoError(t, os.WriteFile(filepath.Join(dir, secretFile), []byte("damaged"), 0o600))
	_, err = cfg.receivers()
	require.ErrorContains(t, err, secretFile)
	cfg.Subscriptions = filepath.Join(dir, "none")
	_, err = cfg.receivers()
	require.ErrorContains(t, err, "-subscriptions")
}

// The command notifications takes what a service sends.
func TestNotificationsCommand(t *testing.T) {
	cfg := settings(t)
	a := started(t, cfg)
	read, write := io.Pipe()
	endpoint, done := make(chan string, 1), make(chan error, 1)
	go func() {
		done <- Notifications(t.Context(), NotificationsOptions{
			Listen: "127.0.0.1:0", Data: cfg.Data, Most: 2, Ready: func(at string) { endpoint <- at },
		}, write, io.Discard)
	}()
	status, body := send(t, "POST", a.URL()+"/Subscription", subscriptionTo(<-endpoint))
	require.Equal(t, 201, status, string(body))
	lines := json.NewDecoder(read)
	var got notify.Received
	require.NoError(t, lines.Decode(&got))
	require.Equal(t, "handshake", got.Kind)
	status, body = send(t, "POST", a.URL(), booking(1, "2026-11-30T07:30:00-06:00"))
	require.Equal(t, 200, status, string(body))
	require.NoError(t, lines.Decode(&got))
	require.Equal(t, []any{"event-notification", int64(1)}, []any{got.Kind, got.Number})
	require.Contains(t, got.Focus, a.URL()+"/CarePlan/")
	require.NoError(t, <-done)
	require.ErrorContains(t, Notifications(t.Context(), NotificationsOptions{Data: t.TempDir()}, io.Discard, io.Discard), secretFile)
}

package notify

import (
	"bytes"
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
	"go.uber.org/goleak"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const base = "https://plans.larkspindle.example/fhir"

var secret = []byte("larkspindle: thirty-two bytes or more of a secret")

// house is a real office over a real database, with a worker, and a clock that
// tests set.
type house struct {
	t      *testing.T
	path   string
	db     *store.DB
	office *casework.Office
	worker *Worker
	log    bytes.Buffer // of the worker; read it when nothing runs

	mu  sync.Mutex
	now time.Time
}

func newHouse(t *testing.T) *house {
	t.Helper()
	h := &house{t: t, path: t.TempDir(), now: time.Date(2026, 10, 6, 15, 0, 0, 0, time.UTC)}
	h.open()
	t.Cleanup(h.close)
	return h
}

func (h *house) open() {
	h.t.Helper()
	zone, err := time.LoadLocation("America/Chicago")
	require.NoError(h.t, err)
	holidays, err := calendar.Holidays("us-federal")
	require.NoError(h.t, err)
	cal, err := calendar.New(calendar.Options{Zone: zone, Holidays: holidays})
	require.NoError(h.t, err)
	h.db, err = store.Open(context.Background(), store.Options{Path: h.path, Now: h.clock})
	require.NoError(h.t, err)
	h.office, err = casework.Open(context.Background(), casework.Options{
		DB: h.db, Facility: translate.Facility{Calendar: cal, Base: base}, Token: "main",
		Receivers: casework.Receivers{Jitter: func() float64 { return 1 }},
	})
	require.NoError(h.t, err)
	h.worker, err = New(Options{Office: h.office, Now: h.clock, Secret: secret, Changed: h.db.Wake(), Log: slog.New(slog.NewTextHandler(&h.log, nil))})
	require.NoError(h.t, err)
}

func (h *house) close() {
	h.worker.client.CloseIdleConnections()
	require.NoError(h.t, h.db.Close())
}

// restart is a new process over the same folder.
func (h *house) restart() {
	h.t.Helper()
	h.close()
	h.open()
}

func (h *house) clock() time.Time {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.now
}

func (h *house) wait(d time.Duration) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.now = h.now.Add(d)
}

func (h *house) pass() {
	h.t.Helper()
	require.NoError(h.t, h.worker.Pass(context.Background()))
}

// person is somebody who does not exist. Each value that must not leave begins
// with Quillfeather.
func person(n string) string {
	return fmt.Sprintf(`{"resourceType":"Patient","id":"p%s","identifier":[{"system":"https://registry.larkspindle.example/person","value":"Quillfeather-%s"}],
		"name":[{"family":"Quillfeather","given":["QuillfeatherOrsolya"]}],"birthDate":"1951-04-17","telecom":[{"system":"phone","value":"555-0134"}]}`, n, n)
}

// booking is a total hip replacement (SNOMED CT 52734007).
func booking(n, day string) string {
	return fmt.Sprintf(`{"resourceType":"Appointment","id":"a%s","identifier":[{"system":"https://theatre.larkspindle.example/booking","value":"Quillfeather-B-%s"}],
		"status":"booked","reasonCode":[{"coding":[{"system":"http://snomed.info/sct","code":"52734007"}],"text":"QuillfeatherDiagnosis"}],
		"start":"%sT10:00:00-06:00","end":"%sT12:30:00-06:00","participant":[{"actor":{"reference":"Patient/p%s"},"status":"accepted"}]}`, n, n, day, day, n)
}

// put sends one resource to its id.
func (h *house) put(body string) {
	h.t.Helper()
	_, err := h.office.Receive(context.Background(), h.delivery(body))
	require.NoError(h.t, err)
}

func (h *house) delivery(body string) casework.Delivery {
	h.t.Helper()
	r, issues := fhir.Parse([]byte(body), 1<<20)
	require.Empty(h.t, issues)
	return casework.Delivery{
		Source: "larkspindle", ContentType: "application/fhir+json", Method: "PUT", Target: r.Type + "/" + r.ID(), Body: []byte(body),
		Requests: []casework.Request{{Method: "PUT", Type: r.Type, ID: r.ID(), Resource: r}},
	}
}

// book opens a case, or moves it to another day.
func (h *house) book(n, day string) {
	h.t.Helper()
	h.put(person(n))
	h.put(booking(n, day))
}

// wish is a Subscription; more are members of its channel.
func wish(endpoint, topic, filter string, more ...string) string {
	if filter != "" {
		filter = `"_criteria":{"extension":[{"url":"http://hl7.org/fhir/uv/subscriptions-backport/StructureDefinition/backport-filter-criteria","valueString":"` + filter + `"}]},`
	}
	channel := append([]string{`"type":"rest-hook"`, `"endpoint":"` + endpoint + `"`, `"payload":"application/fhir+json"`,
		`"_payload":{"extension":[{"url":"http://hl7.org/fhir/uv/subscriptions-backport/StructureDefinition/backport-payload-content","valueCode":"id-only"}]}`}, more...)
	return `{"resourceType":"Subscription","status":"requested","reason":"the ward's list","criteria":"http://countback.example/fhir/SubscriptionTopic/` + topic + `",` +
		filter + `"channel":{` + strings.Join(channel, ",") + `}}`
}

// paced is the extensions of a channel.
func paced(heartbeat, most int) string {
	const backport = "http://hl7.org/fhir/uv/subscriptions-backport/StructureDefinition/backport-"
	return fmt.Sprintf(`"extension":[{"url":"%sheartbeat-period","valueUnsignedInt":%d},{"url":"%smax-count","valuePositiveInt":%d}]`, backport, heartbeat, backport, most)
}

// subscribe makes a Subscription and gives its id.
func (h *house) subscribe(body string) string {
	h.t.Helper()
	return h.change("POST", "", body).Stored.ID
}

func (h *house) change(method, id, body string) casework.Result {
	h.t.Helper()
	s := casework.Subscribing{Method: method, ID: id, ContentType: "application/fhir+json", Target: "Subscription", Body: []byte(body)}
	var issues fhir.Issues
	switch method {
	case "PATCH":
		s.Patch, issues = fhir.ParseJSONPatch([]byte(body), 1<<20)
	case "POST", "PUT":
		s.Resource, issues = fhir.Parse([]byte(body), 1<<20)
	}
	require.Empty(h.t, issues)
	out, err := h.office.Subscribe(context.Background(), s)
	require.NoError(h.t, err)
	return out
}

// status is the status of a Subscription as it is read, and why.
func (h *house) status(id string) (status, why string) {
	h.t.Helper()
	held, err := h.office.Get(context.Background(), "Subscription", id)
	require.NoError(h.t, err)
	r, issues := fhir.Parse(held.Body, 1<<20)
	require.Empty(h.t, issues)
	return r.String("status"), r.String("error")
}

// notice is a notification as its receiver reads it.
type notice struct {
	kind, status, topic, subscription, total, errorText string
	events                                              []told
	header                                              http.Header
	raw                                                 string
}

// told is one notification-event.
type told struct {
	number, focus string
	context       []string
}

// receiver is an HTTP server that takes notifications, or does not.
type receiver struct {
	t      *testing.T
	server *httptest.Server

	mu     sync.Mutex
	answer int // status; 0 is 200
	got    []notice
	tried  int
	hold   chan struct{} // answers wait for it; nil: they do not
	begun  chan struct{} // signalled when a notification has come
	took   chan struct{} // signalled when one was taken
}

func newReceiver(t *testing.T) *receiver {
	r := &receiver{t: t, begun: make(chan struct{}, 1000), took: make(chan struct{}, 1000)}
	r.server = httptest.NewServer(r)
	t.Cleanup(r.server.Close)
	return r
}

func (r *receiver) url() string { return r.server.URL + "/in?of=countback" }

func (r *receiver) answers(status int) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.answer = status
}

// ServeHTTP checks each notification as a receiver should, before it looks at it.
func (r *receiver) ServeHTTP(w http.ResponseWriter, q *http.Request) {
	body, err := io.ReadAll(q.Body)
	if err != nil || q.Method != http.MethodPost {
		w.WriteHeader(http.StatusBadRequest)
		return
	}
	r.begun <- struct{}{}
	r.mu.Lock()
	hold := r.hold
	r.tried++
	r.mu.Unlock()
	if hold != nil {
		select {
		case <-hold:
		case <-q.Context().Done():
			return
		}
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.answer != 0 && (r.answer < 200 || r.answer > 299) {
		w.WriteHeader(r.answer)
		return
	}
	n, err := read(body)
	if err != nil {
		w.WriteHeader(http.StatusUnprocessableEntity)
		return
	}
	n.header = q.Header
	r.got = append(r.got, n)
	r.took <- struct{}{}
	if r.answer != 0 {
		w.WriteHeader(r.answer)
	}
}

// read takes a notification apart, as the profile of the backport has it.
func read(body []byte) (notice, error) {
	n := notice{raw: string(body)}
	var b struct {
		ResourceType, Type string
		Entry              []struct {
			FullURL  string
			Resource struct {
				ResourceType, ID string
				Parameter        []struct {
					Name                                   string
					ValueReference                         struct{ Reference string }
					ValueCanonical, ValueCode, ValueString string
					ValueCodeableConcept                   struct{ Text string }
					Part                                   []struct {
						Name, ValueString string
						ValueReference    struct{ Reference string }
					}
				}
			}
			Request  struct{ Method, URL string }
			Response struct{ Status string }
		}
	}
	if err := json.Unmarshal(body, &b); err != nil {
		return n, err
	}
	if b.ResourceType != "Bundle" || b.Type != "history" || len(b.Entry) != 1 || b.Entry[0].Resource.ResourceType != "Parameters" ||
		b.Entry[0].Request.Method != "GET" || b.Entry[0].Response.Status != "200" || b.Entry[0].FullURL != "urn:uuid:"+b.Entry[0].Resource.ID {
		return n, fmt.Errorf("no notification Bundle")
	}
	for _, p := range b.Entry[0].Resource.Parameter {
		switch p.Name {
		case "subscription":
			n.subscription = p.ValueReference.Reference
		case "topic":
			n.topic = p.ValueCanonical
		case "status":
			n.status = p.ValueCode
		case "type":
			n.kind = p.ValueCode
		case "events-since-subscription-start":
			n.total = p.ValueString
		case "error":
			n.errorText = p.ValueCodeableConcept.Text
		case "notification-event":
			var e told
			for _, part := range p.Part {
				switch part.Name {
				case "event-number":
					e.number = part.ValueString
				case "focus":
					e.focus = part.ValueReference.Reference
				case "additional-context":
					e.context = append(e.context, part.ValueReference.Reference)
				}
			}
			n.events = append(n.events, e)
		}
	}
	if b.Entry[0].Request.URL != n.subscription+"/$status" {
		return n, fmt.Errorf("the request is not that of $status")
	}
	return n, nil
}

// taken is what the receiver took so far.
func (r *receiver) taken() []notice {
	r.mu.Lock()
	defer r.mu.Unlock()
	return append([]notice(nil), r.got...)
}

// attempts is how often something was sent to it.
func (r *receiver) attempts() int {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.tried
}

// numbers are those of the events that the receiver took, in order.
func (r *receiver) numbers() []string {
	var out []string
	for _, n := range r.taken() {
		for _, e := range n.events {
			out = append(out, e.number)
		}
	}
	return out
}

// counted is "1" to "n".
func counted(n int) []string {
	var out []string
	for i := range n {
		out = append(out, fmt.Sprint(i+1))
	}
	return out
}

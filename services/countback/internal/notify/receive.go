package notify

import (
	"errors"
	"io"
	"net/http"
	"strconv"
	"sync"
	"time"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/subscription"
)

// maxNotification is the most bytes of a notification that are read.
const maxNotification = 4 << 20

// Received is one event, or a notification without one, as a receiver takes it.
type Received struct {
	Subscription string   `json:"subscription"`
	Status       string   `json:"status"` // of the Subscription
	Kind         string   `json:"kind"`   // handshake, heartbeat or event-notification
	Number       int64    `json:"number,omitempty"`
	At           string   `json:"timestamp,omitempty"`
	Focus        string   `json:"focus,omitempty"`
	Context      []string `json:"context,omitempty"`
	Error        string   `json:"error,omitempty"`
}

// Receiver is the reference receiver: it checks the signature, drops what it has,
// and says what never came. What it has is kept in memory; one whose effect must
// not happen twice stores the number in the transaction of its effect.
type Receiver struct {
	Secret []byte
	Target string           // the endpoint, as the Subscription names it
	Now    func() time.Time // the clock
	// Handle takes one event, or a notification without one. Its error is answered
	// with 500, so that it is sent again.
	Handle func(Received) error
	// Gap says that events of a Subscription, from one number to another, never
	// came: $events tells of them. Their number may have been left out on purpose.
	Gap func(subscription string, first, last int64)

	mu   sync.Mutex
	last map[string]int64 // by Subscription
}

// ServeHTTP takes one notification.
func (v *Receiver) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodPost {
		w.Header().Set("Allow", http.MethodPost)
		http.Error(w, "a notification is a POST", http.StatusMethodNotAllowed)
		return
	}
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, maxNotification))
	if err != nil {
		http.Error(w, "it could not be read", http.StatusBadRequest)
		return
	}
	if err := Verify(r, body, v.Target, v.Secret, v.Now()); err != nil {
		http.Error(w, err.Error(), http.StatusUnauthorized)
		return
	}
	list, total, err := readNotification(body)
	if err != nil {
		http.Error(w, err.Error(), http.StatusUnprocessableEntity)
		return
	}
	v.mu.Lock()
	defer v.mu.Unlock()
	if err := v.take(list, total); err != nil {
		http.Error(w, "it could not be taken", http.StatusInternalServerError)
	}
}

// take hands on what is new, in order.
func (v *Receiver) take(list []Received, total int64) error {
	if v.last == nil {
		v.last = map[string]int64{}
	}
	for _, one := range list {
		last, known := v.last[one.Subscription]
		switch {
		case one.Number == 0:
		case known && one.Number <= last:
			continue // it came before
		case known && one.Number > last+1:
			v.Gap(one.Subscription, last+1, one.Number-1)
		}
		if err := v.Handle(one); err != nil {
			return err
		}
		if one.Number > 0 || !known {
			v.last[one.Subscription] = max(last, one.Number)
		}
	}
	if one := list[0]; one.Number == 0 && total > v.last[one.Subscription] { // more happened than came
		if one.Kind == subscription.EventNotification || one.Kind == subscription.Heartbeat {
			v.Gap(one.Subscription, v.last[one.Subscription]+1, total)
		}
		v.last[one.Subscription] = total
	}
	return nil
}

var errNotification = errors.New("it is no notification of the Subscriptions R5 Backport")

// readNotification gives the events of a notification, or the notification itself
// where it has none, and how many events there are in all.
func readNotification(body []byte) (list []Received, total int64, err error) {
	b, issues := fhir.Parse(body, len(body)+1)
	if len(issues) > 0 || b.Type != "Bundle" || b.String("type") != "history" {
		return nil, 0, errNotification
	}
	status := b.Get("entry").Item(0).Get("resource")
	if status.String("resourceType") != "Parameters" {
		return nil, 0, errNotification
	}
	var all Received
	var events []Received
	for _, p := range status.Get("parameter").Items() {
		switch p.String("name") {
		case "subscription":
			all.Subscription = p.String("valueReference", "reference")
		case "status":
			all.Status = p.String("valueCode")
		case "type":
			all.Kind = p.String("valueCode")
		case "error":
			all.Error = p.String("valueCodeableConcept", "text")
		case "events-since-subscription-start":
			if total, err = strconv.ParseInt(p.String("valueString"), 10, 64); err != nil {
				return nil, 0, errNotification
			}
		case "notification-event":
			one, err := readEvent(p)
			if err != nil {
				return nil, 0, err
			}
			events = append(events, one)
		}
	}
	if len(events) == 0 {
		return []Received{all}, total, nil
	}
	for n := range events {
		events[n].Subscription, events[n].Status, events[n].Kind = all.Subscription, all.Status, all.Kind
	}
	return events, total, nil
}

func readEvent(p *fhir.Node) (Received, error) {
	var out Received
	for _, part := range p.Get("part").Items() {
		switch part.String("name") {
		case "event-number":
			n, err := strconv.ParseInt(part.String("valueString"), 10, 64)
			if err != nil || n < 1 {
				return out, errNotification
			}
			out.Number = n
		case "timestamp":
			out.At = part.String("valueInstant")
		case "focus":
			out.Focus = part.String("valueReference", "reference")
		case "additional-context":
			out.Context = append(out.Context, part.String("valueReference", "reference"))
		}
	}
	if out.Number == 0 {
		return out, errNotification
	}
	return out, nil
}

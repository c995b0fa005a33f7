package subscription

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// Kinds of notifications.
const (
	Handshake         = "handshake"
	Heartbeat         = "heartbeat"
	EventNotification = "event-notification"
	QueryStatus       = "query-status"
	QueryEvent        = "query-event"
)

// Numbered is an event with its number in a Subscription.
type Numbered struct {
	Number int64
	At     time.Time // of the change
	News
}

// Notice is one notification, or the answer to a question about a Subscription.
type Notice struct {
	Base    string // of this service's FHIR API
	ID      string // of the Subscription
	Topic   string
	Status  string
	Kind    string
	Content string     // Empty or IDOnly
	Total   int64      // events since the Subscription was made
	Events  []Numbered // that are told of
	Error   string     // why it does not go well; empty for nothing
	At      time.Time  // with the facility's offset
}

// Profiles of what is written.
const (
	bundleProfile = backport + "backport-subscription-notification-r4"
	statusProfile = backport + "backport-subscription-status-r4"
)

type parameter struct {
	Name                 string      `json:"name"`
	ValueReference       *reference  `json:"valueReference,omitempty"`
	ValueCanonical       string      `json:"valueCanonical,omitempty"`
	ValueCode            string      `json:"valueCode,omitempty"`
	ValueString          string      `json:"valueString,omitempty"`
	ValueInstant         string      `json:"valueInstant,omitempty"`
	ValueCodeableConcept *concept    `json:"valueCodeableConcept,omitempty"`
	Part                 []parameter `json:"part,omitempty"`
}

type reference struct {
	Reference string `json:"reference"`
}

type concept struct {
	Text string `json:"text"`
}

type meta struct {
	Profile []string `json:"profile"`
}

type parameters struct {
	ResourceType string      `json:"resourceType"`
	ID           string      `json:"id"`
	Meta         meta        `json:"meta"`
	Parameter    []parameter `json:"parameter"`
}

type bundleEntry struct {
	FullURL  string      `json:"fullUrl"`
	Resource parameters  `json:"resource"`
	Search   *searchMode `json:"search,omitempty"`
	Request  *request    `json:"request,omitempty"`
	Response *response   `json:"response,omitempty"`
}

type searchMode struct {
	Mode string `json:"mode"`
}

type request struct {
	Method string `json:"method"`
	URL    string `json:"url"`
}

type response struct {
	Status string `json:"status"`
}

type bundle struct {
	ResourceType string        `json:"resourceType"`
	ID           string        `json:"id,omitempty"`
	Meta         *meta         `json:"meta,omitempty"`
	Type         string        `json:"type"`
	Total        *int          `json:"total,omitempty"`
	Timestamp    string        `json:"timestamp"`
	Entry        []bundleEntry `json:"entry,omitempty"`
}

const instant = "2006-01-02T15:04:05.000Z07:00"

// Bundle is the notification as it is sent. The same notification sent again has
// the same ids.
func (n Notice) Bundle() ([]byte, error) {
	id := n.id()
	return json.Marshal(bundle{
		ResourceType: "Bundle", ID: id, Meta: &meta{[]string{bundleProfile}}, Type: "history", Timestamp: n.At.Format(instant),
		Entry: []bundleEntry{{
			FullURL: "urn:uuid:" + id, Resource: n.parameters(),
			Request: &request{"GET", n.url("Subscription/" + n.ID + "/$status")}, Response: &response{"200"},
		}},
	})
}

// Statuses is the answer to $status: how it stands with each Subscription.
func Statuses(at time.Time, list []Notice) ([]byte, error) {
	total := len(list)
	b := bundle{ResourceType: "Bundle", Type: "searchset", Total: &total, Timestamp: at.Format(instant)}
	for _, n := range list {
		b.Entry = append(b.Entry, bundleEntry{FullURL: "urn:uuid:" + n.id(), Resource: n.parameters(), Search: &searchMode{"match"}})
	}
	return json.Marshal(b)
}

func (n Notice) parameters() parameters {
	p := parameters{ResourceType: "Parameters", ID: n.id(), Meta: meta{[]string{statusProfile}}}
	add := func(one parameter) { p.Parameter = append(p.Parameter, one) }
	add(parameter{Name: "subscription", ValueReference: n.reference("Subscription/" + n.ID)})
	if n.Content != Empty {
		add(parameter{Name: "topic", ValueCanonical: n.Topic})
	}
	add(parameter{Name: "status", ValueCode: n.Status})
	add(parameter{Name: "type", ValueCode: n.Kind})
	add(parameter{Name: "events-since-subscription-start", ValueString: strconv.FormatInt(n.Total, 10)})
	for _, e := range n.Events {
		one := parameter{Name: "notification-event", Part: []parameter{
			{Name: "event-number", ValueString: strconv.FormatInt(e.Number, 10)},
			{Name: "timestamp", ValueInstant: e.At.In(n.At.Location()).Format(instant)},
		}}
		if n.Content == IDOnly {
			one.Part = append(one.Part, parameter{Name: "focus", ValueReference: n.reference(e.Focus)})
			for _, c := range e.Context {
				one.Part = append(one.Part, parameter{Name: "additional-context", ValueReference: n.reference(c)})
			}
		}
		add(one)
	}
	if n.Error != "" {
		add(parameter{Name: "error", ValueCodeableConcept: &concept{n.Error}})
	}
	return p
}

func (n Notice) url(path string) string { return strings.TrimSuffix(n.Base, "/") + "/" + path }

func (n Notice) reference(path string) *reference { return &reference{n.url(path)} }

// id is a UUID (RFC 9562, version 8) that follows from what is told, so that a
// notification that comes twice can be known by it.
func (n Notice) id() string {
	text := fmt.Sprintf("%s\x00%s\x00%s\x00%d", n.ID, n.Kind, n.Status, n.Total)
	for _, e := range n.Events {
		text += fmt.Sprintf("\x00%d", e.Number)
	}
	h := sha256.Sum256([]byte(text))
	h[6], h[8] = h[6]&0x0f|0x80, h[8]&0x3f|0x80
	return fmt.Sprintf("%x-%x-%x-%x-%x", h[0:4], h[4:6], h[6:8], h[8:10], h[10:16])
}

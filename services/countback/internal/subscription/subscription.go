package subscription

import (
	"time"

	"example.org/countback/pkg/fhir"
)

// Statuses of a Subscription. A client asks for requested or off; the service
// sets the others.
const (
	Requested = "requested" // the receiver has not answered the handshake yet
	Active    = "active"    // it is told of events
	Failing   = "error"     // it does not take what it is sent; that is tried again
	Off       = "off"       // nothing is sent
)

// What a notification holds of the resources that it is about.
const (
	Empty  = "empty"
	IDOnly = "id-only"
)

// Limits of what may be asked for.
const (
	maxTimeout    = 60 * time.Second
	minHeartbeat  = 10 * time.Second
	maxHeartbeat  = 7 * 24 * time.Hour
	maxMaxCount   = 100
	maxHeaders    = 20
	maxHeaderText = 8 << 10 // bytes of all headers together
	maxFilters    = 20
	maxValues     = 100 // of one filter

	defaultTimeout = 20 * time.Second
	defaultCount   = 20 // events in one notification, where several wait
)

// Header is one line that a receiver wants to be sent along.
type Header struct{ Name, Value string }

// Subscription is a Subscription as it was understood.
type Subscription struct {
	Status    string
	Topic     Topic
	Endpoint  string
	Payload   string // media type of the body
	Headers   []Header
	Content   string        // Empty or IDOnly
	Heartbeat time.Duration // without news for so long, a sign of life is sent; 0: never
	Timeout   time.Duration // for one notification
	MaxCount  int           // events in one notification
	End       time.Time     // from then on it is off; zero: never

	filters []filter
}

// Policy is which endpoints may be written to.
type Policy struct {
	Plain     bool // http, and not only to loopback
	LinkLocal bool // addresses that only this machine's neighbours have
}

// Names of the extensions of the backport.
const (
	backport         = "http://hl7.org/fhir/uv/subscriptions-backport/StructureDefinition/"
	filterExtension  = backport + "backport-filter-criteria"
	contentExtension = backport + "backport-payload-content"
	channelExtension = backport + "backport-channel-type"
	heartbeatExt     = backport + "backport-heartbeat-period"
	timeoutExtension = backport + "backport-timeout"
	maxCountExt      = backport + "backport-max-count"
)

// media are the types of a body that notifications are sent as.
var media = []string{"application/fhir+json", "application/json"}

// Read understands a Subscription, or says all that is wrong with it. base is the
// service's own address, which references may begin with.
func Read(r *fhir.Resource, base string, p Policy) (*Subscription, fhir.Issues) {
	rd := reading{r: r, base: base, policy: p}
	s := &Subscription{Status: r.String("status"), Timeout: defaultTimeout, MaxCount: defaultCount}
	rd.criteria(s)
	rd.channel(s)
	if end := r.String("end"); end != "" {
		d, err := fhir.ParseInstant(end)
		if t, ok := d.Instant(); err == nil && ok {
			s.End = t
		}
	}
	if len(rd.issues) > 0 {
		return nil, rd.issues
	}
	return s, nil
}

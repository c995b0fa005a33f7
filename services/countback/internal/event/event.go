package event

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/url"
	"strings"
	"time"
)

// Fixed values of the envelope.
const (
	SpecVersion     = "1.0"
	ContentType     = "application/cloudevents+json" // of a message in structured mode
	DataContentType = "application/json"
	TypePrefix      = "example.countback." // countback.example, read from its end
	SchemaBase      = "http://countback.example/events/v1/"
	CaseSchema      = SchemaBase + "case.schema.json"
	TasksSchema     = SchemaBase + "tasks.schema.json"
	sourceBase      = "http://countback.example/facility/"
	subjectPrefix   = "CarePlan/"
)

// MaxBody is the largest encoded event in bytes. CloudEvents asks every
// intermediary to carry 64 KiB, which holds some 300 Tasks; a case has about
// sixty. The limit lies above that because refusing to tell of a very long
// plan is worse than a message that some intermediary may not carry, and below
// the 1 MiB at which a NATS server refuses a message unless told otherwise.
const MaxBody = 512 << 10

// ErrInvalid says that an event or a message is not a CloudEvent of the
// published form. The text names the attribute and never its value.
var ErrInvalid = errors.New("not an event of the published form")

// Event is a CloudEvent 1.0 about one case.
type Event struct {
	ID              string          `json:"id"`     // of the outbox row; with Source it names the event for ever
	Source          string          `json:"source"` // the facility, see Source
	SpecVersion     string          `json:"specversion"`
	Type            string          `json:"type"`    // TypePrefix and the event's name
	Subject         string          `json:"subject"` // CarePlan/ID
	Time            time.Time       `json:"time"`    // of the change, with the facility's offset
	DataContentType string          `json:"datacontenttype"`
	DataSchema      string          `json:"dataschema"`
	CaseSequence    int64           `json:"casesequence"` // 1, 2, 3 … over all events of the case
	Data            json.RawMessage `json:"data"`         // an object: CaseData or TasksData
}

// Options say what an event is about, beside its data.
type Options struct {
	ID           string // of the outbox row
	Facility     string // token, see CheckFacility
	Name         string // one of the names of this package
	Time         time.Time
	CaseSequence int64 // from 1
}

// NewCase builds a case event. Name must be one of CaseNames. The error is
// ErrData, ErrSubject or ErrInvalid.
func NewCase(o Options, d CaseData) (Event, error) {
	if !caseNames[o.Name] {
		return Event{}, fmt.Errorf("%w: type is no case event", ErrInvalid)
	}
	if err := d.check(); err != nil {
		return Event{}, err
	}
	return build(o, d.CarePlan, CaseSchema, d)
}

// NewTasks builds a tasks event. Name must be one of TasksNames. The error is
// ErrData, ErrSubject or ErrInvalid.
func NewTasks(o Options, d TasksData) (Event, error) {
	if !tasksNames[o.Name] {
		return Event{}, fmt.Errorf("%w: type is no tasks event", ErrInvalid)
	}
	if err := d.check(); err != nil {
		return Event{}, err
	}
	return build(o, d.CarePlan, TasksSchema, d)
}

func build(o Options, carePlan, schema string, data any) (Event, error) {
	source, err := Source(o.Facility)
	if err != nil {
		return Event{}, err
	}
	raw, err := json.Marshal(data)
	if err != nil {
		return Event{}, fmt.Errorf("%w: data", ErrInvalid)
	}
	e := Event{
		ID: o.ID, Source: source, SpecVersion: SpecVersion, Type: TypePrefix + o.Name,
		Subject: subjectPrefix + carePlan, Time: o.Time, DataContentType: DataContentType,
		DataSchema: schema, CaseSequence: o.CaseSequence, Data: raw,
	}
	return e, e.checkAttributes() // the data was just written, so it is JSON
}

// Source returns the source attribute of a facility's events.
func Source(facility string) (string, error) {
	if err := CheckFacility(facility); err != nil {
		return "", err
	}
	return sourceBase + facility, nil
}

// Name returns the event's name, such as case.opened, or "" for a type that
// is not ours. A name may be newer than this package.
func (e Event) Name() string {
	name, ok := strings.CutPrefix(e.Type, TypePrefix)
	if !ok {
		return ""
	}
	return name
}

// CaseID returns the id of the CarePlan that the event is about.
func (e Event) CaseID() string { return strings.TrimPrefix(e.Subject, subjectPrefix) }

// CaseData reads the data of a case event; members that are newer than this
// package are passed over.
func (e Event) CaseData() (CaseData, error) {
	var d CaseData
	if !strings.HasPrefix(e.Name(), "case.") {
		return d, fmt.Errorf("%w: type is no case event", ErrInvalid)
	}
	if err := json.Unmarshal(e.Data, &d); err != nil {
		return d, fmt.Errorf("%w: data", ErrInvalid)
	}
	return d, d.check()
}

// TasksData reads the data of a tasks event; members that are newer than this
// package are passed over.
func (e Event) TasksData() (TasksData, error) {
	var d TasksData
	if !strings.HasPrefix(e.Name(), "tasks.") {
		return d, fmt.Errorf("%w: type is no tasks event", ErrInvalid)
	}
	if err := json.Unmarshal(e.Data, &d); err != nil {
		return d, fmt.Errorf("%w: data", ErrInvalid)
	}
	return d, d.check()
}

// check holds for every event, whether ours or received.
func (e Event) check() error {
	if err := e.checkAttributes(); err != nil {
		return err
	}
	if !isObject(e.Data) {
		return fmt.Errorf("%w: data", ErrInvalid)
	}
	return nil
}

func (e Event) checkAttributes() error {
	bad := func(ok bool, attribute string) error {
		if ok {
			return nil
		}
		return fmt.Errorf("%w: %s", ErrInvalid, attribute)
	}
	return firstOf(
		bad(isEventID(e.ID), "id"),
		bad(isURI(e.Source), "source"),
		bad(e.SpecVersion == SpecVersion, "specversion"),
		bad(e.Type != "", "type"),
		bad(strings.HasPrefix(e.Subject, subjectPrefix) && isID(e.CaseID()), "subject"),
		bad(!e.Time.IsZero() && e.Time.Year() >= 1 && e.Time.Year() <= 9999, "time"),
		// A CloudEvents Integer has 32 bits.
		bad(e.CaseSequence >= 1 && e.CaseSequence <= math.MaxInt32, "casesequence"),
	)
}

// isEventID keeps an id to printable ASCII without space, since it is also a
// message header.
func isEventID(s string) bool {
	if s == "" || len(s) > 128 {
		return false
	}
	for _, c := range []byte(s) {
		if c <= ' ' || c >= 0x7f {
			return false
		}
	}
	return true
}

func isURI(s string) bool {
	u, err := url.Parse(s)
	return err == nil && s != "" && u.Scheme != "" && len(s) <= 256
}

func isObject(raw json.RawMessage) bool {
	return len(raw) > 0 && raw[0] == '{' && json.Valid(raw)
}

package event

import (
	"errors"
	"fmt"
	"strings"
	"time"
)

// ErrData says that a member of an event's data is not an id, version, code
// or date as it must be. The text names the member and never its value.
var ErrData = errors.New("event data is not of the published form")

// CaseData is the data of a case event: the CarePlan as it stands after the
// change.
type CaseData struct {
	CarePlan string `json:"carePlan"` // id of the CarePlan, which is the case
	Version  int64  `json:"version"`  // its version after the change, from 1
	State    string `json:"state"`    // code of CodeSystem/case-state
	Protocol string `json:"protocol"` // canonical of the PlanDefinition: url|version

	// Civil dates in the facility's zone, YYYY-MM-DD; "" = none or not known.
	SurgeryDate         string `json:"surgeryDate,omitempty"`
	PreviousSurgeryDate string `json:"previousSurgeryDate,omitempty"` // when the date moved
	EarliestSafeDate    string `json:"earliestSafeDate,omitempty"`

	Booking string    `json:"booking,omitempty"` // reference of the winning booking, Type/id
	Holds   []HoldRef `json:"holds,omitempty"`   // the holds that the event is about
}

// HoldRef points at the Flag of a hold. It leaves out the hold's code, some of
// which name an illness.
type HoldRef struct {
	ID       string `json:"id"`       // id of the Flag
	Version  int64  `json:"version"`  // its version after the change, from 1
	Category string `json:"category"` // clinical, safety, drug or admin
}

// TasksData is the data of a tasks event: the Tasks that it concerns, as they
// stand after the change.
type TasksData struct {
	CarePlan string     `json:"carePlan"` // id of the CarePlan that lists them
	Tasks    []TaskData `json:"tasks"`    // at least one
}

// TaskData is one Task. Opens, Due and Last are civil dates in the facility's
// zone (YYYY-MM-DD), or instants with the facility's offset (RFC 3339) where
// the window is a clock point; "" = none or not known.
type TaskData struct {
	ID      string `json:"id"`
	Version int64  `json:"version"` // from 1
	Step    string `json:"step"`    // step code of the protocol
	State   string `json:"state"`   // code of CodeSystem/item-state
	Opens   string `json:"opens,omitempty"`
	Due     string `json:"due,omitempty"`
	Last    string `json:"last,omitempty"`
}

func (d CaseData) check() error {
	err := firstOf(
		must(isID(d.CarePlan), "carePlan"),
		must(d.Version >= 1, "version"),
		must(isCode(d.State), "state"),
		must(isCanonical(d.Protocol), "protocol"),
		must(d.SurgeryDate == "" || isDate(d.SurgeryDate), "surgeryDate"),
		must(d.PreviousSurgeryDate == "" || isDate(d.PreviousSurgeryDate), "previousSurgeryDate"),
		must(d.EarliestSafeDate == "" || isDate(d.EarliestSafeDate), "earliestSafeDate"),
		must(d.Booking == "" || isReference(d.Booking), "booking"),
	)
	for i, h := range d.Holds {
		err = firstOf(err,
			must(isID(h.ID), "holds[%d].id", i),
			must(h.Version >= 1, "holds[%d].version", i),
			must(isCode(h.Category), "holds[%d].category", i),
		)
	}
	return err
}

func (d TasksData) check() error {
	err := firstOf(
		must(isID(d.CarePlan), "carePlan"),
		must(len(d.Tasks) > 0, "tasks"),
	)
	for i, t := range d.Tasks {
		err = firstOf(err,
			must(isID(t.ID), "tasks[%d].id", i),
			must(t.Version >= 1, "tasks[%d].version", i),
			must(isCode(t.Step), "tasks[%d].step", i),
			must(isCode(t.State), "tasks[%d].state", i),
			must(t.Opens == "" || isDay(t.Opens), "tasks[%d].opens", i),
			must(t.Due == "" || isDay(t.Due), "tasks[%d].due", i),
			must(t.Last == "" || isDay(t.Last), "tasks[%d].last", i),
		)
	}
	return err
}

func must(ok bool, member string, args ...any) error {
	if ok {
		return nil
	}
	return fmt.Errorf("%w: %s", ErrData, fmt.Sprintf(member, args...))
}

func firstOf(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// isID tells whether s is a FHIR R4 id: 1 to 64 of A-Z a-z 0-9 "-" ".".
func isID(s string) bool {
	if s == "" || len(s) > 64 {
		return false
	}
	for _, c := range []byte(s) {
		if !isLowerOrDigit(c) && (c < 'A' || c > 'Z') && c != '-' && c != '.' {
			return false
		}
	}
	return true
}

// isCode tells whether s is one of our own codes: lower-case words joined by
// hyphens. It is narrower than a FHIR code so that no sentence fits into it.
func isCode(s string) bool {
	if s == "" || len(s) > 64 || s[0] < 'a' || s[0] > 'z' {
		return false
	}
	for _, c := range []byte(s) {
		if !isLowerOrDigit(c) && c != '-' {
			return false
		}
	}
	return true
}

func isReference(s string) bool {
	kind, id, ok := strings.Cut(s, "/")
	if !ok || kind == "" || !isID(id) {
		return false
	}
	for _, c := range []byte(kind) {
		if (c < 'A' || c > 'Z') && (c < 'a' || c > 'z') {
			return false
		}
	}
	return true
}

func isCanonical(s string) bool {
	url, version, ok := strings.Cut(s, "|")
	return ok && isURI(url) && isID(version) && len(s) <= 256
}

func isDate(s string) bool {
	_, err := time.Parse(time.DateOnly, s)
	return err == nil
}

func isDay(s string) bool {
	if isDate(s) {
		return true
	}
	_, err := time.Parse(time.RFC3339Nano, s)
	return err == nil
}

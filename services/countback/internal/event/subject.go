package event

import (
	"errors"
	"fmt"
	"strings"
)

// SubjectPrefix starts every subject; SubjectAll is the wildcard over all of
// them.
const (
	SubjectPrefix = "countback.v1."
	SubjectAll    = SubjectPrefix + ">"
)

// maxFacility keeps a subject well below what brokers and their tools take.
const maxFacility = 64

// ErrSubject says that a facility, an event name or a subject is not of the
// published form.
var ErrSubject = errors.New("subject is not of the published form")

// Subject returns the subject of an event: countback.v1.<facility>.<event>.
// The facility is a token of a-z, 0-9, "_" and "-" (a FHIR id may hold a dot,
// which would split the subject, so an id is never used for it). The event is
// one of the names of this package. Any other input is ErrSubject.
func Subject(facility, event string) (string, error) {
	if err := CheckFacility(facility); err != nil {
		return "", err
	}
	if !isName(event) {
		return "", fmt.Errorf("%w: unknown event name", ErrSubject)
	}
	return SubjectPrefix + facility + "." + event, nil
}

// Filter returns the wildcard over every event of one facility, or over all
// facilities for "".
func Filter(facility string) (string, error) {
	if facility == "" {
		return SubjectAll, nil
	}
	if err := CheckFacility(facility); err != nil {
		return "", err
	}
	return SubjectPrefix + facility + ".>", nil
}

// ParseSubject is the inverse of Subject. It takes a well-formed event name
// that this version does not know, since a later version may add one.
func ParseSubject(subject string) (facility, event string, err error) {
	rest, ok := strings.CutPrefix(subject, SubjectPrefix)
	if !ok {
		return "", "", fmt.Errorf("%w: it does not begin with %q", ErrSubject, SubjectPrefix)
	}
	facility, event, _ = strings.Cut(rest, ".")
	if err := CheckFacility(facility); err != nil {
		return "", "", err
	}
	entity, verb, _ := strings.Cut(event, ".")
	if (entity != "case" && entity != "tasks") || !isCode(verb) {
		return "", "", fmt.Errorf("%w: no case or tasks event at its end", ErrSubject)
	}
	return facility, event, nil
}

// CheckFacility reports whether a facility token can stand in a subject.
func CheckFacility(facility string) error {
	if facility == "" || len(facility) > maxFacility {
		return fmt.Errorf("%w: a facility has 1 to %d characters", ErrSubject, maxFacility)
	}
	for _, c := range []byte(facility) {
		if !isLowerOrDigit(c) && c != '_' && c != '-' {
			return fmt.Errorf("%w: a facility holds only a-z, 0-9, \"_\" and \"-\"", ErrSubject)
		}
	}
	return nil
}

func isLowerOrDigit(c byte) bool { return c >= 'a' && c <= 'z' || c >= '0' && c <= '9' }

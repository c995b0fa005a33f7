package event

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net/url"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// Encode returns the event as a CloudEvent in JSON (structured mode). Whoever
// writes an event learns here, inside the transaction, what a relay could not
// publish later: the error is ErrInvalid for an attribute that is missing or
// wrong, a type that is not one of our names, or more than MaxBody bytes.
func Encode(e Event) ([]byte, error) {
	if err := e.check(); err != nil {
		return nil, err
	}
	if !isName(e.Name()) {
		return nil, fmt.Errorf("%w: type", ErrInvalid)
	}
	if e.DataContentType != DataContentType {
		return nil, fmt.Errorf("%w: datacontenttype", ErrInvalid)
	}
	if e.DataSchema != CaseSchema && e.DataSchema != TasksSchema {
		return nil, fmt.Errorf("%w: dataschema", ErrInvalid)
	}
	data := e.Data
	e.Data = nil
	body, err := json.Marshal(e)
	if err == nil {
		// The data goes in as it is: encoding/json would read all of it again.
		head, found := bytes.CutSuffix(body, []byte("null}"))
		if !found {
			err = ErrInvalid
		}
		body = append(append(head, data...), '}')
	}
	if err != nil {
		// The cause may quote the data, so it is not passed on.
		return nil, fmt.Errorf("%w: it cannot be written as JSON", ErrInvalid)
	}
	if len(body) > MaxBody {
		return nil, fmt.Errorf("%w: longer than %d bytes", ErrInvalid, MaxBody)
	}
	return body, nil
}

// Decode reads a CloudEvent in JSON. It is strict where encoding/json is not
// (equal keys, other case, bad UTF-8, text after the object), passes over
// attributes that it does not know, and takes a type that it does not know,
// because a consumer must still count that event. The error is ErrInvalid.
func Decode(body []byte) (Event, error) {
	members, err := readObject(body)
	if err != nil {
		return Event{}, err
	}
	attributes := make(map[string]string, len(members))
	for name, raw := range members {
		if name == "data" {
			continue
		}
		quoted := raw[0] == '"'
		if quoted != isText(name) && isKnown(name) {
			return Event{}, fmt.Errorf("%w: %s has the wrong JSON type", ErrInvalid, name)
		}
		text := string(raw)
		if quoted && json.Unmarshal(raw, &text) != nil {
			return Event{}, fmt.Errorf("%w: %s", ErrInvalid, name)
		}
		attributes[name] = text
	}
	return assemble(attributes, members["data"])
}

// FromMessage reads a CloudEvent from a NATS message in structured or binary
// mode. Header names are taken in any case: the specification writes ce- names
// in lower case, and libraries on the way are known to change it. The error is
// ErrInvalid.
func FromMessage(header map[string][]string, body []byte) (Event, error) {
	attributes := map[string]string{}
	contentType := ""
	for name, values := range header {
		lower := strings.ToLower(name)
		if len(values) == 0 {
			continue
		}
		if lower == "content-type" {
			contentType = strings.ToLower(values[0])
			continue
		}
		attribute, ok := strings.CutPrefix(lower, "ce-")
		if !ok {
			continue
		}
		value, err := url.PathUnescape(values[0])
		if _, twice := attributes[attribute]; err != nil || twice || len(values) > 1 {
			return Event{}, fmt.Errorf("%w: a ce- header is there twice or cannot be read", ErrInvalid)
		}
		attributes[attribute] = value
	}
	switch {
	case isMediaType(contentType, ContentType):
		return Decode(body)
	case strings.HasPrefix(contentType, "application/cloudevents"):
		return Event{}, fmt.Errorf("%w: neither one event in JSON nor binary mode", ErrInvalid)
	}
	return assemble(attributes, body)
}

// isMediaType compares without parameters such as charset.
func isMediaType(value, want string) bool {
	kind, _, _ := strings.Cut(value, ";")
	return strings.TrimSpace(kind) == want
}

func assemble(attributes map[string]string, data []byte) (Event, error) {
	sequence, err := strconv.ParseInt(attributes["casesequence"], 10, 64)
	if err != nil {
		return Event{}, fmt.Errorf("%w: casesequence", ErrInvalid)
	}
	// RFC 3339 allows a lower-case t and z; Go's parser does not.
	when, err := time.Parse(time.RFC3339Nano, strings.ToUpper(attributes["time"]))
	if err != nil {
		return Event{}, fmt.Errorf("%w: time", ErrInvalid)
	}
	e := Event{
		ID: attributes["id"], Source: attributes["source"], SpecVersion: attributes["specversion"],
		Type: attributes["type"], Subject: attributes["subject"], Time: when,
		DataContentType: attributes["datacontenttype"], DataSchema: attributes["dataschema"],
		CaseSequence: sequence, Data: bytes.Clone(bytes.TrimSpace(data)),
	}
	return e, e.check()
}

// readObject reads the top level of a JSON object.
func readObject(body []byte) (map[string]json.RawMessage, error) {
	if !utf8.Valid(body) {
		return nil, fmt.Errorf("%w: not UTF-8", ErrInvalid)
	}
	// The parser's own error text quotes the input, so it is not passed on.
	broken := fmt.Errorf("%w: not one JSON object", ErrInvalid)
	dec := json.NewDecoder(bytes.NewReader(body))
	if open, err := dec.Token(); err != nil || open != json.Delim('{') {
		return nil, broken
	}
	members := map[string]json.RawMessage{}
	for dec.More() {
		key, err := dec.Token()
		if err != nil {
			return nil, broken
		}
		name, ok := key.(string)
		if !ok {
			return nil, broken
		}
		if _, twice := members[name]; twice {
			return nil, fmt.Errorf("%w: an attribute is there twice", ErrInvalid)
		}
		var raw json.RawMessage
		if err := dec.Decode(&raw); err != nil {
			return nil, broken
		}
		members[name] = raw
	}
	if _, err := dec.Token(); err != nil {
		return nil, broken
	}
	if _, err := dec.Token(); err != io.EOF {
		return nil, broken
	}
	return members, nil
}

// isText tells whether a known attribute is a JSON string.
func isText(name string) bool { return name != "casesequence" }

func isKnown(name string) bool {
	switch name {
	case "id", "source", "specversion", "type", "subject", "time", "datacontenttype", "dataschema", "casesequence":
		return true
	}
	return false
}

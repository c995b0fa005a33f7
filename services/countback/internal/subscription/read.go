package subscription

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"example.org/countback/pkg/fhir"
)

// reading collects what is wrong with a Subscription.
type reading struct {
	r      *fhir.Resource
	base   string
	policy Policy
	issues fhir.Issues
}

// refuse notes a fault. value is the sender's own text, which is never logged.
func (rd *reading) refuse(code, element, text, value string) {
	rd.issues = append(rd.issues, fhir.Issue{
		Severity: fhir.SeverityError, Code: code, Expression: "Subscription." + element, Text: text, Diagnostics: value,
	})
}

// criteria reads the topic and its filters.
func (rd *reading) criteria(s *Subscription) {
	url := rd.r.String("criteria")
	topic, ok := topicOf(url)
	if !ok {
		var known []string
		for _, t := range topics {
			known = append(known, t.URL)
		}
		rd.refuse(fhir.CodeValue, "criteria", "criteria is the canonical of a topic: "+strings.Join(known, ", ")+"; a search is no topic, filters go into the extension backport-filter-criteria", url)
	}
	s.Topic = topic
	n := 0
	for i, e := range rd.r.Get("_criteria", "extension").Items() {
		at := fmt.Sprintf("criteria.extension[%d]", i)
		if e.String("url") != filterExtension {
			rd.refuse(fhir.CodeNotSupported, at, "the only extension of criteria that is understood is "+filterExtension, e.String("url"))
			continue
		}
		if n++; n > maxFilters {
			rd.refuse(fhir.CodeTooCostly, at, fmt.Sprintf("there are more than %d filters", maxFilters), "")
			return
		}
		text := e.String("valueString")
		fs, fault := parseFilters(text, rd.base)
		if fault != "" {
			rd.refuse(fhir.CodeNotSupported, at+".valueString", fault, text)
			continue
		}
		s.filters = append(s.filters, fs...)
	}
}

// channel reads how and where to the news is sent.
func (rd *reading) channel(s *Subscription) {
	if rd.r.Get("modifierExtension").Exists() || rd.r.Get("channel", "modifierExtension").Exists() {
		rd.refuse(fhir.CodeNotSupported, "modifierExtension", "no modifierExtension is understood", "")
	}
	c := rd.r.Get("channel")
	if c.String("type") != "rest-hook" {
		rd.refuse(fhir.CodeNotSupported, "channel.type", "the only channel is rest-hook: an HTTP POST to your endpoint; for a stream there is NATS", c.String("type"))
	}
	for _, e := range c.Get("_type", "extension").Items() {
		if e.String("url") == channelExtension {
			rd.refuse(fhir.CodeNotSupported, "channel.type.extension", "the only channel is rest-hook", "")
		}
	}
	s.Endpoint = c.String("endpoint")
	if fault := rd.policy.endpoint(s.Endpoint); fault != "" {
		rd.refuse(fhir.CodeValue, "channel.endpoint", fault, s.Endpoint)
	}
	rd.payload(s, c)
	rd.headers(s, c)
	for i, e := range c.Get("extension").Items() {
		rd.pace(s, e, fmt.Sprintf("channel.extension[%d]", i))
	}
}

// payload reads in which form and how much is told.
func (rd *reading) payload(s *Subscription, c *fhir.Node) {
	if s.Payload = c.String("payload"); !slices.Contains(media, s.Payload) {
		rd.refuse(fhir.CodeNotSupported, "channel.payload", "payload is "+media[0]+": a notification is a Bundle, in JSON", s.Payload)
	}
	for _, e := range c.Get("_payload", "extension").Items() {
		if e.String("url") == contentExtension {
			s.Content = e.String("valueCode")
		}
	}
	switch s.Content {
	case Empty, IDOnly:
	case "":
		rd.refuse(fhir.CodeRequired, "channel.payload.extension", "the extension "+contentExtension+" is missing: id-only or empty", "")
	default:
		rd.refuse(fhir.CodeNotSupported, "channel.payload.extension.valueCode",
			"the content is id-only or empty: no data of a patient is sent out; what an id stands for is read here, by whoever may", s.Content)
	}
}

// pace reads how often and how much at a time.
func (rd *reading) pace(s *Subscription, e *fhir.Node, at string) {
	whole := func(member string, low, high int) int {
		n, ok := e.Get(member).Int()
		if !ok || n < low || n > high {
			rd.refuse(fhir.CodeValue, at+"."+member, fmt.Sprintf("is a whole number from %d to %d", low, high), "")
			return low
		}
		return n
	}
	switch e.String("url") {
	case heartbeatExt:
		s.Heartbeat = time.Duration(whole("valueUnsignedInt", int(minHeartbeat/time.Second), int(maxHeartbeat/time.Second))) * time.Second
	case timeoutExtension:
		s.Timeout = time.Duration(whole("valueUnsignedInt", 1, int(maxTimeout/time.Second))) * time.Second
	case maxCountExt:
		s.MaxCount = whole("valuePositiveInt", 1, maxMaxCount)
	}
}

// reserved are the headers that the service sets itself, and those that belong
// to the connection.
var reserved = []string{
	"host", "content-type", "content-length", "content-digest", "content-encoding", "signature", "signature-input", "date",
	"connection", "transfer-encoding", "te", "trailer", "upgrade", "expect", "keep-alive", "proxy-connection", "proxy-authorization",
}

// headers reads what is sent along: "Name: value" each.
func (rd *reading) headers(s *Subscription, c *fhir.Node) {
	size := 0
	for i, h := range c.Get("header").Items() {
		name, value, ok := strings.Cut(h.Text(), ":")
		value = strings.Trim(value, " \t")
		at := fmt.Sprintf("channel.header[%d]", i)
		size += len(h.Text())
		switch {
		case !ok || !isToken(name) || !isFieldValue(value):
			rd.refuse(fhir.CodeValue, at, "a header is Name: value, on one line", "") // it may be a secret
		case slices.Contains(reserved, strings.ToLower(name)):
			rd.refuse(fhir.CodeBusinessRule, at, "this header is set by the service or belongs to the connection", "")
		case i >= maxHeaders || size > maxHeaderText:
			rd.refuse(fhir.CodeTooCostly, at, fmt.Sprintf("there are more than %d headers, or more than %d bytes of them", maxHeaders, maxHeaderText), "")
			return
		default:
			s.Headers = append(s.Headers, Header{name, value})
		}
	}
}

// isToken reports whether s can be the name of a header.
//
// Source: RFC 9110, 5.6.2.
func isToken(s string) bool {
	for _, c := range []byte(s) {
		letter := c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9'
		if !letter && !strings.ContainsRune("!#$%&'*+-.^_`|~", rune(c)) {
			return false
		}
	}
	return s != ""
}

// isFieldValue reports whether s can be the value of a header: no line breaks,
// nothing that cannot be seen.
func isFieldValue(s string) bool {
	for _, c := range []byte(s) {
		if c < ' ' && c != '\t' || c >= 0x7f {
			return false
		}
	}
	return s != ""
}

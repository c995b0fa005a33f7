package fhirapi

import (
	"context"
	"net/http"
	"strconv"

	r4 "github.com/samply/golang-fhir-models/fhir-models/fhir"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/subscription"
)

// Canonicals of the "Subscriptions R5 Backport": what its CapabilityStatement
// backport-subscription-server-r4 asks of a server.
const (
	backport          = "http://hl7.org/fhir/uv/subscriptions-backport/"
	backportOperation = backport + "OperationDefinition/backport-subscription-"
	backportProfile   = backport + "StructureDefinition/backport-subscription"
	topicExtension    = backport + "StructureDefinition/capabilitystatement-subscriptiontopic-canonical"
)

// subscriptionOperations are those of the backport.
var subscriptionOperations = []calculation{
	{
		code: "status", types: []string{subscriptionType}, onType: true, definition: backportOperation + "status",
		parameters: map[string]parameter{
			"id":     {values: []string{"valueId", "valueString"}, repeats: true},
			"status": {values: []string{"valueCode", "valueString"}, repeats: true},
		}, run: (*server).subscriptionStatus,
	},
	{
		code: "events", types: []string{subscriptionType}, definition: backportOperation + "events",
		parameters: map[string]parameter{
			"eventsSinceNumber": {values: []string{"valueString", "valueInteger", "valueInteger64"}},
			"eventsUntilNumber": {values: []string{"valueString", "valueInteger", "valueInteger64"}},
			"content":           {values: []string{"valueCode"}},
		}, run: (*server).subscriptionEvents,
	},
}

// subscribe makes, changes or deletes a Subscription.
func (s *server) subscribe(ctx context.Context, a *ask) (reply, error) {
	if a.ifNoneExist != "" {
		return reply{}, casework.Refuse(casework.ErrMalformed, fhir.CodeNotSupported, a.element("ifNoneExist"),
			"a Subscription has no identifier, so that there is no conditional create of it")
	}
	q := a.request()
	result, err := s.Office.Subscribe(ctx, casework.Subscribing{
		Method: q.Method, ID: a.id, IfMatch: a.ifMatch, Source: a.sent.source, ContentType: a.sent.contentType,
		Target: a.sent.target, Body: a.sent.body, Resource: a.resource, Patch: a.patch,
	})
	if err != nil {
		return reply{}, locate(err, []*ask{a})
	}
	r := replyTo(result)
	if result.Created && result.Stored.Deleted {
		r.status = http.StatusCreated
	}
	return r, nil
}

// subscriptionStatus is the operation status.
func (s *server) subscriptionStatus(ctx context.Context, _, id string, list []given) ([]byte, error) {
	var ids, statuses []string
	for _, g := range list {
		if g.name == "id" {
			ids = append(ids, g.text)
		} else {
			statuses = append(statuses, g.text)
		}
	}
	return s.Office.SubscriptionStatus(ctx, id, ids, statuses)
}

// subscriptionEvents is the operation events.
func (s *server) subscriptionEvents(ctx context.Context, _, id string, list []given) ([]byte, error) {
	var since, until int64
	content := ""
	for _, g := range list {
		if g.name == "content" {
			if content = g.text; content != subscription.Empty && content != subscription.IDOnly {
				return nil, g.refuse(casework.ErrInvalid, fhir.CodeNotSupported, "is id-only or empty: no data of a patient is told here")
			}
			continue
		}
		n, err := strconv.ParseInt(g.text, 10, 64)
		if err != nil || n < 0 {
			return nil, g.refuse(casework.ErrMalformed, fhir.CodeValue, "is the number of an event")
		}
		if g.name == "eventsSinceNumber" {
			since = n
		} else {
			until = n
		}
	}
	return s.Office.SubscriptionEvents(ctx, id, since, until, content)
}

// topicsOf tells, with a Subscription, what can be subscribed to.
func topicsOf(o offer) []r4.Extension {
	if !o.asked {
		return nil
	}
	var out []r4.Extension
	for _, t := range subscription.Topics() {
		out = append(out, r4.Extension{Url: topicExtension, ValueCanonical: &t.URL})
	}
	return out
}

package fhirapi

import (
	"context"
	"net/http"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/casework"
)

// write stores one resource, or people's entry on a Task.
func (s *server) write(ctx context.Context, a *ask) (reply, error) {
	if a.typ == taskType {
		return s.work(ctx, a)
	}
	if a.typ == definitionType || a.typ == setType || a.typ == formType {
		return s.adopt(ctx, a)
	}
	if a.typ == subscriptionType {
		return s.subscribe(ctx, a)
	}
	results, err := s.Office.Receive(ctx, casework.Delivery{
		Source: a.sent.source, ContentType: a.sent.contentType, Method: a.sent.method, Target: a.sent.target,
		Body: a.sent.body, Requests: []casework.Request{a.request()},
	})
	if err != nil {
		return reply{}, locate(err, []*ask{a})
	}
	return replyTo(results[0]), nil
}

// request is the ask as casework takes it.
func (a *ask) request() casework.Request {
	q := casework.Request{
		At: a.at, Method: http.MethodPut, Type: a.typ, ID: a.id, Query: a.condition,
		IfNoneExist: a.ifNoneExist, IfMatch: a.ifMatch, FullURL: a.fullURL, Resource: a.resource, Patch: a.patch,
	}
	switch a.kind {
	case create:
		q.Method = http.MethodPost
	case patch, conditionalPatch:
		q.Method = http.MethodPatch
	case remove, conditionalDelete:
		q.Method = http.MethodDelete
	}
	return q
}

// work records what a person wrote on a Task.
func (s *server) work(ctx context.Context, a *ask) (reply, error) {
	if a.resource != nil && a.resource.ID() != a.id {
		return reply{}, casework.Refuse(casework.ErrMalformed, fhir.CodeInvariant, taskType+".id",
			"Task.id must be the id that the address names")
	}
	result, err := s.Office.Work(ctx, casework.TaskWork{
		ID: a.id, IfMatch: a.ifMatch, Source: a.sent.source, ContentType: a.sent.contentType,
		Body: a.sent.body, Resource: a.resource, Patch: a.patch,
	})
	if err != nil {
		return reply{}, locate(err, []*ask{a})
	}
	return replyTo(result), nil
}

func replyTo(r casework.Result) reply {
	if r.Deleted {
		return reply{status: http.StatusNoContent, stored: r.Stored}
	}
	out := reply{status: http.StatusOK, stored: r.Stored, body: r.Stored.Body, written: true, changed: r.Changed, note: r.Note, advice: r.Advice, adviceAt: r.AdviceAt}
	if r.Created {
		out.status = http.StatusCreated
	}
	if r.Stored.Deleted { // what was sent does not bring it back
		out.body = out.told().OperationOutcome()
	}
	return out
}

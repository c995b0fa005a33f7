package fhirapi

import (
	"context"
	"errors"
	"fmt"
	"net/http"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/store"
)

// What the edge itself refuses. Each comes as a *casework.Refusal with its
// issues.
var (
	errUnknown   = errors.New("nothing is served here")            // 404
	errMethod    = errors.New("method is not served here")         // 405
	errAccept    = errors.New("no representation is acceptable")   // 406
	errTooLarge  = errors.New("more than is taken at once")        // 413
	errMediaType = errors.New("media type is not taken")           // 415
	errUnread    = errors.New("body did not arrive complete")      // 400
	errBusy      = errors.New("database is busy")                  // 503
	errPanicked  = errors.New("handler panicked")                  // 500
	errCancelled = fmt.Errorf("client went: %w", context.Canceled) // 499
)

// statusClientGone is logged when the client went before its answer. Nobody
// receives it. common practice, no source.
const statusClientGone = 499

// failure is what an error becomes.
type failure struct {
	cause  error
	status int
	retry  bool   // the same request may succeed later: Retry-After is sent
	code   string // of the issue, for an error that brings none
	text   string // ditto
}

// failures is the only table from error to status. The first row that an error
// is (errors.Is) counts; one that is in no row is the last row's.
var failures = []failure{
	{errTooLarge, http.StatusRequestEntityTooLarge, false, fhir.CodeTooLong, "the request is larger than is taken here"},
	{errUnread, http.StatusBadRequest, false, "incomplete", "the body of the request did not arrive complete"},
	{errUnknown, http.StatusNotFound, false, fhir.CodeNotSupported, "nothing is served here"},
	{errMethod, http.StatusMethodNotAllowed, false, fhir.CodeNotSupported, "this cannot be done here"},
	{errAccept, http.StatusNotAcceptable, false, fhir.CodeNotSupported, "only JSON can be given"},
	{errMediaType, http.StatusUnsupportedMediaType, false, fhir.CodeNotSupported, "only JSON is taken"},
	{casework.ErrMalformed, http.StatusBadRequest, false, fhir.CodeStructure, "the request cannot be understood"},
	{casework.ErrInvalid, http.StatusUnprocessableEntity, false, fhir.CodeBusinessRule, "the request breaks a rule"},
	{casework.ErrNotFound, http.StatusNotFound, false, "not-found", "there is no such resource"},
	{casework.ErrGone, http.StatusGone, false, "deleted", "the resource was deleted"},
	{casework.ErrNotAllowed, http.StatusMethodNotAllowed, false, fhir.CodeNotSupported, "this cannot be done with this type"},
	{casework.ErrConflict, http.StatusConflict, false, "conflict", "the request conflicts with what is held"},
	{casework.ErrVersion, http.StatusPreconditionFailed, false, "conflict", "the version is not the current one"},
	{casework.ErrMultiple, http.StatusPreconditionFailed, false, "multiple-matches", "the condition matches several resources"},
	{store.ErrNotFound, http.StatusNotFound, false, "not-found", "there is no such resource"},
	{store.ErrConflict, http.StatusConflict, true, "conflict", "another request changed the same resource at the same time: send it again"},
	{store.ErrAborted, http.StatusServiceUnavailable, true, "transient", "nothing was stored: send the request again"},
	{store.ErrClosed, http.StatusServiceUnavailable, true, "transient", "the service is going down or starting: send the request again"},
	{errBusy, http.StatusServiceUnavailable, true, "lock-error", "the service is busy: send the request again"},
	{context.DeadlineExceeded, http.StatusServiceUnavailable, true, "timeout", "the request took too long: send it again"},
	{context.Canceled, statusClientGone, false, "incomplete", "the request was given up"},
	{nil, http.StatusInternalServerError, false, "exception", "the service failed; its log has more under this request id"},
}

// retryAfter is when a client may try again, in seconds.
const retryAfter = 2

// failureOf finds the row of an error.
func failureOf(err error) failure {
	if busy(err) {
		err = errBusy
	}
	for _, f := range failures {
		if f.cause == nil || errors.Is(err, f.cause) {
			return f
		}
	}
	return failures[len(failures)-1]
}

// busy reports whether the database gave up waiting for a lock; its driver says
// so by a method, and is not imported here.
func busy(err error) bool {
	if errors.Is(err, context.DeadlineExceeded) { // it calls itself temporary, too
		return false
	}
	var t interface{ Temporary() bool }
	return errors.As(err, &t) && t.Temporary()
}

// outcome is what the sender is told. An error that is no refusal says nothing
// of itself: only its row's text and the request id.
func (f failure) outcome(err error, requestID string) fhir.Issues {
	var r *casework.Refusal
	if errors.As(err, &r) && len(r.Issues) > 0 && f.status < http.StatusInternalServerError {
		return r.Issues
	}
	issue := fhir.Issue{Severity: fhir.SeverityError, Code: f.code, Text: f.text}
	if f.status >= http.StatusInternalServerError {
		issue.Diagnostics = "request id " + requestID
	}
	return fhir.Issues{issue}
}

// classes says which kind of refusal an issue about the content of a message
// is, by its code. R4: 400 for what cannot be read or breaks a basic rule of
// FHIR, 422 for a rule of the profile or the business.
var classes = []struct {
	codes []string
	class error
}{
	{[]string{fhir.CodeTooLong, fhir.CodeTooCostly}, errTooLarge},
	{[]string{fhir.CodeStructure, fhir.CodeRequired, fhir.CodeValue, fhir.CodeInvalidCode, fhir.CodeNotSupported}, casework.ErrMalformed},
	{[]string{fhir.CodeInvariant, fhir.CodeBusinessRule, fhir.CodeDuplicate}, casework.ErrInvalid},
}

// contentRefusal makes a refusal of what is wrong with the content of a
// message; the gravest issue decides.
func contentRefusal(issues fhir.Issues) *casework.Refusal {
	for _, row := range classes {
		for _, code := range row.codes {
			if issues.Has(code) {
				return &casework.Refusal{Err: row.class, Issues: issues}
			}
		}
	}
	return &casework.Refusal{Err: casework.ErrInvalid, Issues: issues}
}

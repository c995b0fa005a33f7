package casework

import (
	"errors"

	"example.org/countback/pkg/fhir"
)

// Why a request was refused. The edge maps each to one status.
var (
	ErrMalformed  = errors.New("request cannot be understood")        // 400
	ErrInvalid    = errors.New("request breaks a rule")               // 422
	ErrNotFound   = errors.New("no such resource")                    // 404
	ErrGone       = errors.New("resource was deleted")                // 410
	ErrNotAllowed = errors.New("not allowed for this type")           // 405
	ErrConflict   = errors.New("conflicts with what is held")         // 409
	ErrVersion    = errors.New("version is not the current one")      // 412
	ErrMultiple   = errors.New("condition matches several resources") // 412
)

// Refusal is an error with the issues that the sender is told. Its text may be
// logged: it holds no value that was sent.
type Refusal struct {
	Err    error
	Issues fhir.Issues
}

func (r *Refusal) Error() string { return r.Err.Error() + ": " + r.Issues.Error() }

// Unwrap gives the reason class.
func (r *Refusal) Unwrap() error { return r.Err }

// Refuse builds a refusal with one issue.
func Refuse(err error, code, expression, text string) *Refusal {
	return &Refusal{Err: err, Issues: fhir.Issues{{
		Severity: fhir.SeverityError, Code: code, Expression: expression, Text: text,
	}}}
}

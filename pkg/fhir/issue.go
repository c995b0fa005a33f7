package fhir

import (
	"fmt"
	"strings"

	r4 "github.com/samply/golang-fhir-models/fhir-models/fhir"
)

// Issue codes used by this package, all from the value set issue-type of R4.
const (
	CodeStructure    = "structure"
	CodeRequired     = "required"
	CodeValue        = "value"
	CodeInvariant    = "invariant"
	CodeInvalidCode  = "code-invalid"
	CodeNotSupported = "not-supported"
	CodeTooLong      = "too-long"
	CodeTooCostly    = "too-costly"
	CodeDuplicate    = "duplicate"
	CodeBusinessRule = "business-rule"
)

// Issue severities of R4.
const (
	SeverityError       = "error"
	SeverityFatal       = "fatal"
	SeverityWarning     = "warning"
	SeverityInformation = "information"
)

// Issue is one thing that is wrong, or worth saying, about a resource.
//
// Text and Expression may be logged: they name elements and codes of the FHIR
// specification and never repeat a value that was sent. Diagnostics may.
type Issue struct {
	Severity    string // one of the Severity constants; empty counts as error
	Code        string // one of the Code constants
	Expression  string // FHIRPath of the element, such as Appointment.participant[0].status
	Text        string // for people: what is wrong and what would be right
	Diagnostics string // what was sent, for the sender only; may be empty
	// Parameter is the URL parameter that is meant, as it was sent, so for the
	// sender only; it counts where there is no Expression.
	Parameter string
}

// Issues is a list of what is wrong; nil means nothing is. It is an error
// whose text may be logged.
type Issues []Issue

// Error names expression and text of every issue, never the diagnostics.
func (is Issues) Error() string {
	if len(is) == 0 {
		return "no issues"
	}
	var b strings.Builder
	for i, issue := range is {
		if i > 0 {
			b.WriteString("; ")
		}
		if !strings.HasPrefix(issue.Text, issue.Expression) {
			b.WriteString(issue.Expression)
			b.WriteString(": ")
		}
		b.WriteString(issue.Text)
	}
	return b.String()
}

// Err returns the issues as an error, and a nil error when there are none (a
// nil Issues in an error variable would not be nil).
func (is Issues) Err() error {
	if len(is) == 0 {
		return nil
	}
	return is
}

// Has reports whether an issue with the code is in the list.
func (is Issues) Has(code string) bool {
	for _, issue := range is {
		if issue.Code == code {
			return true
		}
	}
	return false
}

// OperationOutcome writes the issues as an R4 OperationOutcome. Without any
// issue it says so, as an OperationOutcome needs at least one.
func (is Issues) OperationOutcome() []byte {
	body, err := Marshal(NewOperationOutcome(is))
	if err != nil { // plain strings and known codes always encode
		panic(fmt.Sprintf("fhir: operation outcome: %v", err))
	}
	return body
}

// samply writes the place of an issue: an element, or a URL parameter, which is
// "http." and its name. R4 says so of location, which is deprecated; expression
// has it too, for those who read nothing else.
//
// Source: HL7 FHIR R4 (4.0.1), OperationOutcome.issue.location.
func (i Issue) samply() r4.OperationOutcomeIssue {
	out := r4.OperationOutcomeIssue{Severity: issueSeverity(i.Severity), Code: issueType(i.Code)}
	if i.Text != "" {
		out.Details = &r4.CodeableConcept{Text: &i.Text}
	}
	if i.Diagnostics != "" {
		out.Diagnostics = &i.Diagnostics
	}
	switch {
	case i.Expression != "":
		out.Expression = []string{i.Expression}
	case i.Parameter != "":
		out.Location = []string{"http." + i.Parameter}
		out.Expression = out.Location
	}
	return out
}

func issueSeverity(code string) r4.IssueSeverity {
	var s r4.IssueSeverity
	if s.UnmarshalJSON([]byte(code)) != nil {
		return r4.IssueSeverityError
	}
	return s
}

func issueType(code string) r4.IssueType {
	var t r4.IssueType
	if t.UnmarshalJSON([]byte(code)) != nil {
		return r4.IssueTypeProcessing
	}
	return t
}

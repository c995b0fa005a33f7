package translate

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// Faults gives each fault for which ReadProtocol refused a PlanDefinition as an
// issue of its own, at the action that it names; nil for any other error.
func Faults(r *fhir.Resource, err error) fhir.Issues {
	var refused *readiness.ProtocolError
	if !errors.As(err, &refused) {
		return nil
	}
	return atActions(r, refused.Faults, fhir.SeverityError)
}

// Warned gives what may go wrong on some dates of surgery, of the facility's
// calendar and of others, as warnings, each at the action that it names: nothing
// to refuse a protocol for. It takes some tenths of a second.
func (f Facility) Warned(r *fhir.Resource, p *Protocol) fhir.Issues {
	return atActions(r, p.Warnings(f.Calendar), fhir.SeverityWarning)
}

// atActions gives texts that begin with the code of an action as issues.
func atActions(r *fhir.Resource, texts []string, severity string) fhir.Issues {
	at := map[string]string{}
	for n, a := range r.Get("action").Items() {
		at[a.String("id")] = fmt.Sprintf("PlanDefinition.action[%d]", n)
	}
	out := make(fhir.Issues, 0, len(texts))
	for _, text := range texts {
		i := fhir.Issue{Severity: severity, Code: fhir.CodeBusinessRule, Expression: "PlanDefinition.action", Text: text}
		if place := at[faulty(text)]; place != "" {
			i.Expression = place
		}
		out = append(out, i)
	}
	return out
}

// faulty is the action that a fault names: it begins with it.
func faulty(fault string) string {
	first, _, _ := strings.Cut(fault, " ")
	return strings.TrimSuffix(first, ":")
}

// further are the faults of actions that nothing was found against before:
// what could not be read leads to others that mean nothing.
func further(faults []string, err error) []string {
	var refused *readiness.ProtocolError
	if !errors.As(err, &refused) {
		return nil
	}
	known := map[string]bool{}
	for _, f := range faults {
		known[faulty(f)] = true
	}
	var out []string
	for _, f := range refused.Faults {
		if !known[faulty(f)] {
			out = append(out, f)
		}
	}
	return out
}

// Unnamed says what keeps plans from naming a PlanDefinition as url|version; nil
// for nothing.
func Unnamed(r *fhir.Resource) fhir.Issues {
	var out fhir.Issues
	for _, element := range []string{"url", "version"} {
		i := fhir.Issue{Severity: fhir.SeverityError, Expression: "PlanDefinition." + element}
		switch v := r.String(element); {
		case v == "":
			i.Code, i.Text = fhir.CodeRequired, "it is missing: plans name what they were made by as url|version"
		case strings.ContainsAny(v, "| \t\r\n"):
			i.Code, i.Text = fhir.CodeValue, "it may hold neither | nor blanks: plans name what they were made by as url|version"
		default:
			continue
		}
		out = append(out, i)
	}
	return out
}

// Unapproved says what a PlanDefinition lacks to be one that a named approver of
// the hospital has signed, on the day given as a FHIR date; nil for nothing.
func Unapproved(r *fhir.Resource, today string) fhir.Issues {
	var out fhir.Issues
	lacks := func(element, text string) {
		out = append(out, fhir.Issue{
			Severity: fhir.SeverityError, Code: fhir.CodeBusinessRule, Expression: "PlanDefinition." + element, Text: text,
		})
	}
	if r.String("status") != "active" {
		lacks("status", "the status must be active: anything else can be previewed, and not planned by")
	}
	switch day := r.String("approvalDate"); {
	case day == "":
		lacks("approvalDate", "the day on which it was approved is missing")
	case compareDates(day, today) > 0:
		lacks("approvalDate", "the day on which it was approved is still to come")
	}
	if !named(r) {
		lacks("endorser", "nobody is named who approved it: an endorser with a name")
	}
	if start := r.String("effectivePeriod", "start"); start != "" && compareDates(start, today) > 0 {
		lacks("effectivePeriod", "it is to be used from a later day on: adopt it then")
	}
	if end := r.String("effectivePeriod", "end"); end != "" && compareDates(end, today) < 0 {
		lacks("effectivePeriod", "the period in which it was to be used is over")
	}
	return out
}

// compareDates compares two FHIR dates as far as both go: 2026-11 is the same as
// any day of that month.
func compareDates(a, b string) int {
	n := min(len(a), len(b), len(time.DateOnly))
	return strings.Compare(a[:n], b[:n])
}

// named reports whether an endorser has a name.
func named(r *fhir.Resource) bool {
	for _, e := range r.Get("endorser").Items() {
		if strings.TrimSpace(e.String("name")) != "" {
			return true
		}
	}
	return false
}

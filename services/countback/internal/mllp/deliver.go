package mllp

import (
	"context"
	"crypto/rand"
	"errors"
	"regexp"
	"strconv"
	"strings"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/hl7"
	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/siu"
)

// mediaType is what the bytes of a message are kept as.
const mediaType = "application/hl7-v2"

// idLength fits MSH-10 in every version.
const idLength = 20

// answer takes one message and gives the acknowledgment of it. read says how
// reading it went.
func (s *Server) answer(message []byte, read error) []byte {
	m, faults, err := s.take(message, read)
	ack := hl7.Ack{Code: code(faults, err), ID: rand.Text()[:idLength], Now: s.Now().In(s.Read.Zone), Faults: faults}
	s.mu.Lock()
	s.answers[ack.Code]++
	s.mu.Unlock()
	attrs := []any{"event", siu.Event(m), "answer", ack.Code, "id", ack.ID}
	if len(faults) > 0 {
		places := make([]string, 0, len(faults))
		for _, f := range faults {
			places = append(places, strings.TrimSpace(f.At.String()+" "+strconv.Itoa(f.Code)))
		}
		attrs = append(attrs, "at", places)
	}
	if err != nil {
		s.Log.Error("hl7 message", append(attrs, "error", casework.Loggable(err))...)
	} else {
		s.Log.Info("hl7 message", attrs...)
	}
	return ack.Print(m)
}

// code is the acknowledgment code: what is only told makes no fault.
func code(faults []hl7.Fault, err error) string {
	out := hl7.Accept
	if err != nil {
		return hl7.Reject
	}
	for _, f := range faults {
		switch {
		case f.Severity != "":
		case f.Reject:
			return hl7.Reject
		default:
			out = hl7.Error
		}
	}
	return out
}

// take carries a message out. The error is one that says nothing of the message:
// it may be sent again.
func (s *Server) take(message []byte, read error) (*hl7.Message, []hl7.Fault, error) {
	m, err := hl7.Parse(message)
	if errors.Is(read, errTooLong) {
		err = hl7.Fault{Code: hl7.CodeTooLong, Reject: true, Text: "the message is longer than the " + strconv.Itoa(s.MaxMessage) + " bytes that are taken"}
	}
	var one hl7.Fault
	if errors.As(err, &one) {
		s.Office.NoteRefused(siu.Source(m))
		return m, []hl7.Fault{one}, nil
	}
	s.work.Lock()
	defer s.work.Unlock()
	ctx, cancel := context.WithTimeout(context.Background(), workTime)
	defer cancel()
	t, err := siu.Map(m, s.Read)
	if err == nil {
		err = t.Settle(s.lookup(ctx))
	}
	var faults hl7.Faults
	if errors.As(err, &faults) {
		s.Office.NoteRefused(siu.Source(m))
		return m, faults, nil
	}
	if err != nil {
		return m, failed, err
	}
	d, issues := delivery(m, t, message)
	if len(issues) > 0 {
		s.Office.NoteRefused(t.Source)
		return m, located(t, issues), nil
	}
	results, err := s.Office.Receive(ctx, d)
	var refusal *casework.Refusal
	switch {
	case errors.As(err, &refusal):
		return m, located(t, refusal.Issues), nil
	case err != nil:
		return m, failed, err
	}
	return m, told(m, t, d, results), nil
}

// failed is what a sender is told of a failure of ours.
var failed = []hl7.Fault{{Code: hl7.CodeApplication, Text: "the service failed and stored nothing: send the message again", Reject: true}}

// lookup asks the office who carries an identifier.
func (s *Server) lookup(ctx context.Context) siu.Lookup {
	return func(typ, system, value string) ([]siu.Held, error) {
		found, err := s.Office.Carriers(ctx, typ, fhir.Identifier{System: system, Value: value})
		if err != nil {
			return nil, err
		}
		var out []siu.Held
		for _, r := range found {
			h := siu.Held{ID: r.ID()}
			for _, id := range r.Get("identifier").Items() {
				h.Systems = append(h.Systems, id.String("system"))
			}
			out = append(out, h)
		}
		return out, nil
	}
}

// delivery is the message as casework takes it, with its bytes as they were sent.
func delivery(m *hl7.Message, t *siu.Transaction, message []byte) (casework.Delivery, fhir.Issues) {
	d := casework.Delivery{Source: t.Source, ContentType: mediaType, Method: "MLLP", Target: "SIU^" + siu.Event(m), Body: message}
	body, err := t.Bundle()
	if err != nil {
		return d, fhir.Issues{{Severity: fhir.SeverityError, Code: fhir.CodeStructure}}
	}
	res, issues := fhir.Parse(body, len(body)+1)
	if len(issues) > 0 {
		return d, issues
	}
	b, issues := res.Bundle(0)
	if len(issues) > 0 {
		return d, issues
	}
	for _, e := range b.Entries {
		d.Requests = append(d.Requests, casework.Request{
			At: "Bundle.entry[" + strconv.Itoa(e.Index) + "]", Method: e.Method, Type: e.TargetType, Query: e.Query,
			IfNoneExist: e.IfNoneExist, FullURL: e.FullURL, Resource: e.Resource,
		})
	}
	return d, nil
}

var element = regexp.MustCompile(`^Bundle\.entry\[(\d+)\](?:\.resource)?(?:\.([A-Za-z]+))?`)

// located turns issues about the transaction into faults of the message. What
// issues say may quote what was sent, and stays here.
func located(t *siu.Transaction, issues fhir.Issues) []hl7.Fault {
	var out []hl7.Fault
	for _, i := range issues {
		if i.Severity == fhir.SeverityInformation {
			continue
		}
		f := hl7.Fault{Code: hl7.CodeDataType, Text: "holds what cannot be taken (" + i.Code + ")"}
		if parts := element.FindStringSubmatch(i.Expression); parts != nil {
			n, _ := strconv.Atoi(parts[1])
			f.At = t.At(n, parts[2])
		}
		switch i.Code {
		case "multiple-matches":
			f.Code, f.Text = hl7.CodeDuplicateKey, "is the identifier of more than one that is held: nobody can tell which is meant"
		case "conflict", fhir.CodeDuplicate:
			f.Code, f.Text = hl7.CodeDuplicateKey, "conflicts with what is held, or names one thing twice"
		}
		out = append(out, f)
	}
	return out
}

// told is what the sender should know of a message that was taken.
func told(m *hl7.Message, t *siu.Transaction, d casework.Delivery, results []casework.Result) []hl7.Fault {
	var out []hl7.Fault
	for n, r := range results {
		if r.Note == "" || d.Requests[n].Type != "Appointment" {
			continue
		}
		f := hl7.Fault{At: t.At(n, ""), Code: hl7.CodeAccepted, Severity: "I", Text: r.Note}
		if r.Superseded {
			f.At = m.Header().At(7)
		}
		out = append(out, f)
	}
	return out
}

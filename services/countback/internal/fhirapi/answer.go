package fhirapi

import (
	"errors"
	"net/http"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/store"
)

// reply is what became of an ask.
type reply struct {
	status   int
	stored   store.Stored // what it is about; Version 0: not one resource
	body     []byte
	written  bool   // the ask was a create or an update
	changed  bool   // and made a new version
	note     string // what the sender should know of it; empty for nothing
	advice   string // what a person must be told at once: in the response whatever it prefers
	adviceAt string // the element that it is about; empty: the whole
}

// answer writes a reply as an HTTP response.
func (s *server) answer(c *gin.Context, a *ask, r reply) {
	if r.stored.Version > 0 {
		c.Header("ETag", etag(r.stored.Version))
		c.Header("Last-Modified", r.stored.Updated.UTC().Format(http.TimeFormat))
	}
	body := r.body
	if r.written {
		name := "Content-Location"
		if r.status == http.StatusCreated {
			name = "Location"
		}
		c.Header(name, s.location(r.stored))
		switch {
		case r.advice != "":
			c.Header("Preference-Applied", "return=OperationOutcome")
			body = r.told().OperationOutcome()
		case a.prefer.returns == "minimal":
			body = nil
		case a.prefer.returns == "OperationOutcome":
			body = r.told().OperationOutcome()
		}
	}
	if body == nil {
		c.Status(r.status)
		return
	}
	c.Data(r.status, mediaType, body)
}

// location is the address of a version.
func (s *server) location(v store.Stored) string {
	return s.Base + "/" + v.Type + "/" + v.ID + "/_history/" + strconv.FormatInt(v.Version, 10)
}

// told is what an OperationOutcome says about a success.
func (r reply) told() fhir.Issues {
	text := "stored as a new version"
	switch {
	case r.status == http.StatusCreated:
		text = "stored as a new resource"
	case r.stored.Deleted:
		text = "nothing was changed: what was deleted stays deleted"
	case !r.changed:
		text = "nothing was changed: this is what is held already"
	}
	var out fhir.Issues
	if r.advice != "" {
		out = append(out, fhir.Issue{Severity: fhir.SeverityWarning, Code: "informational", Expression: r.adviceAt, Text: r.advice})
	}
	out = append(out, fhir.Issue{Severity: fhir.SeverityInformation, Code: "informational", Text: text})
	if r.note != "" {
		out = append(out, fhir.Issue{Severity: fhir.SeverityInformation, Code: "informational", Text: r.note})
	}
	return out
}

// result is a reply as an entry of the response Bundle.
func (s *server) result(a *ask, r reply) fhir.EntryResult {
	e := fhir.EntryResult{Status: statusLine(r.status), Resource: r.body}
	if r.stored.Version > 0 {
		e.ETag, e.LastModified = etag(r.stored.Version), r.stored.Updated.In(s.Zone)
		if r.body != nil {
			e.FullURL = s.Base + "/" + r.stored.Type + "/" + r.stored.ID
		}
	}
	if !r.written {
		return e
	}
	e.Location = s.location(r.stored)
	if a.prefer.returns != "representation" {
		e.Resource, e.FullURL = nil, ""
	}
	if a.prefer.returns == "OperationOutcome" || r.note != "" || r.advice != "" {
		e.Outcome = r.told().OperationOutcome()
	}
	return e
}

// failed is an error as an entry of the response Bundle.
func (s *server) failed(c *gin.Context, err error) fhir.EntryResult {
	f := failureOf(err)
	s.note(c, f, err)
	return fhir.EntryResult{
		Status:  statusLine(f.status),
		Outcome: f.outcome(err, c.GetString(requestIDKey)).OperationOutcome(),
	}
}

func statusLine(status int) string { return strconv.Itoa(status) + " " + http.StatusText(status) }

// locate gives the issues of a refusal the place in the Bundle that they mean,
// where casework names only an element of the resource: that of the one entry
// with a resource of this type.
func locate(err error, asks []*ask) error {
	var r *casework.Refusal
	if !errors.As(err, &r) {
		return err
	}
	for n := range r.Issues {
		i := &r.Issues[n]
		typ, rest, _ := strings.Cut(i.Expression, ".")
		at, found := "", 0
		for _, a := range asks {
			if a.at != "" && a.resource != nil && a.typ == typ {
				at, found = a.at, found+1
			}
		}
		if found == 1 {
			i.Expression = strings.TrimSuffix(at+".resource."+rest, ".")
		}
	}
	return err
}

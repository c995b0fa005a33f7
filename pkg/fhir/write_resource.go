package fhir

import (
	"encoding/json"
	"time"

	r4 "github.com/samply/golang-fhir-models/fhir-models/fhir"
)

// The types below are defined types over the samply structs: they drop the
// MarshalJSON of those, which would put resourceType last and escape "<".

type (
	plainCarePlan            r4.CarePlan
	plainFlag                r4.Flag
	plainProvenance          r4.Provenance
	plainOperationOutcome    r4.OperationOutcome
	plainCapabilityStatement r4.CapabilityStatement
	plainBundle              r4.Bundle
)

// CarePlan is a CarePlan to be written.
type CarePlan struct {
	ResourceType string            `json:"resourceType"`
	Contained    []json.RawMessage `json:"contained,omitempty"`
	plainCarePlan
}

// NewCarePlan returns a CarePlan with the elements that R4 requires.
func NewCarePlan(status r4.RequestStatus, intent r4.CarePlanIntent, subject r4.Reference) *CarePlan {
	c := &CarePlan{ResourceType: "CarePlan"}
	c.Status, c.Intent, c.Subject = status, intent, subject
	return c
}

func (c *CarePlan) typeName() string { return c.ResourceType }

// Flag is a Flag to be written.
type Flag struct {
	ResourceType string            `json:"resourceType"`
	Contained    []json.RawMessage `json:"contained,omitempty"`
	plainFlag
}

// NewFlag returns a Flag with the elements that R4 requires.
func NewFlag(status r4.FlagStatus, code r4.CodeableConcept, subject r4.Reference) *Flag {
	f := &Flag{ResourceType: "Flag"}
	f.Status, f.Code, f.Subject = status, code, subject
	return f
}

func (f *Flag) typeName() string { return f.ResourceType }

// Provenance is a Provenance to be written.
type Provenance struct {
	ResourceType string            `json:"resourceType"`
	Contained    []json.RawMessage `json:"contained,omitempty"`
	plainProvenance
}

// NewProvenance returns a Provenance with the elements that R4 requires:
// when it was recorded, who acted, and at least one target.
func NewProvenance(recorded time.Time, who, target r4.Reference, more ...r4.Reference) *Provenance {
	p := &Provenance{ResourceType: "Provenance"}
	p.Recorded = FormatInstant(recorded)
	p.Agent = []r4.ProvenanceAgent{{Who: who}}
	p.Target = append([]r4.Reference{target}, more...)
	return p
}

func (p *Provenance) typeName() string { return p.ResourceType }

// OperationOutcome is an OperationOutcome to be written.
type OperationOutcome struct {
	ResourceType string `json:"resourceType"`
	plainOperationOutcome
}

// NewOperationOutcome returns an OperationOutcome with one issue for each of
// is, or one that says that there are none.
func NewOperationOutcome(is Issues) *OperationOutcome {
	o := &OperationOutcome{ResourceType: "OperationOutcome"}
	if len(is) == 0 {
		is = Issues{{Severity: SeverityInformation, Code: "informational", Text: "no issues"}}
	}
	o.Issue = make([]r4.OperationOutcomeIssue, 0, len(is))
	for _, i := range is {
		o.Issue = append(o.Issue, i.samply())
	}
	return o
}

func (o *OperationOutcome) typeName() string { return o.ResourceType }

// UsageContext is a context that content is meant for: a code and exactly one
// value. The samply struct would write all four alternatives.
type UsageContext struct {
	Code                 r4.Coding           `json:"code"`
	ValueCodeableConcept *r4.CodeableConcept `json:"valueCodeableConcept,omitempty"`
	ValueQuantity        *r4.Quantity        `json:"valueQuantity,omitempty"`
	ValueRange           *r4.Range           `json:"valueRange,omitempty"`
	ValueReference       *r4.Reference       `json:"valueReference,omitempty"`
}

// CapabilityStatement is a CapabilityStatement to be written.
type CapabilityStatement struct {
	ResourceType string `json:"resourceType"`
	plainCapabilityStatement
	UseContext []UsageContext `json:"useContext,omitempty"`
}

// NewCapabilityStatement returns a CapabilityStatement for R4 with the elements
// that it requires. date is a FHIR dateTime; format is at least one media type.
func NewCapabilityStatement(status r4.PublicationStatus, kind r4.CapabilityStatementKind, date string, format ...string) *CapabilityStatement {
	c := &CapabilityStatement{ResourceType: "CapabilityStatement"}
	c.Status, c.Kind, c.Date, c.FhirVersion, c.Format = status, kind, date, r4.FHIRVersion4_0_1, format
	return c
}

func (c *CapabilityStatement) typeName() string { return c.ResourceType }

// ResultBundle is a Bundle to be written: searchset, history,
// transaction-response or batch-response.
type ResultBundle struct {
	ResourceType string `json:"resourceType"`
	plainBundle
}

// NewResultBundle returns an empty Bundle of the type. Entries hold their
// resource as bytes, which are written as they are but for white space.
func NewResultBundle(kind r4.BundleType) *ResultBundle {
	b := &ResultBundle{ResourceType: "Bundle"}
	b.Type = kind
	return b
}

func (b *ResultBundle) typeName() string { return b.ResourceType }

// AddLink adds a link such as self or next.
func (b *ResultBundle) AddLink(relation, url string) {
	b.Link = append(b.Link, r4.BundleLink{Relation: relation, Url: url})
}

// AddMatch adds a resource found by a search; mode says why it is there.
func (b *ResultBundle) AddMatch(fullURL string, resource json.RawMessage, mode r4.SearchEntryMode) {
	b.Entry = append(b.Entry, r4.BundleEntry{FullUrl: &fullURL, Resource: resource,
		Search: &r4.BundleEntrySearch{Mode: &mode}})
}

// AddOutcome adds what is to be said about a search as a whole.
func (b *ResultBundle) AddOutcome(outcome json.RawMessage) {
	mode := r4.SearchEntryModeOutcome
	b.Entry = append(b.Entry, r4.BundleEntry{Resource: outcome, Search: &r4.BundleEntrySearch{Mode: &mode}})
}

// VersionEntry is one version in a history.
type VersionEntry struct {
	FullURL      string
	Method, URL  string // of the request that made it
	Status       string // of its response; required
	ETag         string
	LastModified time.Time
	Resource     json.RawMessage // nil for a deletion
}

// AddVersion adds a version to a Bundle of type history, whose entries all need
// a request and a response (bdl-3, bdl-4).
func (b *ResultBundle) AddVersion(e VersionEntry) {
	out := r4.BundleEntry{FullUrl: &e.FullURL, Resource: e.Resource, Request: &r4.BundleEntryRequest{Url: e.URL},
		Response: &r4.BundleEntryResponse{Status: e.Status, Etag: &e.ETag, LastModified: new(FormatInstant(e.LastModified))}}
	switch e.Method {
	case "POST":
		out.Request.Method = r4.HTTPVerbPOST
	case "DELETE":
		out.Request.Method = r4.HTTPVerbDELETE
	default:
		out.Request.Method = r4.HTTPVerbPUT
	}
	b.Entry = append(b.Entry, out)
}

// EntryResult is what became of one entry of a batch or transaction.
type EntryResult struct {
	Status       string // such as "201 Created"; required
	Location     string
	ETag         string
	LastModified time.Time
	FullURL      string
	Resource     json.RawMessage
	Outcome      json.RawMessage
}

// AddResult adds the result of one entry.
func (b *ResultBundle) AddResult(e EntryResult) {
	out := r4.BundleEntry{Resource: e.Resource, Response: &r4.BundleEntryResponse{Status: e.Status, Outcome: e.Outcome}}
	if e.FullURL != "" {
		out.FullUrl = &e.FullURL
	}
	if e.Location != "" {
		out.Response.Location = &e.Location
	}
	if e.ETag != "" {
		out.Response.Etag = &e.ETag
	}
	if !e.LastModified.IsZero() {
		out.Response.LastModified = new(FormatInstant(e.LastModified))
	}
	b.Entry = append(b.Entry, out)
}

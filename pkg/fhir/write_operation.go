package fhir

import (
	"encoding/json"

	r4 "github.com/samply/golang-fhir-models/fhir-models/fhir"
)

type plainRequestGroup r4.RequestGroup

// RequestGroup is a RequestGroup to be written.
type RequestGroup struct {
	ResourceType string            `json:"resourceType"`
	Contained    []json.RawMessage `json:"contained,omitempty"`
	plainRequestGroup
}

// NewRequestGroup returns a RequestGroup with the elements that R4 requires.
func NewRequestGroup(status r4.RequestStatus, intent r4.RequestIntent) *RequestGroup {
	g := &RequestGroup{ResourceType: "RequestGroup"}
	g.Status, g.Intent = status, intent
	return g
}

func (g *RequestGroup) typeName() string { return g.ResourceType }

// Parameters is what an operation answers with.
type Parameters struct {
	ResourceType string      `json:"resourceType"`
	Parameter    []Parameter `json:"parameter,omitempty"`
}

// NewParameters returns Parameters without any parameter.
func NewParameters() *Parameters { return &Parameters{ResourceType: "Parameters"} }

func (p *Parameters) typeName() string { return p.ResourceType }

// Add appends a parameter.
func (p *Parameters) Add(one Parameter) { p.Parameter = append(p.Parameter, one) }

// Parameter is one parameter: a name, and either one value or parts. The samply
// struct has fifty alternatives of the value; these are the ones that are
// answered with here.
type Parameter struct {
	Name          string      `json:"name"`
	ValueBoolean  *bool       `json:"valueBoolean,omitempty"`
	ValueCode     *string     `json:"valueCode,omitempty"`
	ValueDate     *string     `json:"valueDate,omitempty"`
	ValueDateTime *string     `json:"valueDateTime,omitempty"`
	ValueInteger  *int        `json:"valueInteger,omitempty"`
	ValueString   *string     `json:"valueString,omitempty"`
	Part          []Parameter `json:"part,omitempty"`
}

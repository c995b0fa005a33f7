package fhirapi

import (
	"context"
	"net/http"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
	r4 "github.com/samply/golang-fhir-models/fhir-models/fhir"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/casework"
)

// protocolOperation is an operation of ours on the protocol.
type protocolOperation struct{ typ, name string }

func (o protocolOperation) definition() string {
	return operationBase + strings.ToLower(o.typ) + "-" + o.name
}

// protocolOperations are those that api.go has routes for.
var protocolOperations = []protocolOperation{{definitionType, "preview"}, {definitionType, "adoption"}}

// adopt puts a new version of the protocol in force, or stores a set of codes or a
// questionnaire for the next one.
func (s *server) adopt(ctx context.Context, a *ask) (reply, error) {
	store, note := s.Office.Adopt, "it is in force from now on; open cases are being planned again by it, see the operation adoption"
	if a.typ == formType {
		store, note = s.Office.ReplaceQuestionnaire, "it counts from the next version of the protocol on that is adopted"
	}
	if a.typ == setType {
		store, note = s.Office.ReplaceSet, "it counts from the next version of the protocol on that is adopted"
	}
	result, err := store(ctx, casework.NewDefinition{
		ID: a.id, IfMatch: a.ifMatch, Source: a.sent.source, ContentType: a.sent.contentType, Target: a.sent.target,
		Body: a.sent.body, Resource: a.resource,
	})
	if err != nil {
		return reply{}, locate(err, []*ask{a})
	}
	r := replyTo(result)
	if result.Changed {
		if r.note = note; result.Note != "" {
			r.note += "; take note: " + result.Note
		}
	}
	return r, nil
}

// operation answers with the Parameters that a handler gives.
func (s *server) operation(run func(c *gin.Context) (*r4.Parameters, error)) gin.HandlerFunc {
	return func(c *gin.Context) {
		out, err := run(c)
		var body []byte
		if err == nil {
			body, err = fhir.Marshal(out)
		}
		if err != nil {
			s.fail(c, err)
			return
		}
		c.Data(http.StatusOK, mediaType, body)
	}
}

// Names of the parameters of the operation preview that go in.
const (
	definitionParam = "definition"
	casesParam      = "cases"
)

// preview says what a definition would change.
func (s *server) preview(c *gin.Context) (*r4.Parameters, error) {
	definition, cases, err := readPreview(c)
	if err != nil {
		return nil, err
	}
	p, err := s.Office.Preview(c.Request.Context(), definition, cases)
	if err != nil {
		return nil, err
	}
	out := &r4.Parameters{}
	add := func(name string, set func(*r4.ParametersParameter)) {
		out.Parameter = append(out.Parameter, answered(name, set))
	}
	if p.Protocol != "" {
		add("protocol", canonical(p.Protocol))
	}
	add("in-force", canonical(p.InForce))
	add("adoptable", func(v *r4.ParametersParameter) { v.ValueBoolean = &p.Adoptable })
	if len(p.Issues) > 0 {
		add("outcome", func(v *r4.ParametersParameter) { v.Resource = p.Issues.OperationOutcome() })
	}
	add("open-cases", integer(p.Open))
	if p.Protocol == "" {
		return out, nil
	}
	for _, n := range []struct {
		name  string
		value int
	}{
		{"examined", p.Examined}, {"changed", p.Changed}, {"infeasible", p.Infeasible}, {"feasible", p.Feasible}, {"ended", p.Ended},
	} {
		add(n.name, integer(n.value))
	}
	for _, step := range p.Steps {
		add("step", func(v *r4.ParametersParameter) { v.Part = stepParts(step) })
	}
	return out, nil
}

func stepParts(s casework.StepPreview) []r4.ParametersParameter {
	out := []r4.ParametersParameter{answered("code", func(v *r4.ParametersParameter) { v.ValueCode = &s.Code })}
	for _, n := range []struct {
		name  string
		value int
	}{
		{"added", s.Added}, {"moved", s.Moved}, {"reopened", s.Reopened}, {"dropped", s.Dropped}, {"turned", s.Turned}, {"reworded", s.Reworded},
	} {
		if n.value > 0 {
			out = append(out, answered(n.name, integer(n.value)))
		}
	}
	return out
}

// readPreview reads the one resource that the operation takes, which may also
// come by itself, and how many cases to look at; 0 where that is left open.
func readPreview(c *gin.Context) (definition *fhir.Resource, cases int, err error) {
	if err := bodyIsJSON(c.Request.Header); err != nil {
		return nil, 0, err
	}
	body, err := readBody(c, casework.DefinitionLimit)
	if err != nil {
		return nil, 0, err
	}
	r, issues := fhir.Parse(body, casework.DefinitionLimit)
	if len(issues) > 0 {
		return nil, 0, contentRefusal(issues)
	}
	if r.Type == definitionType {
		return r, 0, nil
	}
	if r.Type != "Parameters" {
		return nil, 0, casework.Refuse(casework.ErrMalformed, fhir.CodeStructure, r.Type, "the operation takes Parameters with the parameter definition, or a "+definitionType)
	}
	for _, p := range r.Get("parameter").Items() {
		switch inner := p.Get("resource"); p.String("name") {
		case definitionParam:
			if definition != nil || inner.String("resourceType") != definitionType {
				return nil, 0, badParameter(definitionParam, "is one "+definitionType+", as a resource")
			}
			if definition, issues = fhir.Parse(r.Bytes(inner), casework.DefinitionLimit); len(issues) > 0 {
				return nil, 0, contentRefusal(issues)
			}
		case casesParam:
			n, ok := p.Get("valueInteger").Int()
			if !ok || n < 1 || cases > 0 {
				return nil, 0, badParameter(casesParam, "is one valueInteger from 1")
			}
			cases = n
		default:
			return nil, 0, casework.Refuse(casework.ErrMalformed, fhir.CodeNotSupported, "Parameters.parameter.name",
				"the operation takes the parameters definition and cases, and no other")
		}
	}
	if definition == nil {
		return nil, 0, badParameter(definitionParam, "is missing: the "+definitionType+" to look at, as a resource")
	}
	return definition, cases, nil
}

func badParameter(name, text string) error {
	return casework.Refuse(casework.ErrMalformed, fhir.CodeValue, "Parameters.parameter", "the parameter "+name+" "+text)
}

// adoption says how far open cases follow the protocol in force.
func (s *server) adoption(c *gin.Context) (*r4.Parameters, error) {
	if _, err := s.Office.Get(c.Request.Context(), definitionType, c.Param("id")); err != nil {
		return nil, err
	}
	a, err := s.Office.Adoption(c.Request.Context())
	if err != nil {
		return nil, err
	}
	since := a.Since.In(s.Zone).Format(time.RFC3339)
	return &r4.Parameters{Parameter: []r4.ParametersParameter{
		answered("in-force", canonical(a.Protocol)),
		answered("since", func(v *r4.ParametersParameter) { v.ValueDateTime = &since }),
		answered("adopted", func(v *r4.ParametersParameter) { v.ValueBoolean = &a.Adopted }),
		answered("open-cases", integer(int(a.Open))),
		answered("older", integer(int(a.Older))),
	}}, nil
}

// answered is a parameter of an answer.
func answered(name string, set func(*r4.ParametersParameter)) r4.ParametersParameter {
	p := r4.ParametersParameter{Name: name}
	set(&p)
	return p
}

func integer(n int) func(*r4.ParametersParameter) {
	return func(p *r4.ParametersParameter) { p.ValueInteger = &n }
}

func canonical(s string) func(*r4.ParametersParameter) {
	return func(p *r4.ParametersParameter) { p.ValueCanonical = &s }
}

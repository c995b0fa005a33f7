package fhirapi

import (
	"context"
	"net/http"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"
	r4 "github.com/samply/golang-fhir-models/fhir-models/fhir"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/casework"
)

// calculation is an operation that computes an answer and stores nothing.
type calculation struct {
	code       string // without the $
	types      []string
	onType     bool // it is called on the type too, not only on an instance
	definition string
	parameters map[string]parameter
	run        func(s *server, ctx context.Context, typ, id string, given []given) ([]byte, error)
}

// operationBase is where our OperationDefinitions are defined.
const operationBase = "http://countback.example/fhir/OperationDefinition/"

// operations is the table that routes and the CapabilityStatement are made from.
var operations = append([]calculation{
	{
		code: "earliest-safe-date", types: []string{"Appointment", "CarePlan"},
		definition: operationBase + "earliest-safe-date", run: (*server).earliestSafe,
	},
	{
		code: "apply", types: []string{"PlanDefinition"}, onType: true,
		definition: operationBase + "PlanDefinition-apply", parameters: applyParameters, run: (*server).apply,
	},
	{
		code: "evaluate-measure", types: []string{"Measure"},
		definition: operationBase + "Measure-evaluate-measure", parameters: measureParameters, run: (*server).measure,
	},
}, subscriptionOperations...)

// operates registers the routes of the operations.
func (s *server) operates(g *gin.RouterGroup) {
	for n := range operations {
		o := &operations[n]
		for _, typ := range o.types {
			paths := []string{"/" + typ + "/:id/$" + o.code}
			if o.onType {
				paths = append(paths, "/"+typ+"/$"+o.code)
			}
			for _, path := range paths {
				handler := s.operate(o, typ)
				g.GET(path, handler)
				g.HEAD(path, handler)
				g.POST(path, handler)
			}
		}
	}
}

// operate carries one operation out.
func (s *server) operate(o *calculation, typ string) gin.HandlerFunc {
	return func(c *gin.Context) {
		id := c.Param("id")
		if id != "" && !validID(id) {
			s.fail(c, casework.Refuse(casework.ErrNotFound, "not-found", "", "there is no such "+typ))
			return
		}
		given, err := s.given(c, o)
		if err != nil {
			s.fail(c, err)
			return
		}
		body, err := o.run(s, c.Request.Context(), typ, id, given)
		if err != nil {
			s.fail(c, err)
			return
		}
		c.Data(http.StatusOK, mediaType, body)
	}
}

func (s *server) earliestSafe(ctx context.Context, typ, id string, _ []given) ([]byte, error) {
	return s.Office.EarliestSafe(ctx, typ, id)
}

// operationMethods are the methods of an operation's address; nil where none is
// served.
func operationMethods(path string) []string {
	parts, _ := segments(path)
	if len(parts) == 1 && parts[0] == "$"+foreseeOperation {
		return []string{"POST"}
	}
	if len(parts) < 2 || len(parts) > 3 {
		return nil
	}
	if o, served := offered(parts[0]); parts[len(parts)-1] == "$"+validateOperation && served && o.validated() {
		return []string{"POST"}
	}
	code, onType := strings.TrimPrefix(parts[len(parts)-1], "$"), len(parts) == 2
	for _, o := range operations {
		if o.code == code && slices.Contains(o.types, parts[0]) && (o.onType || !onType) {
			return []string{"GET", "HEAD", "POST"}
		}
	}
	return nil
}

// operationsOf is what the CapabilityStatement says of a type's operations.
func operationsOf(typ string) []r4.CapabilityStatementRestResourceOperation {
	var out []r4.CapabilityStatementRestResourceOperation
	for _, o := range operations {
		if slices.Contains(o.types, typ) {
			out = append(out, r4.CapabilityStatementRestResourceOperation{Name: o.code, Definition: o.definition})
		}
	}
	return out
}

// applyParameters are the parameters of $apply: those of R4, and ours.
//
// Source: HL7 FHIR R4 (4.0.1), OperationDefinition PlanDefinition-apply; ours
// are in our OperationDefinition.
var applyParameters = map[string]parameter{
	"planDefinition": {values: []string{"valueCanonical", "valueUri", "valueString"}},
	"subject":        {values: referenceValues},
	"encounter":      {values: referenceValues},
	"practitioner":   {values: referenceValues},
	"organization":   {values: referenceValues},

	"userType":        {values: conceptValues},
	"userLanguage":    {values: conceptValues},
	"userTaskContext": {values: conceptValues},
	"setting":         {values: conceptValues},
	"settingContext":  {values: conceptValues},

	"surgery":  {values: []string{"valueDate", "valueDateTime"}},
	"booked":   {values: []string{"valueDate"}},
	"stay":     {values: []string{"valueCode"}},
	"booking":  {values: referenceValues},
	"resource": {resource: true, repeats: true},
}

// apply asks for a plan. What R4 has of the context of use does not change a
// plan here: one facility, one language.
func (s *server) apply(ctx context.Context, _, id string, list []given) ([]byte, error) {
	q := casework.Question{At: map[string]string{}}
	into := map[string]*string{
		"planDefinition": &q.Canonical, "subject": &q.Subject, "booking": &q.Booking,
		"encounter": &q.Encounter, "practitioner": &q.Practitioner,
		"surgery": &q.Surgery, "booked": &q.Booked, "stay": &q.Stay,
	}
	for _, g := range list {
		q.At[g.name] = g.at
		switch field := into[g.name]; {
		case field != nil:
			*field = g.text
		case g.resource != nil:
			q.Inline = append(q.Inline, casework.Inline{At: g.at + ".resource", Resource: g.resource})
		case g.name == "userLanguage" && !english(g.value):
			return nil, g.refuse(casework.ErrInvalid, fhir.CodeNotSupported, "plans are written in English only")
		case g.name == "setting", g.name == "settingContext":
			return nil, g.refuse(casework.ErrInvalid, fhir.CodeNotSupported, "changes no plan here: say with stay whether the person stays overnight")
		}
	}
	_, named := q.At["planDefinition"]
	switch {
	case id != "" && named:
		return nil, casework.Refuse(casework.ErrMalformed, fhir.CodeNotSupported, q.At["planDefinition"],
			"planDefinition: is not allowed here, where the address names the PlanDefinition")
	case id == "" && !named:
		return nil, casework.Refuse(casework.ErrMalformed, fhir.CodeRequired, "",
			"planDefinition: is missing: the canonical url of a PlanDefinition, or call PlanDefinition/id/$apply")
	}
	return s.Office.Apply(ctx, id, q)
}

// english reports whether a concept has a code of English, of whatever region.
func english(concept *fhir.Node) bool {
	for _, c := range concept.Get("coding").Items() {
		if code := strings.ToLower(c.String("code")); code == "en" || strings.HasPrefix(code, "en-") {
			return true
		}
	}
	return false
}

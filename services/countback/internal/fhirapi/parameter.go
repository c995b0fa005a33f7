package fhirapi

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/casework"
)

// parameter is what an operation takes under a name.
type parameter struct {
	values   []string // the members of which one holds the value
	resource bool     // it is a resource instead
	repeats  bool
}

// referenceValues are the forms of a reference: R4 writes string with a search
// type, and clients often send a Reference.
var referenceValues = []string{"valueString", "valueReference", "valueUri"}

var conceptValues = []string{"valueCodeableConcept"}

// simple reports whether the parameter can be part of an address.
func (p parameter) simple() bool {
	return !p.resource && !slices.Equal(p.values, conceptValues)
}

// given is one parameter as it was sent.
type given struct {
	name, at string     // at: its place in the Parameters; empty in an address
	text     string     // of a primitive or a reference
	value    *fhir.Node // as sent; nil in an address
	resource *fhir.Resource
}

// refuse names the parameter.
func (g *given) refuse(err error, code, text string) *casework.Refusal {
	r := casework.Refuse(err, code, g.at, g.name+": "+text)
	if text == unknownParameter { // the name is the sender's own
		r.Issues[0].Text, r.Issues[0].Diagnostics = text, g.name
	}
	if g.at == "" {
		return ofParameter(g.name, r)
	}
	return r
}

// ofParameter says which URL parameter a refusal is about.
func ofParameter(name string, r *casework.Refusal) *casework.Refusal {
	for n := range r.Issues {
		r.Issues[n].Parameter = name
	}
	return r
}

const unknownParameter = "the operation takes no parameter of this name; its OperationDefinition lists those that it takes"

// given reads the parameters of an operation, from the address or from a
// Parameters resource.
func (s *server) given(c *gin.Context, o *calculation) ([]given, error) {
	list, err := fromAddress(c.Request.URL)
	if err != nil {
		return nil, err
	}
	if c.Request.Method == http.MethodPost {
		if len(list) > 0 {
			return nil, casework.Refuse(casework.ErrMalformed, fhir.CodeStructure, "",
				"the parameters of a POST are in its body, a Parameters resource, and not in the address")
		}
		if list, err = s.fromBody(c); err != nil {
			return nil, err
		}
	}
	seen := map[string]bool{}
	for n := range list {
		g := &list[n]
		p, known := o.parameters[g.name]
		switch {
		case !known:
			return nil, g.refuse(casework.ErrMalformed, fhir.CodeNotSupported, unknownParameter)
		case seen[g.name] && !p.repeats:
			return nil, g.refuse(casework.ErrMalformed, fhir.CodeNotSupported, "is taken once")
		}
		seen[g.name] = true
		if err := g.check(p); err != nil {
			return nil, err
		}
	}
	return list, nil
}

// check refuses a value of another kind than the parameter has.
func (g *given) check(p parameter) error {
	switch {
	case p.resource && g.resource == nil:
		return g.refuse(casework.ErrMalformed, fhir.CodeStructure, "is a resource, in the body of a POST")
	case g.at == "" && !p.simple():
		return g.refuse(casework.ErrMalformed, fhir.CodeStructure, "is no simple value: send it in the body of a POST")
	case g.at != "" && !p.resource && !slices.Contains(p.values, g.value.Name()):
		return g.refuse(casework.ErrMalformed, fhir.CodeStructure, "comes as "+strings.Join(p.values, " or "))
	case p.simple() && g.text == "":
		return g.refuse(casework.ErrMalformed, fhir.CodeRequired, "has no value")
	}
	return nil
}

// fromAddress reads the query, without what asks for a format.
func fromAddress(u *url.URL) ([]given, error) {
	values, err := url.ParseQuery(u.RawQuery)
	if err != nil {
		return nil, casework.Refuse(casework.ErrMalformed, fhir.CodeStructure, "",
			"the parameters are not well formed: name=value, joined by &, with other signs escaped")
	}
	var out []given
	for name, all := range values {
		for _, text := range all {
			if name != formatParam {
				out = append(out, given{name: name, text: text})
			}
		}
	}
	slices.SortFunc(out, func(a, b given) int { return strings.Compare(a.name, b.name) })
	return out, nil
}

// fromBody reads a Parameters resource; an operation without any may be called
// with an empty body.
func (s *server) fromBody(c *gin.Context) ([]given, error) {
	h := c.Request.Header
	if c.Request.ContentLength != 0 || h.Get("Content-Type") != "" {
		if err := bodyIsJSON(h); err != nil {
			return nil, err
		}
	}
	body, err := readBody(c, s.MaxResource)
	if err != nil || len(body) == 0 {
		return nil, err
	}
	res, issues := fhir.Parse(body, s.MaxResource)
	if len(issues) > 0 {
		return nil, contentRefusal(issues)
	}
	if res.Type != "Parameters" {
		return nil, casework.Refuse(casework.ErrMalformed, fhir.CodeStructure, res.Type,
			"an operation takes a Parameters resource; a "+res.Type+" is one of its parameters, if any")
	}
	var out []given
	for n, p := range res.Get("parameter").Items() {
		g := given{name: p.String("name"), at: fmt.Sprintf("Parameters.parameter[%d]", n)}
		for name, v := range p.Members() {
			switch {
			case name == "part":
				return nil, g.refuse(casework.ErrMalformed, fhir.CodeStructure, "has parts, which no parameter here has")
			case name == "resource":
				if g.resource, issues = fhir.Parse(res.Bytes(v), s.MaxResource); len(issues) > 0 {
					return nil, contentRefusal(issues)
				}
			case strings.HasPrefix(name, "value"):
				g.value = v
				if g.text = v.Text(); name == "valueReference" {
					g.text = v.String("reference")
				}
			}
		}
		out = append(out, g)
	}
	return out, nil
}

package fhirapi

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/casework"
)

// Operations that try what would be done, and undo it. validate is R4's own;
// foresee is ours, and is called on the whole.
const (
	validateOperation = "validate"
	foreseeOperation  = "foresee"

	validateDefinition = "http://hl7.org/fhir/OperationDefinition/Resource-validate"
)

// answered writes what an operation answers.
func (s *server) answered(run func(c *gin.Context) ([]byte, error)) gin.HandlerFunc {
	return func(c *gin.Context) {
		body, err := run(c)
		if err != nil {
			s.fail(c, err)
			return
		}
		c.Data(http.StatusOK, mediaType, body)
	}
}

// validated reports whether resources of a type can be validated: all but
// Subscriptions, which are judged by what becomes of them.
func (o offer) validated() bool { return o.typ != subscriptionType }

// foresees registers the routes.
func (s *server) foresees(g *gin.RouterGroup) {
	g.POST("/$"+foreseeOperation, s.answered(s.foresee))
	for _, o := range offers {
		if o.validated() {
			g.POST("/"+o.typ+"/$"+validateOperation, s.validate(o.typ))
			g.POST("/"+o.typ+"/:id/$"+validateOperation, s.validate(o.typ))
		}
	}
}

// validate says what is wrong with a resource, or what would be done with it, by
// the checks of the intake and the rules of the service. Whatever it finds, the
// call succeeds.
//
// Source: HL7 FHIR R4 (4.0.1), OperationDefinition Resource-validate.
func (s *server) validate(typ string) gin.HandlerFunc {
	return s.answered(func(c *gin.Context) ([]byte, error) {
		v, issues, err := s.validation(c, typ)
		if err != nil {
			return nil, err
		}
		if len(issues) == 0 {
			issues = s.profiled(v)
			if v.tries() {
				judged, err := s.verdict(c, v)
				if err != nil {
					return nil, err
				}
				issues = append(issues, judged...)
			}
		}
		return issues.OperationOutcome(), nil
	})
}

// validation is what is to be validated, and as what.
type validation struct {
	ask  *ask
	mode string // create, update, delete, profile, or empty
	// profile is the one that the caller names; resource is what was sent.
	profile  string
	resource *fhir.Resource
	places   map[string]string // of what the caller said, as in an OperationOutcome
}

// validateParameters are those of $validate that may stand in the address.
var validateParameters = []string{"mode", "profile"}

// addressed reads the parameters in the address, which R4 allows beside the
// resource as the body.
//
// Source: HL7 FHIR R4 (4.0.1), Operations, Executing an Operation Synchronously.
func (v *validation) addressed(u *url.URL) error {
	list, err := fromAddress(u)
	if err != nil {
		return err
	}
	v.places = map[string]string{}
	for _, g := range list {
		switch _, twice := v.places[g.name]; {
		case !slices.Contains(validateParameters, g.name):
			return g.refuse(casework.ErrMalformed, fhir.CodeNotSupported, unknownParameter)
		case twice:
			return g.refuse(casework.ErrMalformed, fhir.CodeNotSupported, "is taken once")
		}
		v.says(g.name, g.text, g.at)
	}
	return nil
}

// says takes a simple parameter; of one in the address and in the body, the body's.
func (v *validation) says(name, text, at string) {
	v.places[name] = at
	if name == "mode" {
		v.mode = text
	} else {
		v.profile = text
	}
}

// parameters reads a Parameters resource, and gives the resource that is in it.
func (v *validation) parameters(sent *fhir.Resource, limit int) (res *fhir.Resource, issues fhir.Issues, err error) {
	for n, p := range sent.Get("parameter").Items() {
		at := fmt.Sprintf("Parameters.parameter[%d]", n)
		switch name := p.String("name"); name {
		case "mode":
			v.says(name, p.String("valueCode"), at)
		case "profile":
			v.says(name, p.String("valueUri")+p.String("valueCanonical"), at)
		case "resource":
			v.places[name] = at
			if res, issues = fhir.Parse(sent.Bytes(p.Get("resource")), limit); len(issues) > 0 {
				return nil, issues, nil
			}
		default:
			g := given{name: name, at: at}
			return nil, nil, g.refuse(casework.ErrMalformed, fhir.CodeNotSupported, unknownParameter)
		}
	}
	return res, nil, nil
}

// modes are those of the value set resource-validation-mode. Source: HL7 FHIR R4
// (4.0.1), from memory.
var modes = []string{"", "create", "update", "delete", modeProfile}

// modeProfile looks at the resource, and tries nothing.
const modeProfile = "profile"

// validation reads a resource, or Parameters with one. The issues are faults of
// what is validated, the error a fault of the call.
func (s *server) validation(c *gin.Context, typ string) (*validation, fhir.Issues, error) {
	if err := bodyIsJSON(c.Request.Header); err != nil {
		return nil, nil, err
	}
	body, err := readBody(c, s.MaxResource)
	if err != nil {
		return nil, nil, err
	}
	v := &validation{ask: &ask{kind: create, typ: typ, id: c.Param("id")}}
	res, issues := fhir.Parse(body, s.MaxResource)
	if len(issues) > 0 {
		return v, issues, nil
	}
	if err := v.addressed(c.Request.URL); err != nil {
		return nil, nil, err
	}
	if res.Type == "Parameters" {
		if res, issues, err = v.parameters(res, s.MaxResource); err != nil || len(issues) > 0 {
			return v, issues, err
		}
	}
	bad := func(code, name, text string) (*validation, fhir.Issues, error) {
		g := given{name: name, at: v.places[name]}
		return nil, nil, g.refuse(casework.ErrMalformed, code, text)
	}
	profile, known := s.knowsProfile(v.profile, typ)
	switch {
	case !slices.Contains(modes, v.mode):
		return bad(fhir.CodeNotSupported, "mode", "is create, update, delete or profile here")
	case v.profile != "" && !known:
		return bad(fhir.CodeNotSupported, "profile", "for "+typ+", known here are "+strings.Join(profilesOf(typ), ", "))
	case res == nil && v.mode != "delete":
		return bad(fhir.CodeRequired, "resource", "is missing")
	case res != nil && res.Type != typ:
		return bad(fhir.CodeInvariant, "resource", "the address names "+typ+", but the resource is of type "+res.Type)
	}
	if v.profile, v.resource = profile, res; !v.tries() {
		return v, nil, nil
	}
	return v, nil, s.tried(v, res)
}

// tried makes the ask that is tried.
func (s *server) tried(v *validation, res *fhir.Resource) error {
	a := v.ask
	a.resource = res
	if a.id == "" && res != nil && v.mode != "create" {
		a.id = res.ID()
	}
	switch {
	case v.mode == "delete":
		a.kind, a.resource = remove, nil
	case v.mode == "update" || v.mode == "" && a.id != "":
		a.kind = update
	}
	if a.kind != create && !validID(a.id) {
		return casework.Refuse(casework.ErrMalformed, fhir.CodeValue, a.typ+".id", "an update or a deletion needs an id: in the address, or in the resource")
	}
	o, _ := offered(a.typ)
	if !o.allows(a.kind) {
		return notAllowed(o, a.request().Method, false, "")
	}
	a.sent = sent{contentType: mediaType, method: a.request().Method, target: a.typ}
	return nil
}

// verdict is what would be answered.
func (s *server) verdict(c *gin.Context, v *validation) (fhir.Issues, error) {
	a := v.ask
	var result casework.Result
	var err error
	if a.typ == taskType {
		result, err = s.Office.TryWork(c.Request.Context(), casework.TaskWork{ID: a.id, Resource: a.resource})
	} else {
		var results []casework.Result
		results, err = s.Office.Try(c.Request.Context(), casework.Delivery{Method: a.sent.method, Target: a.sent.target, Requests: []casework.Request{a.request()}})
		if err == nil {
			result = results[0]
		}
	}
	if refused, ok := refusal(err); ok {
		return refused, nil
	}
	if err != nil {
		return nil, err
	}
	return would(result), nil
}

// refusal gives the issues of an error that says what is wrong with what was
// sent.
func refusal(err error) (fhir.Issues, bool) {
	var r *casework.Refusal
	if err == nil || !errors.As(err, &r) || failureOf(err).status >= http.StatusInternalServerError {
		return nil, false
	}
	return r.Issues, true
}

// would says what a result would have been.
func would(r casework.Result) fhir.Issues {
	if r.Deleted {
		text := "it would be deleted"
		if !r.Changed {
			text = "there is nothing to delete"
		}
		return fhir.Issues{{Severity: fhir.SeverityInformation, Code: "informational", Text: text}}
	}
	out := replyTo(r).told()
	for n := range out {
		out[n].Text = strings.Replace(strings.Replace(out[n].Text, "stored as", "would be stored as", 1), "nothing was changed", "nothing would be changed", 1)
	}
	return out
}

// foresee says what a message would lead to: which case it opens or moves, how
// its resources are linked, which codes are known, or why it would be refused.
func (s *server) foresee(c *gin.Context) ([]byte, error) {
	d, asks, issues, err := s.foreseen(c)
	if err != nil {
		return nil, err
	}
	var f casework.Foreseen
	if len(issues) == 0 {
		f, err = s.Office.Foresee(c.Request.Context(), d)
		if err = locate(err, asks); err != nil {
			var refused bool
			if issues, refused = refusal(err); !refused {
				return nil, err
			}
		}
	}
	at := map[string]string{}
	for n, r := range f.Results {
		if r.Created {
			at[r.Stored.Type+"/"+r.Stored.ID] = placeOf(asks, n)
		}
	}
	out := f.Parameters(at)
	head := []fhir.Parameter{{Name: "accepted", ValueBoolean: new(len(issues) == 0)}}
	for _, i := range issues {
		head = append(head, issuePart(i))
	}
	for n, r := range f.Results {
		head = append(head, entryPart(placeOf(asks, n), r))
	}
	out.Parameter = append(head, out.Parameter...)
	return fhir.Marshal(out)
}

func placeOf(asks []*ask, n int) string {
	var writes []*ask
	for _, a := range asks {
		if a.kind.writes() {
			writes = append(writes, a)
		}
	}
	if writes[n].at == "" {
		return writes[n].typ
	}
	return writes[n].at + ".resource"
}

func stringPart(name, value string) fhir.Parameter {
	return fhir.Parameter{Name: name, ValueString: &value}
}

func issuePart(i fhir.Issue) fhir.Parameter {
	part := []fhir.Parameter{{Name: "code", ValueCode: &i.Code}}
	for _, p := range []fhir.Parameter{stringPart("expression", i.Expression), stringPart("text", i.Text)} {
		if *p.ValueString != "" {
			part = append(part, p)
		}
	}
	return fhir.Parameter{Name: "issue", Part: part}
}

func entryPart(at string, r casework.Result) fhir.Parameter {
	part := []fhir.Parameter{stringPart("of", at)}
	if !r.Created && r.Stored.Version > 0 {
		part = append(part, stringPart("held-as", r.Stored.Type+"/"+r.Stored.ID))
	}
	for _, i := range would(r) {
		part = append(part, stringPart("says", i.Text))
	}
	return fhir.Parameter{Name: "entry", Part: part}
}

// foreseen reads a message as it would be sent: a transaction, or one resource,
// which is created, or updated where it has an id.
func (s *server) foreseen(c *gin.Context) (casework.Delivery, []*ask, fhir.Issues, error) {
	var d casework.Delivery
	if err := bodyIsJSON(c.Request.Header); err != nil {
		return d, nil, nil, err
	}
	body, err := readBody(c, s.MaxBundle)
	if err != nil {
		return d, nil, nil, err
	}
	res, issues := fhir.Parse(body, s.MaxBundle)
	if len(issues) > 0 {
		return d, nil, issues, nil
	}
	if res.Type == "Bundle" {
		return s.foreseenBundle(c, res)
	}
	o, _ := offered(res.Type)
	if !o.received {
		return d, nil, nil, casework.Refuse(casework.ErrInvalid, fhir.CodeNotSupported, res.Type,
			"a transaction, or a resource that the hospital sends, is foreseen: "+strings.Join(casework.Received, ", "))
	}
	a := &ask{kind: create, typ: res.Type, id: res.ID(), resource: res}
	if a.id != "" {
		a.kind = update
	}
	d.Method, d.Target, d.Requests = a.request().Method, a.typ, []casework.Request{a.request()}
	return d, []*ask{a}, nil, nil
}

func (s *server) foreseenBundle(c *gin.Context, res *fhir.Resource) (casework.Delivery, []*ask, fhir.Issues, error) {
	if res.String("type") != "transaction" {
		return casework.Delivery{}, nil, nil, casework.Refuse(casework.ErrInvalid, fhir.CodeNotSupported, "Bundle.type",
			"a transaction is foreseen as a whole; the entries of a batch are foreseen one by one")
	}
	b, issues := res.Bundle(s.MaxEntries)
	if len(issues) > 0 {
		return casework.Delivery{}, nil, issues, nil
	}
	d, asks, err := s.delivery(&message{c: c, bundle: b, sent: sent{contentType: mediaType, method: http.MethodPost}})
	if refused, ok := refusal(err); ok {
		return d, asks, refused, nil
	}
	return d, asks, nil, err
}

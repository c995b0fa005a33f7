package fhirapi

import (
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/casework"
)

// served refuses what the offers do not allow.
func (a *ask) served(method string) error {
	if a.kind == capabilities || a.kind == historySystem {
		return nil
	}
	o, ok := offered(a.typ)
	if !ok {
		return unknownType(a.typ, a.element("url"))
	}
	if !o.allows(a.kind) {
		return notAllowed(o, method, a.kind.conditional(), a.element("method"))
	}
	return nil
}

// unknownType says what is wrong with a type that is not served.
func unknownType(typ, at string) *casework.Refusal {
	text := "the address begins with something that is no resource type of FHIR R4"
	if fhir.IsResourceType(typ) {
		text = typ + " is not served here; the CapabilityStatement at metadata lists what is"
	} else if i := slices.IndexFunc(offers, func(o offer) bool { return strings.EqualFold(o.typ, typ) }); i >= 0 {
		text += ": did you mean " + offers[i].typ + "? Names are exact, also in upper and lower case"
	}
	return casework.Refuse(errUnknown, fhir.CodeNotSupported, at, text)
}

// notAllowed says why a type that is served does not take a method.
func notAllowed(o offer, method string, conditional bool, at string) *casework.Refusal {
	text := o.typ + " does not take this method here"
	switch {
	case method == "DELETE" && o.received, method == "PATCH" && o.received:
		text = "a " + method + " names what it changes: " + o.typ + "/id, or " + o.typ + "?identifier=system|value or another condition"
	case o.asked && method != "POST":
		text = o.typ + " is changed and deleted by its id only: " + method + " " + o.typ + "/id"
	case method == "DELETE":
		text = o.typ + " cannot be deleted: this service makes it, and keeps it as the record"
	case (method == "PUT" || method == "PATCH") && o.worked && conditional:
		text = o.typ + " is changed by its id only: " + method + " " + o.typ + "/id"
	case method == "PATCH" && o.adopted:
		text = o.typ + " cannot be patched: send the whole resource with PUT"
	case method == "PATCH":
		text = o.typ + " cannot be patched: this service makes it"
	case o.worked && method == "POST":
		text = o.typ + " cannot be created here: this service makes it; its status is changed with PUT " + o.typ + "/id"
	case o.typ == setType && (method == "PUT" || method == "POST"):
		text = o.typ + " is made and replaced with PUT to its id"
	case o.typ == formType && (method == "PUT" || method == "POST"):
		text = o.typ + " is replaced with PUT to its id: GET " + o.typ + " shows those that are here"
	case o.adopted && (method == "PUT" || method == "POST"):
		text = "there is one " + o.typ + " here, and a new version of it is sent with PUT to its id: GET " + o.typ + " shows it"
	case (method == "POST" || method == "PUT") && !o.received && !o.asked:
		text = o.typ + " cannot be written: this service makes it"
	case method == "PUT":
		text = "a PUT names what it changes: " + o.typ + "/id, or " + o.typ + "?identifier=system|value or another condition"
	case method == "POST":
		text = "a POST goes to the address of the type, " + o.typ + "; a known " + o.typ + " is changed with PUT"
	}
	return casework.Refuse(errMethod, fhir.CodeNotSupported, at, text)
}

// segments are the parts of the path below the base; ok is false for a path
// that is not below it.
func segments(path string) (parts []string, ok bool) {
	rest, ok := strings.CutPrefix(path, root+"/")
	if !ok {
		return nil, path == root
	}
	return strings.Split(rest, "/"), true
}

func isOperation(segment string) bool { return strings.HasPrefix(segment, "$") }

// noRoute answers what no route fits.
func (s *server) noRoute(c *gin.Context) { s.fail(c, nowhere(c.Request.URL.Path)) }

func nowhere(path string) error {
	refuse := func(text string) error { return casework.Refuse(errUnknown, fhir.CodeNotSupported, "", text) }
	parts, ok := segments(path)
	switch {
	case !ok:
		return refuse("nothing is served here: the FHIR service lies at " + root)
	case slices.ContainsFunc(parts, isOperation):
		return refuse("this operation is not served here")
	}
	if _, ok := offered(parts[0]); !ok {
		return unknownType(parts[0], "")
	}
	return refuse("nothing is served at this address: it is Type, Type/id, Type/id/_history/version or a history, without a slash at its end")
}

// noMethod answers a method that the address does not take; Gin has set Allow.
func (s *server) noMethod(c *gin.Context) {
	if parts, _ := segments(c.Request.URL.Path); slices.ContainsFunc(parts, isOperation) {
		if methods := operationMethods(c.Request.URL.Path); methods != nil {
			s.fail(c, calledBy(c, methods))
			return
		}
		c.Writer.Header().Del("Allow")
		s.noRoute(c)
		return
	}
	if allowed := allowedAt(c.Request.URL.Path); allowed != nil {
		c.Header("Allow", strings.Join(allowed, ", "))
	}
	s.fail(c, wrongMethod(c.Request.Method, c.Request.URL.Path))
}

// calledBy says by which methods an operation is called.
func calledBy(c *gin.Context, methods []string) error {
	c.Header("Allow", strings.Join(methods, ", "))
	said := slices.DeleteFunc(slices.Clone(methods), func(m string) bool { return m == "HEAD" })
	return casework.Refuse(errMethod, fhir.CodeNotSupported, "", "an operation is called with "+strings.Join(said, " or "))
}

func wrongMethod(method, path string) error {
	parts, _ := segments(path)
	if len(parts) > 0 {
		if o, ok := offered(parts[0]); ok {
			if parts[len(parts)-1] == "_history" || len(parts) > 2 {
				return casework.Refuse(errMethod, fhir.CodeNotSupported, "", "a history and its versions are read with GET")
			}
			return notAllowed(o, method, len(parts) == 1, "")
		}
		if parts[0] == "metadata" || parts[0] == "_history" {
			return casework.Refuse(errMethod, fhir.CodeNotSupported, "", parts[0]+" is read with GET")
		}
	}
	return casework.Refuse(errMethod, fhir.CodeNotSupported, "", "this address takes POST with a transaction or batch Bundle")
}

// allowedAt lists the methods of a type or an instance in a fixed order; nil
// elsewhere.
func allowedAt(path string) []string {
	parts, _ := segments(path)
	if len(parts) == 0 || len(parts) > 2 {
		return nil
	}
	o, ok := offered(parts[0])
	if !ok || len(parts) == 2 && (parts[1] == "_search" || parts[1] == "_history") {
		return nil
	}
	return o.methods(len(parts) == 2)
}

package fhirapi

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/url"
	"strings"

	"github.com/gin-gonic/gin"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/fhirpath"
	"example.org/countback/services/countback/internal/casework"
	"example.org/countback/services/countback/internal/search"
)

// ask is one thing that a client asks for, by a request of its own or by an
// entry of a Bundle.
type ask struct {
	kind    interaction
	typ, id string
	version int64 // of a vread; 0 when it is none of ours
	conditions
	prefer preferences

	search search.Query  // of a search, as understood
	past   past          // of a history, ditto
	wanted search.Wanted // of a read

	// Of what is written:
	resource  *fhir.Resource
	patch     fhir.Amendment
	condition string // of a conditional update, patch or deletion
	sent      sent
	at        string // Bundle.entry[2]; empty for a request of its own
	fullURL   string
}

// sent is what is kept of a message, as it came.
type sent struct {
	source, contentType, method, target string
	body                                []byte
}

// asked reads a request of its own.
func (s *server) asked(c *gin.Context, kind interaction, typ string) (*ask, error) {
	h := c.Request.Header
	a := &ask{kind: kind, typ: typ, id: c.Param("id"), prefer: preferred(h), conditions: conditions{
		ifMatch: h.Get("If-Match"), ifNoneMatch: h.Get("If-None-Match"),
		ifNoneExist: h.Get("If-None-Exist"), ifModifiedSince: h.Get("If-Modified-Since"),
	}}
	if isOperation(a.id) {
		if methods := operationMethods(c.Request.URL.Path); methods != nil {
			return nil, calledBy(c, methods)
		}
		return nil, nowhere(c.Request.URL.Path)
	}
	if err := a.conditions.check(a); err != nil {
		return nil, err
	}
	switch kind {
	case read, vread:
		a.version, _ = parseVersion(c.Param("vid"))
		return a, a.askedRead(c.Request.URL.RawQuery)
	case searchType:
		return a, s.askedSearch(c, a)
	case historyInstance, historyType, historySystem:
		return a, s.understandPast(a, c.Request.URL.RawQuery)
	}
	if kind.writes() {
		return a, s.askedWrite(c, a)
	}
	return a, nil
}

// askedRead reads how much of a resource is wanted.
func (a *ask) askedRead(raw string) error {
	values, err := url.ParseQuery(raw)
	if err != nil {
		return casework.Refuse(casework.ErrMalformed, fhir.CodeStructure, a.element("url"),
			"the parameters are not well formed: name=value, joined by &, with other signs escaped")
	}
	w, issues := search.ParseWanted(a.typ, values)
	if len(issues) > 0 {
		for n := range issues {
			issues[n].Expression = a.element("url")
		}
		return &casework.Refusal{Err: casework.ErrMalformed, Issues: issues}
	}
	a.wanted = w
	return nil
}

// askedSearch reads the parameters, from the query and from a form.
func (s *server) askedSearch(c *gin.Context, a *ask) error {
	raw := c.Request.URL.RawQuery
	if c.Request.Method == http.MethodPost {
		if err := bodyIsForm(c.Request.Header); err != nil {
			return err
		}
		form, err := readBody(c, maxForm)
		if err != nil {
			return err
		}
		raw = strings.Trim(raw+"&"+string(form), "&")
	}
	return s.understand(c.Request.Context(), a, raw)
}

// understand reads the parameters of a search.
func (s *server) understand(ctx context.Context, a *ask, raw string) error {
	values, err := url.ParseQuery(raw)
	if err != nil {
		return casework.Refuse(casework.ErrMalformed, fhir.CodeStructure, a.element("url"),
			"the search parameters are not well formed: name=value, joined by &, with other signs escaped")
	}
	q, issues := search.Parse(a.typ, values, search.Options{
		Zone: s.Zone, Base: s.Base, Strict: s.strict(a), MaxCount: s.MaxCount, Now: s.Now(), Handled: []string{formatParam},
		Set: s.codesOf(ctx),
	})
	if len(issues) > 0 {
		for n := range issues {
			issues[n].Expression = a.element("url")
		}
		return &casework.Refusal{Err: casework.ErrMalformed, Issues: issues}
	}
	a.search = q
	return nil
}

// strict reports whether an unknown parameter is refused.
func (s *server) strict(a *ask) bool {
	return s.Strict && a.prefer.handling != "lenient" || a.prefer.handling == "strict"
}

// askedWrite reads the resource and where it is to go.
func (s *server) askedWrite(c *gin.Context, a *ask) error {
	if err := a.bodyIsTaken(c); err != nil {
		return err
	}
	if a.kind.changes() && !a.kind.conditional() && !validID(a.id) {
		return casework.Refuse(casework.ErrMalformed, fhir.CodeValue, a.typ+".id",
			"the id in the address is not a FHIR id: 1 to 64 letters, digits, '-' and '.'")
	}
	if a.kind.conditional() {
		if a.condition = withoutFormat(c.Request.URL.RawQuery); a.condition == "" {
			return casework.Refuse(casework.ErrMalformed, fhir.CodeRequired, "",
				"a "+c.Request.Method+" names what it changes: "+a.typ+"/id, or "+a.typ+"?identifier=system|value or another condition")
		}
	}
	limit := s.MaxResource
	if a.typ == definitionType || a.typ == setType || a.typ == formType {
		limit = max(limit, casework.DefinitionLimit)
	}
	body, err := readBody(c, limit)
	if err != nil {
		return err
	}
	a.sent = sent{contentType: c.GetHeader("Content-Type"), method: c.Request.Method, target: below(c.Request.URL), body: body}
	return a.content(body, limit)
}

// content reads the body of a write: a resource, a patch, or nothing for a
// deletion.
func (a *ask) content(body []byte, limit int) error {
	var issues fhir.Issues
	switch a.kind {
	case remove, conditionalDelete:
		return nil
	case patch, conditionalPatch:
		return a.readPatch(body, limit)
	}
	if a.resource, issues = fhir.Parse(body, limit); len(issues) > 0 {
		return contentRefusal(issues)
	}
	if a.resource.Type != a.typ {
		return casework.Refuse(casework.ErrMalformed, fhir.CodeInvariant, a.resource.Type,
			"the address names "+a.typ+", but the resource is of type "+a.resource.Type)
	}
	a.sent.source = sourceOf(a.resource)
	return nil
}

// readPatch reads a patch by its media type: a JSON Patch, or a FHIRPath Patch,
// which is a resource.
func (a *ask) readPatch(body []byte, limit int) error {
	if typ, _, err := mime.ParseMediaType(a.sent.contentType); err == nil && typ == patchType {
		p, issues := fhir.ParseJSONPatch(body, limit)
		if len(issues) > 0 {
			return contentRefusal(issues)
		}
		a.patch = p
		return nil
	}
	if len(bytes.TrimSpace(body)) > 0 && bytes.TrimSpace(body)[0] == '[' {
		return casework.Refuse(errMediaType, fhir.CodeNotSupported, "", "Content-Type: a JSON Patch is "+patchType+"; "+mediaType+" is a FHIRPath Patch")
	}
	r, issues := fhir.Parse(body, limit)
	if len(issues) > 0 {
		return contentRefusal(issues)
	}
	p, issues := fhirpath.ReadPatch(r)
	if len(issues) > 0 {
		return contentRefusal(issues)
	}
	a.patch = p
	return nil
}

// bodyIsTaken refuses a body of another kind than the interaction takes. What a
// DELETE sends along means nothing (RFC 9110, 9.3.5), and is kept as sent.
func (a *ask) bodyIsTaken(c *gin.Context) error {
	switch a.kind {
	case remove, conditionalDelete:
		return nil
	case patch, conditionalPatch:
		c.Header("Accept-Patch", acceptPatch)
		return bodyIsPatch(c.Request.Header)
	}
	return bodyIsJSON(c.Request.Header)
}

// withoutFormat takes _format, which is no condition, out of a query.
func withoutFormat(raw string) string {
	var kept []string
	for part := range strings.SplitSeq(raw, "&") {
		if part != "" && !strings.HasPrefix(part, formatParam+"=") {
			kept = append(kept, part)
		}
	}
	return strings.Join(kept, "&")
}

// below is the path and query below the base, as the archive keeps it.
func below(u *url.URL) string {
	out := strings.TrimPrefix(strings.TrimPrefix(u.Path, root), "/")
	if u.RawQuery != "" {
		out += "?" + u.RawQuery
	}
	return out
}

// sourceOf is who sent a resource, as far as it says so itself.
func sourceOf(r *fhir.Resource) string {
	if source := r.String("meta", "source"); source != "" {
		return source
	}
	return r.String("identifier", "system")
}

// validID reports whether s can be a logical id.
func validID(s string) bool {
	ref, err := fhir.ParseRef(taskType+"/"+s, "")
	return err == nil && ref.ID == s && ref.Version == ""
}

// readBody reads at most limit bytes.
func readBody(c *gin.Context, limit int) ([]byte, error) {
	tooLarge := casework.Refuse(errTooLarge, fhir.CodeTooLong, "",
		fmt.Sprintf("the body is larger than the %d bytes that are allowed here", limit))
	if c.Request.ContentLength > int64(limit) {
		return nil, tooLarge
	}
	body, err := io.ReadAll(http.MaxBytesReader(c.Writer, c.Request.Body, int64(limit)))
	var over *http.MaxBytesError
	switch {
	case errors.As(err, &over):
		return nil, tooLarge
	case err != nil && c.Request.Context().Err() != nil:
		return nil, errCancelled
	case err != nil:
		return nil, errUnread
	}
	return body, nil
}

// carryOut does what is asked for.
func (s *server) carryOut(ctx context.Context, a *ask) (reply, error) {
	switch a.kind {
	case capabilities:
		return reply{status: http.StatusOK, body: s.metadata}, nil
	case searchType:
		return s.find(ctx, a)
	case read, vread:
		return s.read(ctx, a)
	case historyInstance, historyType, historySystem:
		return s.history(ctx, a)
	}
	return s.write(ctx, a)
}

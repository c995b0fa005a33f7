package conformance

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"

	"example.org/countback/pkg/fhirpath"
)

const (
	jsonType = "application/fhir+json"
	xmlType  = "application/fhir+xml"
	// mostRead is how much of a response is read, in bytes.
	mostRead = 64 << 20
)

// mediaTypes are what the short forms of accept and contentType stand for.
var mediaTypes = map[string]string{"json": jsonType, "xml": xmlType, "": jsonType}

func mediaType(short string) string {
	if long, ok := mediaTypes[short]; ok {
		return long
	}
	return short
}

// methods of the types of operation; what is not here is an operation by name.
var methods = map[string]string{
	"read": http.MethodGet, "vread": http.MethodGet, "search": http.MethodGet, "history": http.MethodGet, "capabilities": http.MethodGet,
	"create": http.MethodPost, "batch": http.MethodPost, "transaction": http.MethodPost,
	"update": http.MethodPut, "updateCreate": http.MethodPut, "patch": http.MethodPatch,
	"delete": http.MethodDelete, "deleteCondSingle": http.MethodDelete, "deleteCondMultiple": http.MethodDelete,
}

// operate sends one request and keeps what came back.
func (r *run) operate(ctx context.Context, o *Operation) (*Exchange, error) {
	if o.Origin > 1 || o.Destination > 1 {
		return nil, fmt.Errorf("%w: there is one server to talk to, and no second origin or destination", ErrScript)
	}
	body, err := r.body(o.SourceID)
	if err != nil {
		return nil, err
	}
	if body != nil && mediaType(o.ContentType) == xmlType {
		return nil, fmt.Errorf("%w: a body in XML", ErrScript)
	}
	method := r.method(o, body)
	target, err := r.target(o, body, method)
	if err != nil {
		return nil, err
	}
	header := http.Header{"Accept": {mediaType(o.Accept)}}
	if body != nil {
		header.Set("Content-Type", mediaType(o.ContentType))
	}
	for _, h := range o.RequestHeader {
		value, err := r.fill(h.Value)
		if err != nil {
			return nil, err
		}
		header.Set(h.Field, value)
	}
	x, err := r.exchange(ctx, method, target, header, body)
	if err != nil {
		return x, err
	}
	r.last = x
	for _, id := range []string{o.ResponseID, o.RequestID} {
		if id != "" {
			r.held[id] = x
		}
	}
	if x.Status/100 == 2 && o.SourceID != "" {
		if id := x.madeID(); id != "" {
			r.created[o.SourceID] = id
		}
	}
	return x, nil
}

func (r *run) method(o *Operation, body []byte) string {
	switch {
	case o.Method != "":
		return strings.ToUpper(o.Method)
	case methods[o.Type.Code] != "":
		return methods[o.Type.Code]
	case body != nil:
		return http.MethodPost
	}
	return http.MethodGet
}

// body is what is sent of a fixture, or of a response received before.
func (r *run) body(id string) ([]byte, error) {
	if id == "" {
		return nil, nil
	}
	if x := r.held[id]; x != nil {
		return x.ResponseBody, nil
	}
	text, ok := r.fixtures[id]
	if !ok {
		return nil, fmt.Errorf("%w: %s has not been received yet", ErrScript, id)
	}
	filled, err := r.fill(string(text))
	return []byte(filled), err
}

// target is the address of a request.
func (r *run) target(o *Operation, body []byte, method string) (string, error) {
	at, err := r.fill(o.URL)
	if err != nil {
		return "", err
	}
	params, err := r.fill(o.Params)
	if err != nil {
		return "", err
	}
	if o.EncodeRequestURL == nil || *o.EncodeRequestURL {
		at, params = encode(at), encode(params)
	}
	switch {
	case strings.HasPrefix(at, "http:"), strings.HasPrefix(at, "https:"):
		return at, nil
	case at != "":
		return r.Base + "/" + strings.TrimPrefix(at, "/"), nil
	}
	typ := o.Resource
	if typ == "" {
		typ = r.typeOf(o, body)
	}
	out := r.Base
	switch {
	case o.Type.Code == "capabilities":
		typ = "metadata"
	case o.Type.Code == "batch", o.Type.Code == "transaction":
		typ = o.Resource
	}
	if typ != "" {
		out += "/" + typ
	}
	switch {
	case o.TargetID != "":
		id, err := r.idOf(o.TargetID)
		if err != nil {
			return "", err
		}
		out += "/" + id
		params += suffix[o.Type.Code]
		if o.Type.Code == "vread" {
			params += "/" + r.versionOf(o.TargetID)
		}
	case params == "" && method == http.MethodPut:
		var head struct{ ID string }
		if err := json.Unmarshal(body, &head); err != nil || head.ID == "" {
			return "", fmt.Errorf("%w: an update of what has no id", ErrScript)
		}
		out += "/" + head.ID
	}
	if code := o.Type.Code; code != "" && methods[code] == "" && !strings.Contains(params, "$") {
		params = "/$" + code + params
	}
	return out + params, nil
}

// suffix is what follows the id of a target.
var suffix = map[string]string{"history": "/_history", "vread": "/_history"}

// typeOf is the type of what is sent or meant.
func (r *run) typeOf(o *Operation, body []byte) string {
	if typ := resourceTypeOf(body); typ != "" {
		return typ
	}
	if x := r.held[o.TargetID]; x != nil {
		return resourceTypeOf(x.ResponseBody)
	}
	return resourceTypeOf(r.fixtures[o.TargetID])
}

func resourceTypeOf(body []byte) string {
	var head struct {
		ResourceType string `json:"resourceType"`
	}
	if err := json.Unmarshal(body, &head); err != nil {
		return ""
	}
	return head.ResourceType
}

// idOf is the id that the server has for a fixture or a response.
func (r *run) idOf(id string) (string, error) {
	if made := r.created[id]; made != "" {
		return made, nil
	}
	body, err := r.body(id)
	if err != nil {
		return "", err
	}
	var head struct{ ID string }
	if err := json.Unmarshal(body, &head); err != nil || head.ID == "" {
		return "", fmt.Errorf("%w: %s has no id", ErrScript, id)
	}
	return head.ID, nil
}

func (r *run) versionOf(id string) string {
	var head struct{ Meta struct{ VersionID string } }
	body, err := r.body(id)
	if err != nil || json.Unmarshal(body, &head) != nil || head.Meta.VersionID == "" {
		return "1"
	}
	return head.Meta.VersionID
}

// encode escapes what may not stand in an address; what is escaped stays.
func encode(s string) string {
	var out strings.Builder
	for _, c := range []byte(s) {
		if c <= ' ' || c > '~' || strings.IndexByte("\"<>\\^`{|}", c) >= 0 {
			fmt.Fprintf(&out, "%%%02X", c)
		} else {
			out.WriteByte(c)
		}
	}
	return out.String()
}

// exchange sends a request and reads the answer to its end.
func (r *run) exchange(ctx context.Context, method, target string, header http.Header, body []byte) (*Exchange, error) {
	x := &Exchange{Method: method, URL: target, Header: header.Clone(), Body: body, sent: decoded(body)}
	req, err := http.NewRequestWithContext(ctx, method, target, bytes.NewReader(body))
	if err != nil {
		return x, err
	}
	req.Header = header
	// The token is for the tested server, and for no other that a link names.
	if r.Token != "" && sameHost(target, r.Base) {
		req.Header.Set("Authorization", "Bearer "+r.Token)
	}
	resp, err := r.Client.Do(req)
	if err != nil {
		return x, err
	}
	defer resp.Body.Close()
	x.Status, x.ResponseHeader = resp.StatusCode, resp.Header
	if x.ResponseBody, err = io.ReadAll(io.LimitReader(resp.Body, mostRead)); err != nil {
		return x, err
	}
	x.received = decoded(x.ResponseBody)
	return x, nil
}

func sameHost(a, b string) bool {
	x, errX := url.Parse(a)
	y, errY := url.Parse(b)
	return errX == nil && errY == nil && x.Scheme == y.Scheme && x.Host == y.Host
}

func decoded(body []byte) any {
	v, err := fhirpath.Decode(body)
	if err != nil {
		return nil
	}
	return v
}

// madeID is the id of what a create or update stored, by Location or by the body.
func (x *Exchange) madeID() string {
	if at, err := url.Parse(x.ResponseHeader.Get("Location")); err == nil {
		parts := strings.Split(at.Path, "/")
		for n, part := range parts {
			if part == "_history" && n > 0 {
				return parts[n-1]
			}
		}
	}
	m, ok := x.received.(map[string]any)
	if !ok || m["resourceType"] == "OperationOutcome" || m["resourceType"] == "Bundle" {
		return ""
	}
	id, _ := m["id"].(string)
	return id
}

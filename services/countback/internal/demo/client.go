package demo

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"

	"example.org/countback/pkg/fhir"
)

// client speaks FHIR to the service, as any other client would.
type client struct {
	base   string
	http   *http.Client
	prefer string // what a write answers with: minimal, representation or OperationOutcome
}

// resource is what the demo reads of a resource.
type resource struct {
	Type       string `json:"resourceType"`
	ID         string `json:"id"`
	Status     string `json:"status"`
	Identifier []struct{ System, Value string }
	Meta       struct{ VersionID string } `json:"meta"`
	raw        json.RawMessage
	node       *fhir.Resource
}

func (c *client) do(ctx context.Context, method, path string, body []byte, ifMatch string) ([]byte, error) {
	target := c.base
	if path != "" {
		target += "/" + path
	}
	req, err := http.NewRequestWithContext(ctx, method, target, bytes.NewReader(body))
	if err != nil {
		return nil, err
	}
	req.Header.Set("Content-Type", "application/fhir+json")
	req.Header.Set("Accept", "application/fhir+json")
	req.Header.Set("Prefer", "return="+c.prefer)
	if ifMatch != "" {
		req.Header.Set("If-Match", `W/"`+ifMatch+`"`)
	}
	resp, err := c.http.Do(req)
	if err != nil {
		return nil, err
	}
	defer resp.Body.Close()
	out, err := io.ReadAll(resp.Body)
	if err != nil {
		return nil, err
	}
	if resp.StatusCode >= 300 {
		return nil, fmt.Errorf("%s %s: %s: %s", method, path, resp.Status, out)
	}
	return out, nil
}

// search reads every match of a search, page by page.
func (c *client) search(ctx context.Context, typ string, query url.Values) ([]resource, error) {
	query.Set("_count", "200")
	path := typ + "?" + query.Encode()
	var out []resource
	for path != "" {
		b, err := c.do(ctx, http.MethodGet, path, nil, "")
		if err != nil {
			return nil, err
		}
		var bundle struct {
			Entry []struct{ Resource json.RawMessage }
			Link  []struct{ Relation, URL string }
		}
		if err := json.Unmarshal(b, &bundle); err != nil {
			return nil, err
		}
		for _, e := range bundle.Entry {
			r := resource{raw: e.Resource}
			if err := json.Unmarshal(e.Resource, &r); err != nil {
				return nil, err
			}
			parsed, issues := fhir.Parse(e.Resource, len(e.Resource)+1)
			if len(issues) > 0 {
				return nil, issues
			}
			r.node = parsed
			out = append(out, r)
		}
		path = ""
		for _, l := range bundle.Link {
			if l.Relation == "next" {
				path = l.URL[len(c.base)+1:]
			}
		}
	}
	return out, nil
}

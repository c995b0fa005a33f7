package conformance

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"
)

// Server is what a CapabilityStatement says of a server.
type Server struct {
	Software, Version, FHIRVersion string
	Formats                        []string
	Types                          []string // that are served, by name
}

// String names the server for people.
func (s Server) String() string {
	name := strings.TrimSpace(s.Software + " " + s.Version)
	if name == "" {
		name = "a server without a name"
	}
	return fmt.Sprintf("%s, FHIR %s, %d types", name, s.FHIRVersion, len(s.Types))
}

// ReadCapabilities reads a CapabilityStatement. The error is ErrServer.
func ReadCapabilities(body []byte) (Server, error) {
	var c struct {
		ResourceType string   `json:"resourceType"`
		FHIRVersion  string   `json:"fhirVersion"`
		Format       []string `json:"format"`
		Software     struct{ Name, Version string }
		Rest         []struct {
			Mode     string
			Resource []struct{ Type string }
		}
	}
	if err := json.Unmarshal(body, &c); err != nil || c.ResourceType != "CapabilityStatement" {
		return Server{}, fmt.Errorf("%w: what it says of itself is no CapabilityStatement in JSON", ErrServer)
	}
	if !strings.HasPrefix(c.FHIRVersion, "4.0") {
		return Server{}, fmt.Errorf("%w: it speaks FHIR %s", ErrServer, c.FHIRVersion)
	}
	out := Server{Software: c.Software.Name, Version: c.Software.Version, FHIRVersion: c.FHIRVersion, Formats: c.Format}
	for _, rest := range c.Rest {
		for _, r := range rest.Resource {
			if rest.Mode == "server" && !slices.Contains(out.Types, r.Type) {
				out.Types = append(out.Types, r.Type)
			}
		}
	}
	slices.Sort(out.Types)
	return out, nil
}

// meet asks the server who it is, and which day it has.
func meet(ctx context.Context, o Options) (Server, time.Time, error) {
	r := &run{Options: o, script: &Script{}}
	x, err := r.exchange(ctx, http.MethodGet, o.Base+"/metadata", http.Header{"Accept": {jsonType}}, nil)
	if err != nil {
		return Server{}, time.Time{}, fmt.Errorf("%w: %w", ErrServer, err)
	}
	if x.Status != http.StatusOK {
		return Server{}, time.Time{}, fmt.Errorf("%w: %s answers %d", ErrServer, x.URL, x.Status)
	}
	server, err := ReadCapabilities(x.ResponseBody)
	if err != nil {
		return Server{}, time.Time{}, err
	}
	today := o.Now().UTC()
	if said, err := http.ParseTime(x.ResponseHeader.Get("Date")); err == nil {
		today = said
	}
	if o.Today != "" {
		if today, err = time.Parse(time.DateOnly, o.Today); err != nil {
			return Server{}, time.Time{}, fmt.Errorf("%w: %q is no date", ErrScript, o.Today)
		}
	}
	return server, today.UTC().Truncate(24 * time.Hour), nil
}

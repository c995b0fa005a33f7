package app

import (
	"fmt"
	"os"

	"example.org/countback/pkg/fhir"
)

// definition reads the PlanDefinition that -protocol names; nil for the one
// inside.
func (c *Config) definition() ([]byte, error) {
	if c.Protocol == "" {
		return nil, nil
	}
	b, err := os.ReadFile(c.Protocol)
	if err != nil {
		return nil, fmt.Errorf("-protocol: %w", err)
	}
	r, issues := fhir.Parse(b, fileLimit)
	switch {
	case len(issues) > 0:
		return nil, fmt.Errorf("-protocol %s: %w", c.Protocol, issues)
	case r.Type != "PlanDefinition":
		return nil, fmt.Errorf("-protocol %s: it holds a %s, not a PlanDefinition", c.Protocol, r.Type)
	}
	return b, nil
}

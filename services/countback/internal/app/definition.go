package app

import (
	"fmt"
	"os"
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
	return b, nil
}

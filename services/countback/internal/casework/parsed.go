package casework

import (
	"sync"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/store"
)

// parsedLimit is how many parsed resources are kept; a person has about five.
const parsedLimit = 4096

// parsedCache keeps parsed versions of booking resources, so that a second
// message about a person does not parse all that is held of them again. A
// version never changes, so nothing in it can go stale.
type parsedCache struct {
	mu   sync.Mutex
	held map[string]parsedVersion
}

type parsedVersion struct {
	version  int64
	resource *fhir.Resource
}

func (c *parsedCache) put(s store.Stored, r *fhir.Resource) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.held == nil || len(c.held) >= parsedLimit {
		c.held = make(map[string]parsedVersion, parsedLimit)
	}
	c.held[s.Type+"/"+s.ID] = parsedVersion{s.Version, r}
}

// get parses the stored version unless it is held. What was stored had been
// accepted, so an issue means that the store is damaged.
func (c *parsedCache) get(s store.Stored) (*fhir.Resource, error) {
	c.mu.Lock()
	have, ok := c.held[s.Type+"/"+s.ID]
	c.mu.Unlock()
	if ok && have.version == s.Version {
		return have.resource, nil
	}
	r, issues := fhir.Parse(s.Body, len(s.Body)+1)
	if len(issues) > 0 {
		return nil, issues
	}
	c.put(s, r)
	return r, nil
}

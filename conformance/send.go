package conformance

import "context"

// play sends records of one's own.
func (c *command) play(ctx context.Context) (bool, error) { return c.test(ctx) }

package app

import (
	"sync/atomic"
	"time"
)

// Clock is the one clock of the process: the real one, or one that stands
// where it was put.
type Clock struct{ at atomic.Pointer[time.Time] }

// Now is the present moment.
func (c *Clock) Now() time.Time {
	if t := c.at.Load(); t != nil {
		return *t
	}
	return time.Now()
}

// Stand puts the clock to t, where it stays.
func (c *Clock) Stand(t time.Time) { c.at.Store(&t) }

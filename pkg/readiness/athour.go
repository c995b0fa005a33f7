package readiness

import (
	"slices"
	"time"

	"example.org/countback/pkg/calendar"
)

// What a hold means for the hour of the operation. The clock stands for the arrival
// and the discharge that nobody reports, but only of a case that nothing held when
// its hour came: of one that was held somebody has to say what became of it, also
// after the hold was released.

// stoodAt reports whether the hold stood when a moment came.
func (h *Hold) stoodAt(t time.Time) bool {
	since, until := h.Raised, h.Ended
	if !h.Stood.IsZero() {
		since = h.Stood
	}
	if !h.Until.IsZero() {
		until = h.Until
	}
	return since.Before(t) && (h.Open() || !until.Before(t))
}

// open opens again a hold that had ended.
func (h *Hold) open() {
	h.Ended, h.Until, h.How, h.For, h.Seen, h.Was = time.Time{}, time.Time{}, "", 0, nil, nil
}

// over reports whether there is nothing left that the hold could stop: the case has
// ended, the person has left, or what only waited for evidence waits no more.
func (h *Hold) over(c *Case, p *Protocol, now time.Time) bool {
	return c.Ending != Running || !c.Left.IsZero() || h.Kind != KindNoDate && p.supplied(h.Kind) && c.came(now)
}

// Reopen opens again each hold that a report ended, where that report is there no
// more: what it rests on may stand still, and nobody released it. It goes before the
// plan.
func (c *Case) Reopen(p *Protocol, now time.Time) {
	c.Holds = slices.Clone(c.Holds)
	for n := range c.Holds {
		if h := &c.Holds[n]; h.How == Over && !h.over(c, p, now) {
			h.open()
		}
	}
}

// heldAtHour reports whether one of the holds stood when the hour of the operation
// came, or would stand then as things are.
func (c *Case) heldAtHour(cal *calendar.Calendar) bool {
	hour := c.Hour(cal)
	return !hour.IsZero() && slices.ContainsFunc(c.Holds, func(h Hold) bool { return h.stoodAt(hour) })
}

// clockStands reports whether the clock stands for what nobody reported: nothing
// holds the case, and nothing did at its hour, or somebody has reported since that it
// went ahead.
func (c *Case) clockStands(cal *calendar.Calendar) bool {
	return !c.Held && (c.reported() || !c.heldAtHour(cal))
}

// waitsHeld reports whether a hold is open and the hour of the operation has not
// passed: then the case is held also with the person in the hospital.
func (c *Case) waitsHeld(cal *calendar.Calendar, now time.Time) bool {
	return c.Held && !c.hourPassed(cal, now)
}

// unreported reports whether the hour of a case that was held then has passed, and
// nobody has said what became of it.
func (c *Case) unreported(cal *calendar.Calendar, now time.Time) bool {
	return c.Ending == Running && !c.reported() && c.hourPassed(cal, now) && (c.Held || c.heldAtHour(cal))
}

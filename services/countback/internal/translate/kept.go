package translate

import (
	"slices"

	"example.org/countback/pkg/readiness"
)

// What a booking that opens no case is to whoever looks for one that was missed.
const (
	KeptJoint  = "joint"  // a hip or knee replacement by its codes, or a revision of one
	KeptUnsaid = "unsaid" // it does not say which operation it is
	KeptOther  = "other"  // something else by its codes
	KeptOver   = "over"   // called off, done already, or planned by another booking
)

// keptAs sorts a booking by what its resources say.
func (f Facility) keptAs(g *group, c *readiness.Case) string {
	switch {
	case c.Ending != readiness.Running, g.appointment == nil && !awaits(g):
		return KeptOver
	case c.Facts["joint"] != nil, c.Facts["revision"] == true:
		return KeptJoint
	case g.appointment != nil && unsaid(g, c.Facts):
		return KeptUnsaid
	}
	return KeptOther
}

// unsaid reports whether nothing says which operation an appointment is for:
// no reason and no order or procedure with a code, and no kind of service but
// that it is orthopaedic surgery.
func unsaid(g *group, facts map[string]any) bool {
	coded := slices.ContainsFunc(slices.Concat(g.procedures, g.requests), func(r *Record) bool { return r.Get("code", "coding").Len() > 0 })
	a := g.appointment
	return !coded && a.Get("reasonCode").Len() == 0 &&
		(facts["orthopaedic_surgery"] == true || a.Get("serviceType").Len() == 0 && a.Get("serviceCategory").Len() == 0 && a.Get("specialty").Len() == 0)
}

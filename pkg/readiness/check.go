package readiness

import (
	"fmt"
	"slices"
	"strings"
)

// ProtocolError lists everything that is wrong with a protocol, each fault
// naming its action.
type ProtocolError struct{ Faults []string }

func (e *ProtocolError) Error() string {
	return "protocol refused: " + strings.Join(e.Faults, "; ")
}

// NewProtocol checks p as a whole and prepares it for planning. It returns a
// *ProtocolError that lists every fault: a code used twice, an unknown action
// in a window, a cycle of steps that follow each other, a window that is empty
// whatever the calendar, by itself or because of what the step comes after.
// What is empty only for some dates is accepted, and told by Warnings.
func NewProtocol(p Protocol) (*Protocol, error) {
	p.index = make(map[string]int, len(p.Steps))
	var faults []string
	for i := range p.Steps {
		s := &p.Steps[i]
		switch _, twice := p.index[s.Code]; {
		case s.Code == "":
			faults = append(faults, fmt.Sprintf("action %d has no id", i))
		case IsAnchor(s.Code):
			faults = append(faults, s.Code+" names an anchor and cannot be a step")
		case twice:
			faults = append(faults, s.Code+" is defined twice")
		}
		p.index[s.Code] = i
	}
	for i := range p.Steps {
		faults = append(faults, p.stepFaults(&p.Steps[i])...)
	}
	order, cycle := p.sorted(p.countsFrom)
	flows, waits := p.arrange()
	if len(cycle) == 0 {
		cycle = waits
	}
	if len(cycle) > 0 {
		faults = append(faults, "these steps wait for each other: "+strings.Join(cycle, " → "))
	}
	if len(p.Stays) > 0 {
		if _, ok := p.stay(""); !ok {
			faults = append(faults, "no planned stay is marked as the default")
		}
	}
	if len(faults) > 0 {
		return nil, &ProtocolError{Faults: faults}
	}
	p.order, p.flows = order, flows
	p.decides = p.deciding()
	if faults = p.emptyFaults(); len(faults) > 0 {
		return nil, &ProtocolError{Faults: faults}
	}
	return &p, nil
}

func (p *Protocol) stepFaults(s *Step) []string {
	var faults []string
	for _, pt := range s.points() {
		if _, known := p.index[pt.Anchor]; !known && !IsAnchor(pt.Anchor) {
			faults = append(faults, fmt.Sprintf("%s refers to %q, which is no action of this protocol", s.Code, pt.Anchor))
		}
		if pt.Offset.Unit == Minutes && !IsAnchor(pt.Anchor) {
			faults = append(faults, fmt.Sprintf("%s counts hours from %s, of which only the day is known", s.Code, pt.Anchor))
		}
		if pt.Anchor == s.Code {
			faults = append(faults, s.Code+" refers to itself")
		}
		if pt.Anchor == AnchorRaised && s.Trigger == "" {
			faults = append(faults, s.Code+" counts from the event that raises it but has no trigger")
		}
	}
	if len(s.Performers) == 0 {
		faults = append(faults, s.Code+" has nobody to do it")
	}
	if o, d, empty := alwaysEmpty(s.Window); empty {
		faults = append(faults, fmt.Sprintf("%s opens %s, after it is due %s, in every calendar", s.Code, p.words(o), p.words(d)))
	}
	return faults
}

// points lists every point that the step's dates are counted from.
func (s *Step) points() []Point {
	out := append(append([]Point{}, s.Window.Opens...), s.Window.Due...)
	if s.Last != nil {
		out = append(out, *s.Last)
	}
	return out
}

// alwaysEmpty finds an opening that lies after a due point whatever the dates:
// both counted from the same anchor in the same unit.
func alwaysEmpty(w Window) (opens, due Point, empty bool) {
	if w.OpensEarliest {
		return opens, due, false
	}
	for _, o := range w.Opens {
		for _, d := range w.Due {
			same := o.Anchor == d.Anchor && o.Offset.Unit == d.Offset.Unit
			if !same || o.Offset.N < d.Offset.N {
				continue
			}
			late := o.Offset.N > d.Offset.N
			if o.Clock != nil && d.Clock != nil && !late {
				late = o.Clock.Hour*60+o.Clock.Minute > d.Clock.Hour*60+d.Clock.Minute
			}
			if late {
				return o, d, true
			}
		}
	}
	return opens, due, false
}

// countsFrom lists the steps that a step's dates are counted from.
func (p *Protocol) countsFrom(n int) []int {
	var out []int
	for _, pt := range p.Steps[n].points() {
		if j, ok := p.index[pt.Anchor]; ok {
			out = append(out, j)
		}
	}
	return out
}

// sorted orders the steps so that each stands after those that it comes after;
// where steps wait for each other it returns them as the cycle instead.
func (p *Protocol) sorted(after func(int) []int) (order []int, cycle []string) {
	const white, grey, black = 0, 1, 2
	colour := make([]int, len(p.Steps))
	var path []int
	var visit func(i int) bool
	visit = func(i int) bool {
		colour[i] = grey
		path = append(path, i)
		for _, j := range after(i) {
			if colour[j] == grey {
				for _, n := range append(path[slices.Index(path, j):], j) {
					cycle = append(cycle, p.Steps[n].Code)
				}
				return false
			}
			if colour[j] == white && !visit(j) {
				return false
			}
		}
		path = path[:len(path)-1]
		colour[i] = black
		order = append(order, i)
		return true
	}
	for i := range p.Steps {
		if colour[i] == white && !visit(i) {
			return nil, cycle
		}
	}
	return order, nil
}

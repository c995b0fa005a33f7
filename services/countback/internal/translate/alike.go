package translate

import (
	"reflect"

	"example.org/countback/pkg/readiness"
)

// Alike are the steps of which both protocols render every Task alike, so that a
// Task which stands needs no new version because the protocol changed.
func (p *Protocol) Alike(o *Protocol) map[string]bool {
	out := make(map[string]bool, len(p.Steps))
	for n := range p.Steps {
		a := &p.Steps[n]
		if b := o.Step(a.Code); b != nil && p.sameStep(o, a, b) {
			out[a.Code] = true
		}
	}
	return out
}

// sameStep compares all that a Task is rendered from beside its row: the step,
// and the titles of the steps that its rule names. What came of its condition is
// in the row.
func (p *Protocol) sameStep(o *Protocol, a, b *readiness.Step) bool {
	x, y := *a, *b
	x.Condition, y.Condition = nil, nil
	if !reflect.DeepEqual(x, y) {
		return false
	}
	named := append(append([]readiness.Point{}, x.Window.Opens...), x.Window.Due...)
	if x.Last != nil {
		named = append(named, *x.Last)
	}
	for _, pt := range named {
		if p.titleOf(pt.Anchor) != o.titleOf(pt.Anchor) {
			return false
		}
	}
	for _, code := range append(p.After(a.Code), o.After(a.Code)...) {
		if p.titleOf(code) != o.titleOf(code) {
			return false
		}
	}
	return true
}

func (p *Protocol) titleOf(code string) string {
	if s := p.Step(code); s != nil {
		return s.Title
	}
	return ""
}

package readiness

import "slices"

// Kind says what a change does to an item.
type Kind int

// The kinds of change.
const (
	Added    Kind = iota // an item that was not in the plan
	Reopened             // an item that replaces a finished one which no longer counts
	Moved                // window, last day or marks differ
	Turned               // only the state differs
	Dropped              // no longer in the plan; what was finished stays as it was
)

// Change is what a new plan alters in one item of an old one.
type Change struct {
	Kind Kind
	Old  *Item // nil for Added and Reopened
	New  *Item // nil for Dropped
}

// Replan compares a plan with the items that stood before it and lists what
// changed, in the new plan's order, dropped items last. Equal plans give none.
func Replan(old []Item, plan *Plan) []Change {
	before := make(map[Key]*Item, len(old))
	for n := range old {
		before[old[n].Key] = &old[n]
	}
	var out []Change
	for n := range plan.Items {
		item := &plan.Items[n]
		was := before[item.Key]
		delete(before, item.Key)
		switch {
		case was == nil && item.Replaces > 0:
			out = append(out, Change{Kind: Reopened, New: item})
		case was == nil:
			out = append(out, Change{Kind: Added, New: item})
		case !was.sameDates(item):
			out = append(out, Change{Kind: Moved, Old: was, New: item})
		case was.State != item.State || was.Applies != item.Applies:
			out = append(out, Change{Kind: Turned, Old: was, New: item})
		}
	}
	for n := range old {
		if gone := before[old[n].Key]; gone != nil && gone.State.Waiting() {
			out = append(out, Change{Kind: Dropped, Old: gone})
		}
	}
	return out
}

// sameDates reports whether nothing but the state could differ.
func (i *Item) sameDates(o *Item) bool {
	return slices.Equal(i.Waits, o.Waits) && slices.Equal(i.Needs, o.Needs) && i.Opens.same(o.Opens) && i.Due.same(o.Due) && i.Last.same(o.Last) &&
		i.LeaveBy == o.LeaveBy && slices.Equal(i.LeaveFor, o.LeaveFor) && i.Compressed == o.Compressed && i.TooLate == o.TooLate
}

func (m Moment) same(o Moment) bool { return m.Day == o.Day && m.At.Equal(o.At) }

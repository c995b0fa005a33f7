package readiness

import (
	"slices"

	"example.org/countback/pkg/calendar"
)

// Was is a ground as it was when a person released a hold that rests on it.
// Another one in the same record is another question.
type Was struct {
	Class string        // see Ground
	Codes []string      // ditto
	Ends  calendar.Date // the day that the record named; zero: none
	Over  bool          // see Ground
}

// was is what a release has to be held against later.
func (g *Ground) was() Was {
	return Was{Class: g.Class, Codes: slices.Clone(g.Codes), Ends: g.named(), Over: g.Over}
}

// named is the day that the record names, whether or not it is counted from.
func (g *Ground) named() calendar.Date {
	if g.Day.IsZero() {
		return g.Ends
	}
	return g.Day
}

// asks reports whether the ground, with surgery on a day, is another question
// than the one that a person answered: it is about something else, goes on again,
// names another day, or names a day for the first time that is no answer yet.
func (w *Was) asks(g *Ground, day calendar.Date) bool {
	if w.Class != g.Class || !sameMatter(w.Codes, g.Codes) {
		return true
	}
	switch now := g.named(); {
	case now == w.Ends:
		return now.IsZero() && w.Over && !g.Over
	case w.Ends.IsZero():
		dated := *g
		dated.Day, dated.Active = now, false
		return dated.stands(day)
	}
	return true
}

// sameMatter reports whether two sets of codes name one matter, which may be told
// by more codes or by fewer; without a code there is nothing to tell it by.
func sameMatter(a, b []string) bool {
	return len(a) == 0 || len(b) == 0 || slices.ContainsFunc(a, func(code string) bool { return slices.Contains(b, code) })
}

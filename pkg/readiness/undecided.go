package readiness

import "time"

// undecided reports whether the last dose of a medicine has no day, and nobody
// who may has signed that there is none. What others say of the item decides
// nothing.
func (i *Item) undecided() bool {
	return i.Step.TakesLastDose() && i.Due.IsZero() && i.Applies != No && i.Decided == ""
}

// undecided holds the case for a last dose that is still undecided when it may be
// too late to take it in time.
func (w *watch) undecided(i *Item) {
	from := w.decideBy(i.Key.Repeat)
	if w.rule.Undecided == "" {
		return
	}
	if w.now.Before(from) {
		w.sooner(from)
		return
	}
	says := i.Step.Title
	if m := w.c.medicine(i.Key.Repeat); m != nil {
		says = m.Name + ", " + lowerFirst(says)
	}
	w.raise(i, "@undecided", says+": "+w.rule.Undecided)
}

// unsigned keeps the case held for a last dose that somebody records as taken and
// that no prescriber has signed: the record stands, and answers nothing.
func (w *watch) unsigned(i *Item) {
	switch {
	case i.State != StateDone || !i.Step.TakesLastDose() || len(i.Waits) == 0 || i.Last.IsZero() || w.rule.Unsigned == "":
	case w.now.Before(i.Last.Ends(w.cal)):
		w.sooner(i.Last.Ends(w.cal))
	default:
		w.add(i, "", w.rule.Unsigned)
	}
}

// decideBy is when a medicine that is still undecided holds the case: once the
// earliest last dose that may come out has ended, or where none is known on the
// last day of the signature; at the latest on the last business day before
// surgery, on which somebody can still be asked.
func (w *watch) decideBy(medicine string) time.Time {
	from := w.cal.StartOf(w.cal.OnOrBefore(w.c.Day.Add(-1)))
	before := func(t time.Time) {
		if t.Before(from) {
			from = t
		}
	}
	earliest := w.pl.earliestDose(medicine)
	if !earliest.IsZero() {
		before(earliest.Ends(w.cal))
		return from
	}
	for n := range w.pl.Items {
		if s := &w.pl.Items[n]; s.Step.SignsLastDose() && s.Key.Repeat == medicine && !s.Last.IsZero() {
			before(s.Last.Begins(w.cal))
		}
	}
	return from
}

// earliestDose is the earliest last dose of a medicine that may come out.
func (pl *Plan) earliestDose(medicine string) Moment {
	for n := range pl.Medicines {
		if a := &pl.Medicines[n]; a.Medicine.Key == medicine {
			return a.Earliest
		}
	}
	return Moment{}
}

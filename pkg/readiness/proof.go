package readiness

import (
	"cmp"
	"slices"

	"example.org/countback/pkg/calendar"
)

// prove sets the entry that the records of the case make for an item on which
// nobody recorded anything: the newest that counts for the date that stands.
// Where none counts, the newest that could have counted when the operation was
// booked is shown once, as what must be done again; shown says that an earlier
// round has it already. It reports whether it showed one that does not count.
func (d *dating) prove(i *Item, c *Case, today calendar.Date, shown bool) bool {
	proofs := slices.Clone(c.Proofs[Key{Step: i.Key.Step, Repeat: i.Key.Repeat}])
	proofs = slices.DeleteFunc(proofs, func(p Proof) bool { return p.On > today || p.Record == i.Entry.Against })
	slices.SortFunc(proofs, func(a, b Proof) int {
		return cmp.Or(cmp.Compare(b.On, a.On), cmp.Compare(a.Record, b.Record))
	})
	for _, p := range proofs {
		if e := d.entryOf(i, p, c); e.counts(i.Step, c) && !i.TooEarly(p.On) {
			i.Entry = e
			return false
		}
	}
	for _, p := range proofs {
		if !shown && d.lapsed(i.Step, p) {
			i.Entry = d.entryOf(i, p, c)
			return true
		}
	}
	return false
}

// entryOf is a record as an entry. One of a step that counts for this date only
// was done for this date when it lies in the window; which date was meant by
// whoever wrote it, nobody knows.
func (d *dating) entryOf(i *Item, p Proof, c *Case) Entry {
	e := Entry{Outcome: Done, On: p.On, Until: p.Until, Record: p.Record}
	from := i.Opens.Day
	if i.Opens.IsZero() {
		from = d.booked.Day
	}
	if p.On >= from && (c.Day.IsZero() || p.On <= c.Day || i.Step.opensWithSurgery()) {
		e.For = c.Snapshot()
	}
	return e
}

// lapsed reports whether a record that does not count could have, for some date
// of surgery since the operation was booked. Older ones say nothing about it.
func (d *dating) lapsed(s *Step, p Proof) bool {
	from := d.booked.Day
	if s.Expiry.Kind == ExpiresAfter {
		from = from.Add(-s.Expiry.Days)
	}
	return p.On >= from
}

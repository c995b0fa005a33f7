package readiness

import (
	"cmp"
	"slices"
	"time"

	"example.org/countback/pkg/calendar"
)

// prove sets the entry that the records of the case make for an item on which
// nobody recorded anything: the newest that counts for the date that stands.
// Before it, one that could have counted when the operation was booked and no
// longer does is shown once, as a round of its own that is asked again: so the
// rounds stay what they were when a newer record comes. shown says that an
// earlier round has it already; prove reports whether this one has.
func (d *dating) prove(i *Item, c *Case, today calendar.Date, shown bool) bool {
	var counting, lapsed Entry
	for _, p := range c.Proofs[Key{Step: i.Key.Step, Repeat: i.Key.Repeat}] {
		if p.On > today || p.Record == i.Entry.Against {
			continue
		}
		switch e := d.entryOf(i, p, c); {
		case e.counts(i.Step, c) && !i.TooEarly(p.On):
			counting = e.newer(counting)
		case p.InTime: // of another step
		case d.lapsed(i.Step, p):
			lapsed = e.newer(lapsed)
		}
	}
	if !shown && lapsed.Record != "" && (counting.Record == "" || lapsed.On < counting.On) {
		i.Entry = lapsed
		return true
	}
	if counting.Record != "" {
		i.Entry = counting
	}
	return false
}

// newer is the entry of the later day; of one day the same whatever the order.
func (e Entry) newer(o Entry) Entry {
	if o.Record == "" || cmp.Or(cmp.Compare(e.On, o.On), cmp.Compare(o.Record, e.Record)) > 0 {
		return e
	}
	return o
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

// nextRecord is next, or an earlier instant at which a record of a day that is
// still to come begins to show that something was done.
func (pl *Plan) nextRecord(c *Case, p *Protocol, cal *calendar.Calendar, now, next time.Time) time.Time {
	var days []calendar.Date
	today := cal.DateOf(now)
	for _, proofs := range c.Proofs {
		for _, proof := range proofs {
			if proof.On > today {
				days = append(days, proof.On)
			}
		}
	}
	slices.Sort(days)
	for _, day := range slices.Compact(days) {
		at := cal.StartOf(day)
		if !next.IsZero() && !at.Before(next) {
			break
		}
		if then, _ := makeAt(c, p, cal, at); !slices.EqualFunc(pl.Items, then.Items, sameRecord) {
			return at
		}
	}
	return next
}

func sameRecord(a, b Item) bool { return a.Key == b.Key && a.Entry.Record == b.Entry.Record }

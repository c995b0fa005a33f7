package casework

import (
	"maps"
	"slices"
	"strings"

	"example.org/countback/pkg/readiness"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// forebears are the cases of bookings of the same operation that were called
// off, the newest first: what was done for one of them may count for this one,
// which was booked in its place under a number of its own.
func forebears(bookings []translate.Booking, cases []store.Case, b *translate.Booking, c *store.Case) []*store.Case {
	if b.Case.Ending != readiness.Running {
		return nil
	}
	var out []*store.Case
	for n := range bookings {
		o := &bookings[n]
		if o.Primary == b.Primary || o.Case.Ending == readiness.Running ||
			o.Case.Details["procedure"] != b.Case.Details["procedure"] || o.Case.Details["side"] != b.Case.Details["side"] {
			continue
		}
		if old := caseOf(cases, o, nil); old != nil && old.ID != c.ID {
			out = append(out, old)
		}
	}
	slices.SortFunc(out, func(a, b *store.Case) int { return strings.Compare(b.ID, a.ID) })
	return out
}

// carry lays in what was done in a case of the same operation that was called
// off, where nobody has written anything on the step in this one and it still
// counts. A person's own word is never replaced, nor is it asked for twice: what
// somebody takes back here stays taken back.
func (w *writing) carry() error {
	found := map[readiness.Key]*translate.Row{}
	from := map[readiness.Key]string{}
	for _, old := range w.forebears {
		items, err := w.tx.Items(old.ID)
		if err != nil {
			return err
		}
		for _, it := range items { // the newest round is the last
			row, err := rowOf(it)
			if err != nil {
				return err
			}
			key := readiness.Key{Step: it.Step, Repeat: it.Repeat, Round: 1}
			if row.Work == nil || row.Work.Outcome != readiness.Done || from[key] != "" && from[key] != old.ID || w.wrote(key) {
				continue
			}
			found[key], from[key] = row, old.ID
		}
	}
	if len(found) == 0 {
		return nil
	}
	own, asBooked := maps.Clone(w.rows), w.b.Case
	asBooked.Raised = slices.Clone(asBooked.Raised) // reckoning adds to it
	for key, row := range found {
		w.lay(key, row)
	}
	counts := map[readiness.Key]bool{}
	for _, i := range w.reckon().Items {
		counts[i.Key] = i.State == readiness.StateDone
	}
	w.rows, w.b.Case = own, asBooked
	carried := map[string]bool{}
	for key, row := range found {
		if counts[key] {
			w.lay(key, row)
			carried[from[key]] = true
		}
	}
	w.carried = slices.Sorted(maps.Keys(carried))
	return nil
}

// wrote reports whether somebody wrote on the step in any round.
func (w *writing) wrote(key readiness.Key) bool {
	for k, row := range w.rows {
		if k.Step == key.Step && k.Repeat == key.Repeat && row.Work != nil {
			return true
		}
	}
	return false
}

// lay puts the entry of a row of another case on the item.
func (w *writing) lay(key readiness.Key, from *translate.Row) {
	row := &translate.Row{Step: key.Step, Repeat: key.Repeat, Round: key.Round}
	if was := w.rows[key]; was != nil {
		*row = *was
	}
	work := *from.Work
	row.Work = &work
	w.rows[key] = row
}

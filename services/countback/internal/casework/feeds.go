package casework

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"sync"
	"time"

	"example.org/countback/services/countback/internal/store"
)

// Feed is how it stands with one source.
type Feed struct {
	Source      string
	First, Last time.Time     // when it was heard from; zero: never
	Newest      time.Time     // the latest time that it gave itself and that is trusted; zero: it gives none
	Age         time.Duration // since Last; since the service was started for a source that was never heard from
	Messages    int64         // resources
	Superseded  int64         // of these, older by its own order than what was held
	Conflicts   int64         // of these, of the same order as what was held, and not the same
	Ahead       int64         // of these, with a time too far in the future to be trusted
	Refused     int64         // deliveries that were refused since the service was started
	Silent      bool          // for longer than it may be
	Awaited     bool          // one that is to be heard from
}

// How long, and how many at most, records that went to another person are listed.
const (
	movedFor  = 7 * 24 * time.Hour
	movedMost = 50
)

// MovedRecords are records that a source gave from one person to another: a
// correction, two numbers of one person made one, or a mistake.
type MovedRecords struct {
	Source   string
	Was, Now Person
	Last     time.Time
	N        int64
	Types    []string
}

// moved adds to the morning what went to another person.
func (r *morningReader) moved(m *Morning) error {
	list, err := r.tx.MovedSince(r.tx.Now.Add(-movedFor), movedMost)
	for n := 0; err == nil && n < len(list); n++ {
		l := &list[n]
		v := MovedRecords{Source: l.Source, Last: l.Last.In(r.o.facility.Calendar.Zone()), N: l.N, Types: l.Types}
		if v.Was, err = r.person(l.Was); err == nil {
			v.Now, err = r.person(l.Now)
		}
		m.Moved = append(m.Moved, v)
	}
	return err
}

// refusedSources is how many sources have refusals counted: who is refused may
// call themselves anything.
const refusedSources = 1000

// refusals counts, by source, what was refused. It is not stored: of what is
// refused, nothing is.
type refusals struct {
	mu sync.Mutex
	by map[string]int64
}

// refused counts a delivery that was refused for what it says.
func (o *Office) refused(d Delivery, err error) {
	var refusal *Refusal
	if !errors.As(err, &refusal) {
		return
	}
	source := d.Source
	if len(d.Requests) > 0 && d.Requests[0].Resource != nil {
		r := receipt{office: o}
		source = r.sourceOf(&d.Requests[0])
	}
	o.NoteRefused(source)
}

// NoteRefused counts a message that an inlet refused before it came to be a
// delivery; an empty source counts as unnamed.
func (o *Office) NoteRefused(source string) {
	source = cut(cmp.Or(source, unnamed))
	o.refusals.mu.Lock()
	defer o.refusals.mu.Unlock()
	if o.refusals.by == nil {
		o.refusals.by = map[string]int64{}
	}
	if _, known := o.refusals.by[source]; known || len(o.refusals.by) < refusedSources {
		o.refusals.by[source]++
	}
}

// Feeds says of each source, by name, how it stands with it.
func (o *Office) Feeds(ctx context.Context) ([]Feed, error) {
	by := map[string]*Feed{}
	of := func(source string) *Feed {
		if by[source] == nil {
			by[source] = &Feed{Source: source}
		}
		return by[source]
	}
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		held, err := tx.Feeds()
		if err != nil {
			return err
		}
		for _, f := range held {
			*of(f.Source) = Feed{
				Source: f.Source, First: f.First, Last: f.Last, Newest: f.Newest,
				Messages: f.Messages, Superseded: f.Superseded, Conflicts: f.Conflicts, Ahead: f.Ahead,
			}
		}
		for _, source := range o.awaited {
			of(source).Awaited = true
		}
		o.refusals.mu.Lock()
		defer o.refusals.mu.Unlock()
		for source, n := range o.refusals.by {
			of(source).Refused = n
		}
		for _, f := range by {
			since := cmp.Or(f.Last, o.started)
			f.Age = tx.Now.Sub(since)
			f.Silent = o.silent > 0 && f.Age > o.silent && (f.Awaited || !f.Last.IsZero())
		}
		return nil
	})
	out := make([]Feed, 0, len(by))
	for _, f := range by {
		out = append(out, *f)
	}
	slices.SortFunc(out, func(a, b Feed) int { return cmp.Compare(a.Source, b.Source) })
	return out, err
}

package casework

import (
	"cmp"
	"errors"
	"slices"
	"strings"
	"time"

	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// sourceLimit is the longest name of a source that is kept, in bytes.
const sourceLimit = 255

// unnamed is the source of what nothing names one for.
const unnamed = "unnamed"

const (
	noteSuperseded = "superseded: a later message of the same source is held, by the source's own order; this one is kept in the archive and changes nothing"
	noteDeleted    = "deleted: what was sent is what was held, by its source's own order, and was deleted since; it stays deleted"
	noteConflict   = "conflict: another message of the same source and the same order says something else; a person is asked which is right"
)

// place is where what was sent stands in the order of its source.
type place struct {
	source string
	order  store.Order // to be noted, if known
	known  bool
	behind bool   // what is held counts, and not what was sent
	note   string // what the sender should know of it
	replan bool   // a dispute began or ended, or it has an order for the first time
}

// place compares what was sent with what its source sent before. What gives no
// order, or one that cannot be trusted, or gives ours back, counts as it arrives.
func (r *receipt) place(q *Request, cur store.Stored) (place, error) {
	p := place{source: r.sourceOf(q)}
	feed := r.feed(p.source)
	feed.Messages++
	sent, ok := translate.OrderOf(q.Resource)
	if !ok {
		return p, nil
	}
	if sent.Ahead(r.tx.Now) {
		feed.Ahead++
		return p, nil
	}
	held, err := r.tx.OrderOf(p.source, q.Type, cur.ID)
	first := errors.Is(err, store.ErrNotFound)
	if err != nil && !first {
		return p, err
	}
	if ours, err := r.echoes(cur, sent, first); ours || err != nil {
		return p, err
	}
	if sent.At.After(feed.Newest) {
		feed.Newest = sent.At
	}
	if sent.Hash, err = translate.ContentHash(q.Resource); err != nil {
		return p, err
	}
	if first {
		p.order, p.known, p.replan = store.Order(sent), true, cur.Version > 0
		return p, nil
	}
	v := sent.Against(translate.Order(held), q.IfMatch != "", r.tx.Now)
	p.order, p.known, p.behind, p.replan = store.Order(v.Order), v.Noted, v.Behind, v.Dispute
	switch {
	case v.Superseded:
		p.note = noteSuperseded
		feed.Superseded++
	case v.Conflict:
		p.note = noteConflict
		feed.Conflicts++
	}
	return p, nil
}

// echoes reports whether meta is that of a version which we issued: a client
// read the resource, changed it and sends it back. A version alone is ours when
// we issued it and the source (first) has not counted for itself before.
func (r *receipt) echoes(cur store.Stored, sent translate.Order, first bool) (bool, error) {
	ours := sent.Version >= 1 && sent.Version <= cur.Version
	if sent.At.IsZero() {
		return ours && first, nil
	}
	issued := cur
	if ours && sent.Version != cur.Version {
		var err error
		if issued, err = r.tx.Version(cur.Type, cur.ID, sent.Version); err != nil {
			return false, err
		}
	}
	named := ours || sent.Version == translate.NoVersion
	return cur.Version > 0 && named && issued.Updated.Truncate(time.Millisecond).Equal(sent.At), nil
}

// sourceOf names the source of a resource: as it says itself, else the system of
// its identifier.
func (r *receipt) sourceOf(q *Request) string {
	said, _, _ := strings.Cut(q.Resource.String("meta", "source"), "#") // a fragment names the message
	return cut(cmp.Or(said, q.Resource.String("identifier", "system"), unnamed))
}

func cut(s string) string { return strings.ToValidUTF8(s[:min(len(s), sourceLimit)], "") }

// feed is what is counted of a source in this delivery.
func (r *receipt) feed(source string) *store.Feed {
	for n := range r.feeds {
		if r.feeds[n].Source == source {
			return &r.feeds[n]
		}
	}
	r.feeds = append(r.feeds, store.Feed{Source: source})
	return &r.feeds[len(r.feeds)-1]
}

// counted stores what was counted of each source.
func (r *receipt) counted() error {
	for _, f := range r.feeds {
		if err := r.tx.AddFeed(f); err != nil {
			return err
		}
	}
	return nil
}

// ordered notes the place of what is held now, and says whose plans may change by
// a dispute that began or ended, or say that there is an order now.
func (r *receipt) ordered(p place, s store.Stored) ([]string, error) {
	if p.known {
		if err := r.tx.PutOrder(p.source, s.Type, s.ID, p.order); err != nil {
			return nil, err
		}
	}
	switch {
	case !p.replan:
	case s.Type == "Patient":
		return []string{s.Type + "/" + s.ID}, nil
	case slices.Contains(planned, s.Type) && strings.HasPrefix(s.Patient, "Patient/"):
		return []string{s.Patient}, nil
	}
	return nil, nil
}

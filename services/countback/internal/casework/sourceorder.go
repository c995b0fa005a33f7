package casework

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/store"
)

// aheadLimit is how far in the future a source's own time may lie to be trusted
// for order: clocks differ by so much, and not by more.
const aheadLimit = 5 * time.Minute

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
	replan bool   // a dispute began or ended
}

// place compares what was sent with what its source sent before. What gives no
// order, or one that cannot be trusted, or gives ours back, counts as it arrives.
func (r *receipt) place(q *Request, cur store.Stored) (place, error) {
	p := place{source: r.sourceOf(q)}
	feed := r.feed(p.source)
	feed.Messages++
	sent, ok := orderOf(q.Resource)
	if !ok {
		return p, nil
	}
	if sent.At.After(r.tx.Now.Add(aheadLimit)) {
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
	if sent.Hash, err = hashOf(q.Resource); err != nil {
		return p, err
	}
	p.order, p.known = sent, true
	if first {
		return p, nil
	}
	p.against(held, q.IfMatch != "", r.tx.Now)
	switch p.note {
	case noteSuperseded:
		feed.Superseded++
	case noteConflict:
		feed.Conflicts++
	}
	return p, nil
}

// against decides between what was sent and what is held of the same source. An
// edit that names the version that it changes wins in any case.
func (p *place) against(held store.Order, edit bool, now time.Time) {
	c, comparable := compareOrders(p.order, held)
	disputed := !held.Disputed.IsZero()
	switch {
	case !comparable, c > 0:
		p.replan = disputed
	case edit:
		p.order, p.replan = held, disputed
		p.order.Disputed = time.Time{}
	case c < 0:
		p.behind, p.known, p.note = true, false, noteSuperseded
	case bytes.Equal(p.order.Hash, held.Hash): // the same again
		p.behind, p.known = true, false
	default:
		p.note = noteConflict
		wins := bytes.Compare(p.order.Hash, held.Hash) > 0
		if !wins {
			p.order, p.behind = held, true
		}
		if wins || !disputed {
			p.order.Disputed, p.replan = now, true
		}
	}
}

// compareOrders compares by time, then by version; what one of them does not say
// is passed over. The second result is false where nothing is left to compare.
func compareOrders(a, b store.Order) (int, bool) {
	times := !a.At.IsZero() && !b.At.IsZero()
	versions := a.Version != store.NoVersion && b.Version != store.NoVersion
	if times {
		if c := a.At.Compare(b.At); c != 0 || !versions {
			return c, true
		}
	}
	return cmp.Compare(a.Version, b.Version), versions
}

// orderOf reads the order that a source gives: meta.lastUpdated, and
// meta.versionId where it is a number.
func orderOf(res *fhir.Resource) (store.Order, bool) {
	o := store.Order{Version: store.NoVersion}
	if d, err := fhir.ParseInstant(res.String("meta", "lastUpdated")); err == nil {
		if at, ok := d.Instant(); ok {
			o.At = at.UTC().Truncate(time.Microsecond)
		}
	}
	if v, err := strconv.ParseInt(res.String("meta", "versionId"), 10, 64); err == nil && v >= 0 {
		o.Version = v
	}
	return o, !o.At.IsZero() || o.Version != store.NoVersion
}

// echoes reports whether meta is that of a version which we issued: a client
// read the resource, changed it and sends it back. A version alone is ours when
// we issued it and the source (first) has not counted for itself before.
func (r *receipt) echoes(cur store.Stored, sent store.Order, first bool) (bool, error) {
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
	named := ours || sent.Version == store.NoVersion
	return cur.Version > 0 && named && issued.Updated.Truncate(time.Millisecond).Equal(sent.At), nil
}

// hashOf is a digest of what a resource says, beside id and meta, in whatever
// spelling. Entries of one message are named anew each time that it is sent.
func hashOf(res *fhir.Resource) ([]byte, error) {
	raw := res.RewriteReferences(func(ref string) string {
		if strings.HasPrefix(ref, "urn:uuid:") {
			return "urn:uuid:"
		}
		return ref
	})
	content := map[string]any{}
	d := json.NewDecoder(bytes.NewReader(raw))
	d.UseNumber() // as written
	if err := d.Decode(&content); err != nil {
		return nil, errors.New("a resource that was read cannot be read again")
	}
	delete(content, "id")
	delete(content, "meta")
	body, err := json.Marshal(content) // members by name
	if err != nil {
		return nil, errors.New("a resource that was read cannot be written")
	}
	sum := sha256.Sum256(body)
	return sum[:], nil
}

// sourceOf names the source of a resource: as it says itself, else the client
// that sent it, else the system of its identifier, else the one that the office
// was told to take.
func (r *receipt) sourceOf(q *Request) string {
	said, _, _ := strings.Cut(q.Resource.String("meta", "source"), "#") // a fragment names the message
	return cut(cmp.Or(said, r.client, q.Resource.String("identifier", "system"), r.office.source, unnamed))
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

// ordered notes the place of what is held now, and says whose plans a dispute
// that began or ended may change.
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

package translate

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"strconv"
	"strings"
	"time"

	"example.org/countback/pkg/fhir"
)

// aheadLimit is how far in the future a source's own time may lie to be trusted
// for order: clocks differ by so much, and not by more.
const aheadLimit = 5 * time.Minute

// NoVersion stands for a version that a source did not give.
const NoVersion = -1

// Order is where a message stands by the count of its source.
type Order struct {
	At       time.Time // meta.lastUpdated as sent; zero: not said
	Version  int64     // meta.versionId as sent; NoVersion: not said, or no number
	Hash     []byte    // of what was sent, see ContentHash
	Disputed time.Time // since when two messages of this order disagree; zero: they do not
}

// OrderOf reads the order that a source gives a message, without its hash:
// meta.lastUpdated, and meta.versionId where it is a number. The second result is
// false where it gives none.
func OrderOf(res *fhir.Resource) (Order, bool) {
	o := Order{Version: NoVersion}
	if d, err := fhir.ParseInstant(res.String("meta", "lastUpdated")); err == nil {
		if at, ok := d.Instant(); ok {
			o.At = at.UTC().Truncate(time.Microsecond)
		}
	}
	if v, err := strconv.ParseInt(res.String("meta", "versionId"), 10, 64); err == nil && v >= 0 {
		o.Version = v
	}
	return o, !o.At.IsZero() || o.Version != NoVersion
}

// Ahead reports whether the source's time lies too far in the future to be
// trusted.
func (o Order) Ahead(now time.Time) bool { return o.At.After(now.Add(aheadLimit)) }

// compare compares by time, then by version; what one of them does not say is
// passed over. The second result is false where nothing is left to compare.
func (o Order) compare(b Order) (int, bool) {
	versions := o.Version != NoVersion && b.Version != NoVersion
	if !o.At.IsZero() && !b.At.IsZero() {
		if c := o.At.Compare(b.At); c != 0 || !versions {
			return c, true
		}
	}
	return cmp.Compare(o.Version, b.Version), versions
}

// Verdict is what becomes of a message.
type Verdict struct {
	Order      Order // where the source stands afterwards, to be noted
	Noted      bool
	Behind     bool // what is held counts, and not what was sent
	Superseded bool // because what is held is later
	Conflict   bool // both are of one order, and do not agree
	Dispute    bool // one began or ended: a person is asked, or no longer
}

// Against decides between what was sent and what is held of the same source. An
// edit that names the version that it changes wins in any case.
func (o Order) Against(held Order, edit bool, now time.Time) Verdict {
	c, comparable := o.compare(held)
	disputed := !held.Disputed.IsZero()
	switch {
	case !comparable, c > 0:
		return Verdict{Order: o, Noted: true, Dispute: disputed}
	case edit:
		held.Disputed = time.Time{}
		return Verdict{Order: held, Noted: true, Dispute: disputed}
	case c < 0:
		return Verdict{Behind: true, Superseded: true}
	case bytes.Equal(o.Hash, held.Hash): // the same again
		return Verdict{Behind: true}
	}
	v := Verdict{Order: o, Noted: true, Conflict: true}
	wins := bytes.Compare(o.Hash, held.Hash) > 0
	if !wins {
		v.Order, v.Behind = held, true
	}
	if wins || !disputed {
		v.Order.Disputed, v.Dispute = now, true
	}
	return v
}

// ContentHash is a digest of what a resource says, beside id and meta, in
// whatever spelling. Entries of one message are named anew each time that it is
// sent, so their names do not count.
func ContentHash(res *fhir.Resource) ([]byte, error) {
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

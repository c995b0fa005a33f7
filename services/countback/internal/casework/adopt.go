package casework

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"strings"
	"time"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

// NewDefinition is a PlanDefinition that somebody wants to be planned by, or a
// ValueSet for one.
type NewDefinition struct {
	ID, IfMatch                 string // that it is sent to; IfMatch empty: none
	Source, ContentType, Target string
	Body                        []byte // as sent
	Resource                    *fhir.Resource
}

// Adopt stores a new version of the protocol and puts it in force, in one
// transaction: every later one plans by it. Open cases are planned again by
// CatchUp, which Adopted wakes.
//
// It refuses with all that is wrong: a definition with faults, one that no named
// approver signed, a version that is stored with another text, another protocol
// than the one in force. Then nothing is stored. A version that was in force
// before may come back; the one in force, sent again, is no change. The result's
// note tells windows that are empty for some dates.
func (o *Office) Adopt(ctx context.Context, n NewDefinition) (Result, error) {
	out, err := o.adopt(ctx, n)
	for errors.Is(err, errSetsMoved) {
		out, err = o.adopt(ctx, n)
	}
	if err != nil {
		return Result{}, err
	}
	if !out.Changed {
		return out, nil
	}
	select {
	case o.adopted <- struct{}{}:
	default:
	}
	// What is committed stays so. A look fails when the store closes, and then
	// leaves Protocol, which nothing plans by, behind.
	_ = o.look(context.WithoutCancel(ctx))
	return out, nil
}

// errSetsMoved says that a value set was replaced while a definition was judged.
var errSetsMoved = errors.New("value sets changed")

// adopt judges the definition, which takes a while, before it holds up others.
func (o *Office) adopt(ctx context.Context, n NewDefinition) (Result, error) {
	var d *definition
	var faults fhir.Issues
	err := o.db.Read(ctx, func(tx *store.Tx) (err error) {
		d, err = o.judge(tx, n.Resource)
		return err
	})
	if err != nil && !errors.As(err, &faults) {
		return Result{}, err
	}
	var note string
	if d != nil {
		note = strings.Join(d.protocol.Warnings(o.facility.Calendar), "; ")
	}
	var out Result
	err = o.db.Write(ctx, func(tx *store.Tx) error {
		f, err := tx.InForce()
		if err != nil {
			return err
		}
		if out.Stored, err = o.replaced(tx, f, n); err != nil {
			return err
		}
		same, err := o.acceptable(tx, f, d, n.Resource, faults)
		if err != nil {
			return err
		}
		received, err := tx.Archive(store.Received{
			At: tx.Now, Source: n.Source, ContentType: n.ContentType, Method: "PUT", Target: n.Target, Body: n.Body,
		})
		if err != nil || same {
			return err
		}
		if sets, err := tx.CurrentSets(); err != nil || !maps.Equal(sets, d.sets) {
			return errors.Join(err, errSetsMoved)
		}
		if err := o.put(tx, d, received); err != nil {
			return err
		}
		out.Changed, out.Note = true, note
		out.Stored, err = tx.Current(out.Stored.Type, out.Stored.ID)
		return err
	})
	var refused *Refusal
	if err != nil && d != nil && !errors.As(err, &refused) {
		o.know(d.protocol.Canonical(), nil) // it may be known and not stored
	}
	return out, err
}

// look notes which protocol is in force. Of two adoptions at once, either may be
// the first to come here: each looks at what is committed, one after the other.
func (o *Office) look(ctx context.Context) error {
	o.looking.Lock()
	defer o.looking.Unlock()
	return o.db.Read(ctx, func(tx *store.Tx) error {
		p, err := o.inForce(tx)
		if err == nil {
			o.current.Store(p)
		}
		return err
	})
}

// replaced is the definition that a new one is to replace: that of the protocol
// in force.
func (o *Office) replaced(tx *store.Tx, f store.InForce, n NewDefinition) (store.Stored, error) {
	typ, rest, _ := strings.Cut(f.Resource, "/")
	id, _, _ := strings.Cut(rest, "/")
	switch {
	case n.ID != id:
		return store.Stored{}, Refuse(ErrNotAllowed, fhir.CodeNotSupported, typ+".id",
			"there is one protocol here, "+typ+"/"+id+": a new version of it is sent to that address, and no other is added")
	case n.Resource.ID() != id:
		return store.Stored{}, Refuse(ErrMalformed, fhir.CodeInvariant, typ+".id", typ+".id must be the id that the address names")
	}
	cur, err := tx.Current(typ, id)
	if err != nil {
		return cur, err
	}
	if n.IfMatch != "" && strings.TrimSpace(n.IfMatch) != etag(cur.Version) {
		return cur, Refuse(ErrVersion, "conflict", typ, "the "+typ+" has changed since the version named in If-Match: read it again")
	}
	return cur, nil
}

// acceptable refuses what may not be put in force, and reports whether it is in
// force already. d is nil when the definition has faults.
func (o *Office) acceptable(tx *store.Tx, f store.InForce, d *definition, r *fhir.Resource, faults fhir.Issues) (same bool, err error) {
	issues := faults
	if url := r.String("url"); url != "" && url != f.URL {
		issues = append(issues, fhir.Issue{Severity: fhir.SeverityError, Code: fhir.CodeBusinessRule, Expression: "PlanDefinition.url",
			Text: "the url must be that of the protocol in force, " + f.URL})
	}
	if d != nil && len(issues) == 0 {
		same, err := o.sameText(tx, d)
		switch {
		case errors.Is(err, store.ErrNotFound):
		case err != nil:
			return false, err
		case !same:
			return false, Refuse(ErrConflict, "conflict", "PlanDefinition.version",
				"this version is stored with another text: a change needs a new version, as plans name what they were made by")
		case d.protocol.Canonical() == f.Canonical():
			return true, nil
		}
	}
	issues = append(issues, translate.Unapproved(r, o.facility.Today(tx.Now).String())...)
	if len(issues) > 0 {
		return false, &Refusal{Err: ErrInvalid, Issues: issues}
	}
	return false, nil
}

// Adopted is signalled after a protocol was adopted.
func (o *Office) Adopted() <-chan struct{} { return o.adopted }

// Adoption says how far open cases follow the protocol in force.
type Adoption struct {
	Protocol string    // canonical|version
	Since    time.Time // in force
	Adopted  bool      // over FHIR; false: the service was started with it
	Open     int64     // open cases
	Older    int64     // of these, not yet planned by it
}

// Adoption reads how far open cases follow the protocol in force.
func (o *Office) Adoption(ctx context.Context) (Adoption, error) {
	var a Adoption
	err := o.db.Read(ctx, func(tx *store.Tx) error {
		f, err := tx.InForce()
		if err != nil {
			return err
		}
		a = Adoption{Protocol: f.Canonical(), Since: f.Since.In(o.facility.Calendar.Zone()), Adopted: f.ReceivedID > 0}
		a.Open, a.Older, err = tx.OpenCounts(a.Protocol)
		return err
	})
	if err != nil {
		return a, fmt.Errorf("adoption: %w", err)
	}
	return a, nil
}

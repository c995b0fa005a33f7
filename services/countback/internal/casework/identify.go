package casework

import (
	"errors"
	"net/url"
	"slices"
	"strings"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/store"
)

// identify finds or makes the resource that a request means.
func (r *receipt) identify(n int, q *Request) error {
	t, err := r.target(q)
	if err != nil {
		return err
	}
	name := q.Type + "/" + t.current.ID
	if _, twice := r.claimed[name]; twice {
		return q.duplicate()
	}
	r.claimed[name] = n
	if q.FullURL != "" {
		r.refs[q.FullURL] = name
	}
	r.targets[n] = t
	return r.matches(q, t.current)
}

func (q *Request) duplicate() *Refusal {
	return Refuse(ErrInvalid, "duplicate", q.path(""), q.path("")+" means the same "+q.Type+" as another entry; a transaction may change it once")
}

// distinct refuses a delivery that would make one resource twice: a condition
// found nothing that is held, but another entry brings what it looks for, or
// the same new booking is posted again.
func (r *receipt) distinct() error {
	for n := range r.requests {
		q := &r.requests[n]
		if r.targets[n].current.Version > 0 || r.targets[n].matched {
			continue
		}
		for m := range r.requests {
			if o := &r.requests[m]; m != n && o.Type == q.Type && !r.targets[m].matched && q.means(o) {
				return q.duplicate()
			}
		}
	}
	return nil
}

// means reports whether a request that found nothing would find what another
// request sends.
func (q *Request) means(o *Request) bool {
	sent := identifiers(o.Resource)
	switch query := q.Query + q.IfNoneExist; {
	case query != "":
		id, refusal := condition(query, q.Type, "")
		return refusal == nil && slices.Contains(sent, id) || query == o.Query+o.IfNoneExist
	case q.Method == "POST" && slices.Contains(planned, q.Type):
		return len(sent) > 0 && slices.Equal(sent, identifiers(q.Resource))
	}
	return false
}

func (r *receipt) target(q *Request) (target, error) {
	switch {
	case q.Method == "POST" && q.IfNoneExist != "":
		return r.byCondition(q, q.IfNoneExist, true)
	case q.Method == "POST":
		return r.posted(q)
	case q.Query != "":
		return r.byCondition(q, q.Query, false)
	}
	if sent := q.Resource.ID(); sent != q.ID {
		return target{}, Refuse(ErrMalformed, "invariant", q.path("id"), q.path("id")+" must be the id that the request names")
	}
	t, err := r.byID(q.Type, q.ID)
	if err != nil || t.current.Version > 0 {
		return t, err
	}
	// A new id for a booking that is held under another would be a second case.
	held, err := r.twin(q)
	if err == nil && held.Version > 0 {
		err = Refuse(ErrConflict, "duplicate", q.path("identifier"),
			q.path("identifier")+" is that of a "+q.Type+" which is held under another id: update that one, or send PUT "+q.Type+"?identifier=system|value")
	}
	return t, err
}

// byID takes the resource with the id, or makes it: a sender may choose ids.
func (r *receipt) byID(typ, id string) (target, error) {
	cur, err := r.tx.Current(typ, id)
	if errors.Is(err, store.ErrNotFound) {
		return target{current: store.Stored{Type: typ, ID: id}}, nil
	}
	return target{current: cur}, err
}

// posted takes a new id, unless a resource that plans follow from is held
// already with exactly these identifiers.
func (r *receipt) posted(q *Request) (target, error) {
	held, err := r.twin(q)
	if err != nil || held.Version > 0 {
		return target{current: held}, err
	}
	if slices.Contains(planned, q.Type) {
		return r.fresh(q.Type, identifiers(q.Resource)...)
	}
	return r.fresh(q.Type)
}

// fresh is a new resource, or the deleted one that had one of the identifiers.
func (r *receipt) fresh(typ string, ids ...fhir.Identifier) (target, error) {
	gone, err := r.buried(typ, ids...)
	if err != nil || gone.Version > 0 {
		return target{current: gone}, err
	}
	return target{current: store.Stored{Type: typ, ID: r.tx.NewID()}}, nil
}

// twin finds the resource that has exactly the identifiers of the one that was
// sent; Version 0 when there is none, or no plan follows from its type.
func (r *receipt) twin(q *Request) (store.Stored, error) {
	sent := identifiers(q.Resource)
	if len(sent) == 0 || !slices.Contains(planned, q.Type) {
		return store.Stored{}, nil
	}
	ids, err := r.tx.ByIdentifier(q.Type, sent[0].System, sent[0].Value)
	if err != nil {
		return store.Stored{}, err
	}
	for _, id := range ids {
		cur, err := r.tx.Current(q.Type, id)
		if err != nil {
			return store.Stored{}, err
		}
		have, err := r.office.parsed.get(cur)
		if err != nil {
			return store.Stored{}, err
		}
		if slices.Equal(identifiers(have), sent) {
			return cur, nil
		}
	}
	return store.Stored{}, nil
}

// identifiers lists a resource's business identifiers with a system, sorted.
func identifiers(res *fhir.Resource) []fhir.Identifier {
	var out []fhir.Identifier
	for _, id := range res.Get("identifier").Items() {
		if s, v := id.String("system"), id.String("value"); s != "" && v != "" {
			out = append(out, fhir.Identifier{System: s, Value: v})
		}
	}
	slices.SortFunc(out, func(a, b fhir.Identifier) int {
		return strings.Compare(a.System+"|"+a.Value, b.System+"|"+b.Value)
	})
	return out
}

// byCondition follows R4's table for conditional create (keep) and update.
func (r *receipt) byCondition(q *Request, query string, keep bool) (target, error) {
	id, other := condition(query, q.Type, q.path(""))
	ids, err := r.found(q, query)
	if err != nil {
		return target{}, err
	}
	sent := q.Resource.ID()
	switch {
	case len(ids) > 1:
		return target{}, q.several()
	case len(ids) == 1 && !keep && sent != "" && sent != ids[0]:
		return target{}, Refuse(ErrMalformed, "invariant", q.path("id"), q.path("id")+" is not the id of the "+q.Type+" that the condition finds")
	case len(ids) == 1 && keep:
		cur, err := r.tx.Current(q.Type, ids[0])
		return target{current: cur, matched: true}, err
	case other == nil && !carries(q.Resource, query, q.Type):
		return target{}, Refuse(ErrInvalid, "business-rule", q.path("identifier"),
			q.path("identifier")+" must hold the identifier of the condition: otherwise each sending would make another "+q.Type)
	case len(ids) == 1:
		cur, err := r.tx.Current(q.Type, ids[0])
		return target{current: cur}, err
	case (keep || sent == "") && other == nil:
		return r.fresh(q.Type, id)
	case keep || sent == "":
		return r.fresh(q.Type)
	}
	t, err := r.byID(q.Type, sent)
	if err == nil && t.current.Version > 0 {
		return target{}, Refuse(ErrConflict, "conflict", q.path("id"), q.path("id")+" is taken by a "+q.Type+" that the condition does not find")
	}
	return t, err
}

// carries reports whether a resource has the identifier that a condition asks for.
func carries(res *fhir.Resource, query, typ string) bool {
	id, bad := condition(query, typ, typ)
	return bad == nil && slices.Contains(identifiers(res), id)
}

// condition reads identifier=system|value: what a resource is known by, and what
// a reference may name it by.
func condition(query, typ, at string) (fhir.Identifier, *Refusal) {
	values, err := url.ParseQuery(strings.TrimPrefix(query, typ+"?"))
	bad := Refuse(ErrMalformed, "value", at, "a condition on "+typ+" must be exactly identifier=system|value, with a system")
	if err != nil || len(values) != 1 || len(values["identifier"]) != 1 {
		return fhir.Identifier{}, bad
	}
	system, value, found := strings.Cut(values.Get("identifier"), "|")
	if !found || system == "" || value == "" || strings.Contains(value, ",") {
		return fhir.Identifier{}, bad
	}
	return fhir.Identifier{System: system, Value: value}, nil
}

// matches enforces If-Match.
func (r *receipt) matches(q *Request, cur store.Stored) error {
	if q.IfMatch == "" {
		return nil
	}
	if etag(cur.Version) != strings.TrimSpace(q.IfMatch) {
		return Refuse(ErrVersion, "conflict", q.path(""), "the "+q.Type+" has changed since the version named in If-Match")
	}
	return nil
}

// rewrite gives the function that turns references of the message into
// references of ours, after checking that each can be.
func (r *receipt) rewrite(q *Request) (func(string) string, error) {
	resolved := map[string]string{}
	var refusal error
	q.Resource.RewriteReferences(func(ref string) string {
		if to, ok := r.refs[ref]; ok {
			resolved[ref] = to
			return ref
		}
		switch parsed, err := fhir.ParseRef(ref, r.office.facility.Base); {
		case err != nil: // the edge has checked references; anything else stays as sent
		case strings.HasPrefix(parsed.URN, "urn:uuid:") && refusal == nil:
			refusal = Refuse(ErrInvalid, "not-found", q.path(""), q.path("")+" refers to an entry by urn:uuid that is not in this bundle")
		case parsed.Query != "" && refusal == nil:
			resolved[ref], refusal = r.conditional(q, parsed)
		case parsed.IsLocal():
			resolved[ref] = parsed.String()
		}
		return ref
	})
	if refusal != nil {
		return nil, refusal
	}
	return func(ref string) string {
		if to, ok := resolved[ref]; ok {
			return to
		}
		return ref
	}, nil
}

// conditional resolves a reference such as Patient?identifier=system|value,
// which must mean exactly one resource.
func (r *receipt) conditional(q *Request, ref fhir.Ref) (string, error) {
	id, bad := condition(ref.Query, ref.Type, q.path(""))
	if bad != nil {
		return "", bad
	}
	ids, err := r.carriers(ref.Type, id)
	if err != nil {
		return "", err
	}
	if len(ids) != 1 {
		return "", Refuse(ErrVersion, "not-found", q.path(""), q.path("")+" refers to a "+ref.Type+" by identifier, and not exactly one is held")
	}
	return ref.Type + "/" + ids[0], nil
}

// carriers are the resources of a type that carry an identifier once all of
// this delivery is stored, so that the order of its entries means nothing.
func (r *receipt) carriers(typ string, id fhir.Identifier) ([]string, error) {
	ids, err := r.tx.ByIdentifier(typ, id.System, id.Value)
	if err != nil {
		return nil, err
	}
	ids = slices.DeleteFunc(ids, func(held string) bool {
		n, ours := r.claimed[typ+"/"+held]
		return ours && !r.targets[n].matched
	})
	for n := range r.requests {
		q, t := &r.requests[n], r.targets[n]
		if q.Type == typ && !t.matched && slices.Contains(identifiers(q.Resource), id) {
			ids = append(ids, t.current.ID)
		}
	}
	return ids, nil
}

// path names an element of the request's resource as the sender sees it.
func (q *Request) path(element string) string {
	out := q.Type
	if q.At != "" {
		out = q.At + ".resource"
	}
	if element != "" {
		out += "." + element
	}
	return out
}

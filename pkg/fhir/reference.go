package fhir

import (
	"errors"
	"strings"
)

// ErrReference says that a text cannot be a FHIR reference. It never quotes it.
var ErrReference = errors.New("not a FHIR reference")

// Identifier is a business identifier: a system (URI) and a value.
type Identifier struct{ System, Value string }

// Ref is a reference taken apart. Nothing in it has been looked up, and
// nothing ever is fetched: a reference to another server stays opaque.
// Exactly one of these describes the target: Type with ID, Type with Query,
// URN, Contained, Foreign, or none of them when only Identifier or Display
// was given.
type Ref struct {
	Type       string // resource type of a literal or conditional reference
	ID         string // logical id
	Version    string // version id of a version-specific reference
	Query      string // of a conditional reference such as Patient?identifier=s|v
	URN        string // urn:uuid:… or urn:oid:…, resolved inside its bundle only
	Contained  string // id of a contained resource, without '#'
	Container  bool   // the reference "#": the resource that contains this one
	Foreign    string // absolute reference that is not below our own base
	Identifier *Identifier
	Display    string
}

// ParseRef takes a Reference.reference apart. base is the service's own FHIR
// base, without or with a slash at its end; an absolute reference below it
// becomes a local one.
func ParseRef(s, base string) (Ref, error) {
	base = strings.TrimSuffix(base, "/")
	switch {
	case s == "" || strings.ContainsAny(s, " \t\r\n"):
		return Ref{}, ErrReference
	case s == "#":
		return Ref{Container: true}, nil
	case s[0] == '#':
		if !validID(s[1:]) {
			return Ref{}, ErrReference
		}
		return Ref{Contained: s[1:]}, nil
	case strings.HasPrefix(s, "urn:uuid:"):
		if !validUUID(s[len("urn:uuid:"):]) {
			return Ref{}, ErrReference
		}
		return Ref{URN: s}, nil
	case strings.HasPrefix(s, "urn:oid:"):
		if !validOID(s) {
			return Ref{}, ErrReference
		}
		return Ref{URN: s}, nil
	case base != "" && strings.HasPrefix(s, base+"/"):
		return parseRelative(s[len(base)+1:])
	case hasScheme(s):
		return Ref{Foreign: s}, nil
	}
	return parseRelative(s)
}

// hasScheme reports whether s is an absolute URI: a scheme and a colon before
// any '/', '?' or '#'.
func hasScheme(s string) bool {
	i := strings.IndexAny(s, ":/?#")
	if i <= 0 || s[i] != ':' {
		return false
	}
	for j, c := range s[:i] {
		letter := c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z'
		if !letter && (j == 0 || !strings.ContainsRune("0123456789+-.", c)) {
			return false
		}
	}
	return true
}

func parseRelative(s string) (Ref, error) {
	if t, query, found := strings.Cut(s, "?"); found {
		if !IsResourceType(t) || query == "" {
			return Ref{}, ErrReference
		}
		return Ref{Type: t, Query: query}, nil
	}
	parts := strings.Split(s, "/")
	if len(parts) != 2 && len(parts) != 4 {
		return Ref{}, ErrReference
	}
	r := Ref{Type: parts[0], ID: parts[1]}
	if !IsResourceType(r.Type) || !validID(r.ID) {
		return Ref{}, ErrReference
	}
	if len(parts) == 4 {
		if parts[2] != "_history" || !validID(parts[3]) {
			return Ref{}, ErrReference
		}
		r.Version = parts[3]
	}
	return r, nil
}

// RefOf reads a Reference element with its identifier and display. The zero
// Ref, without an error, stands for an absent element.
func RefOf(n *Node, base string) (Ref, error) {
	var r Ref
	if s := n.String("reference"); s != "" {
		var err error
		if r, err = ParseRef(s, base); err != nil {
			return Ref{}, err
		}
	}
	if id := n.Get("identifier"); id.Exists() {
		r.Identifier = &Identifier{System: id.String("system"), Value: id.String("value")}
	}
	r.Display = n.String("display")
	return r, nil
}

// IsLocal reports whether the reference names a resource of this service by
// type and id.
func (r Ref) IsLocal() bool { return r.Type != "" && r.ID != "" }

// IsZero reports whether nothing was given.
func (r Ref) IsZero() bool { return r == Ref{} }

// Unversioned is the same reference without a version.
func (r Ref) Unversioned() Ref {
	r.Version = ""
	return r
}

// String is the reference as it is written in Reference.reference; empty when
// only an identifier or a display was given.
func (r Ref) String() string {
	switch {
	case r.Type != "" && r.Query != "":
		return r.Type + "?" + r.Query
	case r.IsLocal() && r.Version != "":
		return r.Type + "/" + r.ID + "/_history/" + r.Version
	case r.IsLocal():
		return r.Type + "/" + r.ID
	case r.Contained != "":
		return "#" + r.Contained
	case r.Container:
		return "#"
	case r.URN != "":
		return r.URN
	}
	return r.Foreign
}

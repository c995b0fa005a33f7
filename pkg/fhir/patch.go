package fhir

import (
	"encoding/json"
	"slices"
	"strings"
	"time"
)

// Patch is what the service itself changes in a received resource.
type Patch struct {
	ID          string    // new logical id; empty leaves it
	VersionID   string    // new meta.versionId; empty leaves it
	LastUpdated time.Time // new meta.lastUpdated, written in its own zone; zero leaves it
	// Reference maps each Reference.reference, and each urn:uuid and urn:oid in
	// an element of type uri, url, oid or uuid; canonical stays. nil leaves all.
	Reference func(ref string) string
}

// edit replaces the bytes [from, to) of the resource.
type edit struct {
	from, to int
	text     string
}

// Apply returns the received bytes with the patch in place and everything else
// as it was, byte for byte. The resource itself is unchanged.
func (r *Resource) Apply(p Patch) []byte {
	var edits []edit
	edits = r.metaEdits(edits, p)
	if p.Reference != nil {
		edits = r.referenceEdits(edits, r.tree, p.Reference)
	}
	slices.SortStableFunc(edits, func(a, b edit) int { return a.from - b.from })
	size := len(r.Raw)
	for _, e := range edits {
		size += len(e.text)
	}
	out := make([]byte, 0, size)
	at := 0
	for _, e := range edits {
		out = append(out, r.Raw[at:e.from-r.base]...)
		out = append(out, e.text...)
		at = e.to - r.base
	}
	return append(out, r.Raw[at:]...)
}

// WithMeta returns the received bytes with id, meta.versionId and
// meta.lastUpdated set. All else is kept, also the rest of meta.
func (r *Resource) WithMeta(id, versionID string, lastUpdated time.Time) []byte {
	return r.Apply(Patch{ID: id, VersionID: versionID, LastUpdated: lastUpdated})
}

// RewriteReferences returns the received bytes with references mapped, see
// [Patch.Reference].
func (r *Resource) RewriteReferences(f func(ref string) string) []byte {
	return r.Apply(Patch{Reference: f})
}

// metaEdits inserts what is missing right after resourceType, in the order
// that R4 lists the elements.
func (r *Resource) metaEdits(edits []edit, p Patch) []edit {
	after := r.tree.member("resourceType").end
	insert := ""
	if p.ID != "" {
		if id := r.tree.member("id"); id != nil {
			edits = append(edits, edit{id.start, id.end, jsonString(p.ID)})
		} else {
			insert = `,"id":` + jsonString(p.ID)
		}
	}
	meta := r.tree.member("meta")
	inside := "" // of meta, what it lacks
	set := func(name, value string) {
		if value == "" {
			return
		}
		if old := meta.member(name); old != nil {
			edits = append(edits, edit{old.start, old.end, jsonString(value)})
			return
		}
		inside += `"` + name + `":` + jsonString(value) + ","
	}
	set("versionId", p.VersionID)
	if !p.LastUpdated.IsZero() {
		set("lastUpdated", FormatInstant(p.LastUpdated))
	}
	switch {
	case inside == "":
	case meta == nil:
		insert += `,"meta":{` + strings.TrimSuffix(inside, ",") + "}"
	default:
		edits = append(edits, edit{meta.start + 1, meta.start + 1, inside})
	}
	if insert != "" {
		edits = append(edits, edit{after, after, insert})
	}
	return edits
}

func (r *Resource) referenceEdits(edits []edit, n *Node, f func(string) string) []edit {
	for c := n.first; c != nil; c = c.next {
		urn := c.role == roleURI && (strings.HasPrefix(c.text, "urn:uuid:") || strings.HasPrefix(c.text, "urn:oid:"))
		if urn || c.role == roleReference && c.kind == String {
			if to := f(c.text); to != c.text {
				edits = append(edits, edit{c.start, c.end, jsonString(to)})
			}
			continue
		}
		edits = r.referenceEdits(edits, c, f)
	}
	return edits
}

func jsonString(s string) string {
	b, err := json.Marshal(s)
	if err != nil { // a string always encodes
		panic("fhir: encode string: " + err.Error())
	}
	return string(b)
}

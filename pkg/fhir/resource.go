package fhir

import (
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"reflect"
)

// ErrWrongType says that a resource was to be decoded into a struct of another
// resource type.
var ErrWrongType = errors.New("resource is of another type")

// Resource is a resource that passed [Parse]: its type, the bytes exactly as
// received, and the tree over them.
type Resource struct {
	Type string
	// Raw is exactly what was received, or for a bundle entry the part of the
	// bundle that holds the resource. It must not be modified.
	Raw json.RawMessage

	tree    *Node
	base    int // offset of Raw in the parsed body, which node spans count from
	entries map[int]Issues
}

// Root is the tree of the whole resource.
func (r *Resource) Root() *Node { return r.tree }

// Get follows member names from the resource, see [Node.Get].
func (r *Resource) Get(path ...string) *Node { return r.tree.Get(path...) }

// String is the text of the primitive at the path, see [Node.String].
func (r *Resource) String(path ...string) string { return r.tree.String(path...) }

// ID is the logical id as sent; empty when there is none.
func (r *Resource) ID() string { return r.tree.String("id") }

// Bytes are the received bytes of one value of this resource. They must not be
// modified; nil when the node is nil or not of this resource.
func (r *Resource) Bytes(n *Node) json.RawMessage {
	if n == nil || n.start < r.base || n.end-r.base > len(r.Raw) {
		return nil
	}
	return r.Raw[n.start-r.base : n.end-r.base]
}

// Decode fills a samply struct, or one of this package's own types, of the
// resource's type. Decimals keep their text (json.Number). Contained resources
// and extensions on primitives are not in the structs: read them with Get.
func (r *Resource) Decode(into any) error {
	t := reflect.TypeOf(into)
	if t == nil || t.Kind() != reflect.Pointer || t.Elem().Name() != r.Type {
		return fmt.Errorf("decode %s into %T: %w", r.Type, into, ErrWrongType)
	}
	if err := json.Unmarshal(r.Raw, into); err != nil {
		// The text of err may quote a value; only its place is safe to repeat.
		return fmt.Errorf("decode %s: %w", r.Type, errUndecodable)
	}
	return nil
}

var errUndecodable = errors.New("content does not fit the struct")

// Contained is the contained resource with the id, given without '#'; nil when
// there is none. Its Raw is the part of the container that holds it.
func (r *Resource) Contained(id string) *Resource {
	for _, n := range r.tree.Get("contained").Items() {
		if n.String("id") == id && id != "" {
			return r.inner(n)
		}
	}
	return nil
}

// inner is a resource that lies inside r.
func (r *Resource) inner(n *Node) *Resource {
	return &Resource{Type: n.String("resourceType"), Raw: r.Bytes(n), tree: n, base: n.start}
}

// LogValue keeps the content of a resource out of logs.
func (r *Resource) LogValue() slog.Value {
	if r == nil {
		return slog.StringValue("none")
	}
	return slog.StringValue(r.Type)
}

package fhir

import (
	"iter"
	"strconv"
)

// Kind is the JSON kind of a [Node].
type Kind uint8

// The JSON kinds. Absent is the kind of a nil Node.
const (
	Absent Kind = iota
	Null
	Bool
	Number
	String
	Array
	Object
)

// role marks what R4 says about a value, for passes over the tree that need it.
type role uint8

const (
	roleNone      role = iota
	roleReference      // Reference.reference
	roleURI            // uri, url, oid, uuid; not canonical
)

// Node is one value of a received resource: an object with its members in
// the order they were sent, an array, or a primitive. Numbers keep their text.
// All methods work on a nil Node, which stands for an absent element, so that
// a path needs no checks on its way. Nodes are read-only.
type Node struct {
	name        string // member name; empty in arrays and at the root
	text        string // decoded string, text of a number, true or false
	first, last *Node
	next        *Node
	count       int
	start, end  int // byte span of the value in the parsed body
	kind        Kind
	role        role
}

// Kind is the JSON kind; Absent for a nil Node.
func (n *Node) Kind() Kind {
	if n == nil {
		return Absent
	}
	return n.kind
}

// Exists reports whether the element was sent with a value.
func (n *Node) Exists() bool { return n.Kind() > Null }

// Name is the member name the value was sent under; empty inside arrays.
func (n *Node) Name() string {
	if n == nil {
		return ""
	}
	return n.name
}

// Len is the number of members or array items.
func (n *Node) Len() int {
	if n == nil {
		return 0
	}
	return n.count
}

// Text is a string's value, a number's text as sent, "true" or "false"; empty
// for anything else.
func (n *Node) Text() string {
	if n == nil {
		return ""
	}
	return n.text
}

// Get follows member names from n. Where a name meets an array, its first item
// is taken; range over [Node.Items] to see all of them.
func (n *Node) Get(path ...string) *Node {
	for _, name := range path {
		if n.Kind() == Array {
			n = n.first
		}
		n = n.member(name)
	}
	return n
}

func (n *Node) member(name string) *Node {
	if n.Kind() != Object {
		return nil
	}
	for c := n.first; c != nil; c = c.next {
		if c.name == name {
			return c
		}
	}
	return nil
}

// String is the text of the primitive at the path; empty when absent. An array
// at its end gives its first item.
func (n *Node) String(path ...string) string {
	n = n.Get(path...)
	if n.Kind() == Array {
		n = n.first
	}
	return n.Text()
}

// Bool is the value of a boolean; false when absent or of another kind.
func (n *Node) Bool() bool { return n.Kind() == Bool && n.text == "true" }

// Int is the value of a whole number; ok is false for anything else.
func (n *Node) Int() (v int, ok bool) {
	if n.Kind() != Number {
		return 0, false
	}
	v, err := strconv.Atoi(n.text)
	return v, err == nil
}

// Items ranges over the items of an array. Any other value that exists counts
// as one item, so that single and repeated elements read alike.
func (n *Node) Items() iter.Seq2[int, *Node] {
	return func(yield func(int, *Node) bool) {
		if n.Kind() != Array {
			if n.Exists() {
				yield(0, n)
			}
			return
		}
		i := 0
		for c := n.first; c != nil; c = c.next {
			if !yield(i, c) {
				return
			}
			i++
		}
	}
}

// Members ranges over the members of an object in the order they were sent.
func (n *Node) Members() iter.Seq2[string, *Node] {
	return func(yield func(string, *Node) bool) {
		if n.Kind() != Object {
			return
		}
		for c := n.first; c != nil; c = c.next {
			if !yield(c.name, c) {
				return
			}
		}
	}
}

// Item is the i-th item of an array, counted from 0; nil when there is none.
func (n *Node) Item(i int) *Node {
	if n.Kind() != Array || i < 0 {
		return nil
	}
	c := n.first
	for ; c != nil && i > 0; i-- {
		c = c.next
	}
	return c
}

// Equal reports whether two trees hold the same values in the same order,
// numbers compared by their text. Where they lie in the bytes does not matter.
func (n *Node) Equal(o *Node) bool {
	if n.Kind() != o.Kind() || n.Len() != o.Len() {
		return false
	}
	if n == nil {
		return true
	}
	if n.text != o.text {
		return false
	}
	for a, b := n.first, o.first; a != nil; a, b = a.next, b.next {
		if a.name != b.name || !a.Equal(b) {
			return false
		}
	}
	return true
}

// after is the next item of the same array; nil after the last one.
func (n *Node) after() *Node {
	if n == nil {
		return nil
	}
	return n.next
}

func (n *Node) append(c *Node) {
	if n.last == nil {
		n.first = c
	} else {
		n.last.next = c
	}
	n.last = c
	n.count++
}

// arena hands out nodes from chunks: one allocation for many nodes.
type arena struct{ free []Node }

func (a *arena) node() *Node {
	if len(a.free) == 0 {
		a.free = make([]Node, 64)
	}
	n := &a.free[0]
	a.free = a.free[1:]
	return n
}

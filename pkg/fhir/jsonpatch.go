package fhir

import (
	"fmt"
	"math/big"
	"slices"
	"strconv"
	"strings"
)

// Limits of one JSON Patch.
const (
	maxPatchOps    = 1000
	maxPatchGrowth = 4 * MaxResourceBytes // bytes that copies may add
)

// JSONPatch is a list of changes to a resource.
//
// Source: RFC 6902 (JSON Patch), RFC 6901 (JSON Pointer).
type JSONPatch struct {
	src []byte
	ops []patchOp
}

type patchOp struct {
	op         string
	path, from []string // pointers, as tokens
	value      *Node
	sent       string // the path as sent, for the sender only
}

// ParseJSONPatch reads a patch, as strictly as [Parse] reads a resource. limit
// is the greatest size in bytes; 0 means [MaxResourceBytes].
func ParseJSONPatch(body []byte, limit int) (*JSONPatch, Issues) {
	if limit <= 0 {
		limit = MaxResourceBytes
	}
	if len(body) > limit {
		return nil, Issues{{Severity: SeverityError, Code: CodeTooLong,
			Text: fmt.Sprintf("the body is larger than the %d bytes that are allowed here", limit)}}
	}
	root, issue := readValue(body)
	if issue != nil {
		return nil, Issues{*issue}
	}
	p := &JSONPatch{src: body}
	switch {
	case root.kind != Array:
		return nil, patchIssue(-1, CodeStructure, "a JSON Patch is an array of operations", "")
	case root.Len() > maxPatchOps:
		return nil, patchIssue(-1, CodeTooCostly, fmt.Sprintf("a patch may have %d operations", maxPatchOps), "")
	}
	for n, item := range root.Items() {
		op, issues := readOp(n, item)
		if len(issues) > 0 {
			return nil, issues
		}
		p.ops = append(p.ops, op)
	}
	return p, nil
}

// patchIssue names an operation by its number, counted from 0 as sent.
func patchIssue(n int, code, text, diagnostics string) Issues {
	if n >= 0 {
		text = fmt.Sprintf("operation %d of the patch: %s", n, text)
	}
	return Issues{{Severity: SeverityError, Code: code, Text: text, Diagnostics: diagnostics}}
}

func readOp(n int, item *Node) (patchOp, Issues) {
	op := patchOp{op: item.String("op"), value: item.member("value"), sent: item.String("path")}
	needsFrom := op.op == "move" || op.op == "copy"
	needsValue := op.op == "add" || op.op == "replace" || op.op == "test"
	bad := func(text string) (patchOp, Issues) { return op, patchIssue(n, CodeStructure, text, op.sent) }
	switch {
	case item.kind != Object:
		return bad("is no JSON object")
	case !needsFrom && !needsValue && op.op != "remove":
		return bad("op is add, remove, replace, move, copy or test")
	case item.member("path").Kind() != String:
		return bad("path is missing: a JSON Pointer such as /status")
	case needsValue && op.value == nil:
		return bad("value is missing")
	case needsFrom && item.member("from").Kind() != String:
		return bad("from is missing: a JSON Pointer")
	}
	var ok bool
	if op.path, ok = pointer(op.sent); !ok {
		return bad("path is no JSON Pointer: it begins with / and escapes ~ as ~0 and / as ~1")
	}
	if !needsFrom {
		return op, nil
	}
	if op.from, ok = pointer(item.String("from")); !ok {
		return bad("from is no JSON Pointer")
	}
	if op.op == "move" && len(op.path) > len(op.from) && slices.Equal(op.from, op.path[:len(op.from)]) {
		return bad("a value cannot be moved into itself")
	}
	return op, nil
}

// pointer takes a JSON Pointer apart.
func pointer(s string) ([]string, bool) {
	if s == "" {
		return nil, true
	}
	if s[0] != '/' {
		return nil, false
	}
	parts := strings.Split(s[1:], "/")
	for n, part := range parts {
		for rest := part; ; {
			i := strings.IndexByte(rest, '~')
			if i < 0 {
				break
			}
			if i+1 == len(rest) || rest[i+1] != '0' && rest[i+1] != '1' {
				return nil, false
			}
			rest = rest[i+2:]
		}
		parts[n] = strings.ReplaceAll(strings.ReplaceAll(part, "~1", "/"), "~0", "~")
	}
	return parts, true
}

// Apply gives the resource with the patch carried out. Text of numbers and the
// order of members stay. The result has to be parsed again: a patch may make
// anything of a resource. The issues say which operation cannot be carried out;
// then there is no result.
func (p *JSONPatch) Apply(r *Resource) ([]byte, Issues) {
	d := patching{root: fluidOf(r.tree, r.Raw, r.base)}
	for n, op := range p.ops {
		var value *fluid
		if op.value != nil {
			value = fluidOf(op.value, p.src, 0)
		}
		if text := d.apply(op, value); text != "" {
			code := CodeBusinessRule
			if d.grown > maxPatchGrowth {
				code = CodeTooCostly
			}
			return nil, patchIssue(n, code, text, op.sent)
		}
	}
	return d.root.append(nil), nil
}

// fluid is a JSON value that can be changed.
type fluid struct {
	kind  Kind
	raw   string // of a scalar, as sent
	node  *Node  // of a scalar, for comparing
	names []string
	kids  []*fluid
}

func fluidOf(n *Node, src []byte, base int) *fluid {
	f := &fluid{kind: n.kind, node: n}
	if n.kind != Object && n.kind != Array {
		f.raw = string(src[n.start-base : n.end-base])
	}
	for c := n.first; c != nil; c = c.next {
		f.names = append(f.names, c.name)
		f.kids = append(f.kids, fluidOf(c, src, base))
	}
	return f
}

func (f *fluid) append(out []byte) []byte {
	open, end := byte('{'), byte('}')
	switch f.kind {
	case Array:
		open, end = '[', ']'
	case Object:
	default:
		return append(out, f.raw...)
	}
	out = append(out, open)
	for n, kid := range f.kids {
		if n > 0 {
			out = append(out, ',')
		}
		if f.kind == Object {
			out = append(append(out, jsonString(f.names[n])...), ':')
		}
		out = kid.append(out)
	}
	return append(out, end)
}

func (f *fluid) clone() *fluid {
	c := &fluid{kind: f.kind, raw: f.raw, node: f.node, names: slices.Clone(f.names), kids: make([]*fluid, len(f.kids))}
	for n, kid := range f.kids {
		c.kids[n] = kid.clone()
	}
	return c
}

// equal compares as RFC 6902, 4.6 says: objects whatever their order, numbers
// by value.
func (f *fluid) equal(o *fluid) bool {
	if f.kind != o.kind || len(f.kids) != len(o.kids) {
		return false
	}
	switch f.kind {
	case Object:
		for n, name := range f.names {
			m := slices.Index(o.names, name)
			if m < 0 || !f.kids[n].equal(o.kids[m]) {
				return false
			}
		}
		return true
	case Array:
		return slices.EqualFunc(f.kids, o.kids, (*fluid).equal)
	case Number:
		return sameNumber(f.node.text, o.node.text)
	}
	return f.node.text == o.node.text
}

// longestNumber bounds what is reckoned with: an exponent of a billion is text
// of a few bytes.
const longestNumber = 40

func sameNumber(a, b string) bool {
	if a == b || len(a) > longestNumber || len(b) > longestNumber {
		return a == b
	}
	for _, s := range []string{a, b} {
		if i := strings.IndexAny(s, "eE"); i >= 0 && len(s)-i > 4 {
			return false
		}
	}
	x, okX := new(big.Rat).SetString(a)
	y, okY := new(big.Rat).SetString(b)
	return okX && okY && x.Cmp(y) == 0
}

// patching is a resource while a patch is carried out.
type patching struct {
	root  *fluid
	grown int
}

const noPlace = "there is nothing at its path"

// apply carries one operation out, or says why it cannot.
func (d *patching) apply(op patchOp, value *fluid) string {
	switch op.op {
	case "move", "copy":
		from := d.at(op.from)
		if from == nil {
			return "there is nothing at its from"
		}
		value = from
		if op.op == "copy" {
			if d.grown += len(from.append(nil)); d.grown > maxPatchGrowth {
				return "copies too much"
			}
			value = from.clone()
		} else if text := d.remove(op.from); text != "" {
			return text
		}
		return d.add(op.path, value)
	case "add":
		return d.add(op.path, value)
	case "remove":
		return d.remove(op.path)
	}
	there := d.at(op.path)
	switch {
	case there == nil:
		return noPlace
	case op.op == "replace":
		*there = *value
	case !there.equal(value):
		return "the test failed: the value is another one"
	}
	return ""
}

// at follows a pointer; nil when there is nothing.
func (d *patching) at(path []string) *fluid {
	f := d.root
	for _, token := range path {
		n := f.find(token)
		if n < 0 {
			return nil
		}
		f = f.kids[n]
	}
	return f
}

// find is the number of a member or an item; -1 when there is none.
func (f *fluid) find(token string) int {
	switch f.kind {
	case Object:
		return slices.Index(f.names, token)
	case Array:
		if n, ok := arrayIndex(token); ok && n < len(f.kids) {
			return n
		}
	}
	return -1
}

func arrayIndex(token string) (int, bool) {
	n, err := strconv.Atoi(token)
	return n, err == nil && n >= 0 && strconv.Itoa(n) == token
}

func (d *patching) remove(path []string) string {
	if len(path) == 0 {
		return "the whole resource cannot be removed"
	}
	in := d.at(path[:len(path)-1])
	if in == nil {
		return noPlace
	}
	n := in.find(path[len(path)-1])
	if n < 0 {
		return noPlace
	}
	in.names, in.kids = slices.Delete(in.names, n, n+1), slices.Delete(in.kids, n, n+1)
	return ""
}

func (d *patching) add(path []string, value *fluid) string {
	if len(path) == 0 {
		d.root = value
		return ""
	}
	in, last := d.at(path[:len(path)-1]), path[len(path)-1]
	switch {
	case in == nil:
		return "there is nothing to add to"
	case in.kind == Object:
		if n := in.find(last); n >= 0 {
			in.kids[n] = value
			return ""
		}
		in.names, in.kids = append(in.names, last), append(in.kids, value)
		return ""
	case in.kind != Array:
		return "there is no object or array to add to"
	}
	n, ok := arrayIndex(last)
	if last == "-" {
		n, ok = len(in.kids), true
	}
	if !ok || n > len(in.kids) {
		return "the array has no such place"
	}
	in.names, in.kids = slices.Insert(in.names, n, ""), slices.Insert(in.kids, n, value)
	return ""
}

package fhir

import (
	"fmt"
	"strconv"
	"strings"
)

// maxIssues is how many issues a body, or an entry of a bundle, may collect
// before the rest is left out: enough to repair it, not enough to flood.
const maxIssues = 50

// segment is one step of the path to the element being looked at.
type segment struct {
	name  string
	index int // in a list, else -1
}

// scope is a resource with the resources it contains, where "#id" is looked up.
type scope struct {
	contained map[string]bool
	inside    bool // the walk is inside a contained resource
}

// walker is pass 2: it compares the tree with the element tables and collects
// what is wrong.
type walker struct {
	path   []segment
	issues []located
	scope  *scope
	root   *Node
	bundle bool
	room   int // issues that the current entry may still add
	entry  int
}

// located is an issue with the bundle entry it lies in, or -1.
type located struct {
	Issue
	entry int
}

func (w *walker) top(root *Node) {
	w.root, w.room, w.entry = root, maxIssues, -1
	w.bundle = root.String("resourceType") == "Bundle"
	if w.bundle && root.member("entry").Len() > MaxEntries {
		w.reportAt("Bundle.entry", CodeTooCostly, fmt.Sprintf("the bundle has more than the %d entries that are allowed", MaxEntries), "")
		return
	}
	w.resource(root, false)
}

// batch reports whether the entries of this body stand alone.
func (w *walker) batch() bool { return w.bundle && w.root.String("type") == "batch" }

func (w *walker) all() Issues {
	out := make(Issues, 0, len(w.issues))
	for _, i := range w.issues[:min(len(w.issues), 2*maxIssues)] {
		out = append(out, i.Issue)
	}
	return out
}

func (w *walker) split() (global Issues, entries map[int]Issues) {
	entries = map[int]Issues{}
	for _, i := range w.issues {
		if i.entry < 0 {
			global = append(global, i.Issue)
		} else {
			entries[i.entry] = append(entries[i.entry], i.Issue)
		}
	}
	return global, entries
}

func (w *walker) push(name string) { w.path = append(w.path, segment{name, -1}) }

// index sets the list index of the current element.
func (w *walker) index(i int) { w.path[len(w.path)-1].index = i }
func (w *walker) pop()        { w.path = w.path[:len(w.path)-1] }

// here is the FHIRPath of the current element.
func (w *walker) here() string {
	var b strings.Builder
	for i, s := range w.path {
		if i > 0 {
			b.WriteByte('.')
		}
		b.WriteString(s.name)
		if s.index >= 0 {
			b.WriteByte('[')
			b.WriteString(strconv.Itoa(s.index))
			b.WriteByte(']')
		}
	}
	return b.String()
}

// report adds an issue at the current element. text must hold nothing that
// was sent; what was sent, if it helps, goes to diagnostics.
func (w *walker) report(code, text, diagnostics string) {
	w.reportAt(w.here(), code, text, diagnostics)
}

// entryHere is the bundle entry that the walk is in, or -1.
func (w *walker) entryHere() int {
	if w.bundle && len(w.path) > 1 && w.path[1].name == "entry" {
		return w.path[1].index
	}
	return -1
}

// full reports whether nothing more would be reported from here.
func (w *walker) full() bool { return w.room <= 0 && w.entry == w.entryHere() }

func (w *walker) reportAt(expression, code, text, diagnostics string) {
	entry := w.entryHere()
	if entry != w.entry {
		w.entry, w.room = entry, maxIssues
	}
	if w.room <= 0 {
		return
	}
	w.room--
	if w.room == 0 {
		text, diagnostics = text+" (and more: further issues are left out)", ""
	}
	w.issues = append(w.issues, located{Issue{Severity: SeverityError, Code: code, Expression: expression, Text: text, Diagnostics: clip(diagnostics)}, entry})
}

// clip keeps quoted values short.
func clip(s string) string {
	const most = 200
	if len(s) <= most {
		return s
	}
	return strings.ToValidUTF8(s[:most], "") + " …"
}

// resource walks a resource: the body itself, one in an entry, or a contained
// one.
func (w *walker) resource(n *Node, contained bool) {
	if n.kind != Object {
		w.report(CodeStructure, w.hereOr("the body")+" must be a resource: a JSON object { … }", "")
		return
	}
	t := n.member("resourceType")
	if t == nil || t.kind != String {
		w.report(CodeRequired, "resourceType is missing: it says which kind of FHIR resource this is, for example Appointment", "")
		return
	}
	s := structureOf(t.text)
	if s == nil {
		w.report(CodeNotSupported, "resourceType is not one of the resource types of FHIR R4; they are spelt exactly, also in upper and lower case", quote(t.text))
		return
	}
	root := len(w.path) == 0
	if root {
		w.push(s.name)
	}
	outer := w.scope
	if !contained {
		w.scope = &scope{contained: map[string]bool{}}
		w.gather(n)
	}
	w.object(n, s)
	w.scope = outer
	if root {
		w.pop()
	}
}

// gather notes the ids of the contained resources, each of which may occur
// once.
func (w *walker) gather(n *Node) {
	for i, c := range n.member("contained").Items() {
		id := c.String("id")
		if id == "" {
			continue
		}
		if w.scope.contained[id] {
			w.reportAt(w.here()+".contained["+strconv.Itoa(i)+"].id", CodeDuplicate,
				"two contained resources have the same id: a reference to it would be ambiguous", quote(id))
		}
		w.scope.contained[id] = true
	}
}

// object walks the members of a structure.
func (w *walker) object(n *Node, s *structure) {
	if n.kind != Object {
		w.report(CodeStructure, w.here()+" must be an object { … }, not "+kindWord(n.kind), "")
		return
	}
	if n.count == 0 {
		w.report(CodeStructure, w.here()+" is empty: leave an element without content out", "")
		return
	}
	var chosen [8]int8
	for c := n.first; c != nil; c = c.next {
		if s.resource && c.name == "resourceType" {
			continue
		}
		name, sibling := strings.CutPrefix(c.name, "_")
		el := s.elements[name]
		if el == nil || sibling && el.prim == primNone {
			w.unknown(c.name, s)
			continue
		}
		w.push(el.name)
		if sibling {
			w.sibling(c, n.member(name), el)
		} else {
			w.element(c, n, el)
		}
		w.pop()
		if el.choice != nil && (!sibling || n.member(name) == nil) {
			chosen[el.choice.index]++
		}
	}
	w.missing(n, s, &chosen)
	if rule := invariants[s.name]; rule != nil {
		rule(w, n)
	}
}

func (w *walker) unknown(name string, s *structure) {
	if w.full() {
		return
	}
	text := w.here() + " has no element of the name that was sent"
	for known := range s.elements {
		if strings.EqualFold(known, strings.TrimPrefix(name, "_")) {
			text += fmt.Sprintf(": did you mean %q? FHIR element names are exact, also in upper and lower case", known)
		}
	}
	if s.resource && strings.EqualFold(name, "resourceType") {
		text += `: did you mean "resourceType"? FHIR element names are exact, also in upper and lower case`
	}
	w.report(CodeStructure, text, "unknown element "+quote(name))
}

// missing reports required elements and choices that were not sent, and
// choices of which more than one alternative was.
func (w *walker) missing(n *Node, s *structure, chosen *[8]int8) {
	for _, el := range s.required {
		if n.member(el.name) != nil {
			continue
		}
		// An extension may stand for a missing value, but not for a code that
		// decides what the resource means.
		if el.prim != primNone && el.codes == nil && n.member("_"+el.name) != nil {
			continue
		}
		text := w.here() + "." + el.name + " is missing: it is required"
		if el.codes != nil {
			text += ", one of " + codeList(el.codes)
		}
		w.reportAt(w.here()+"."+el.name, CodeRequired, text, "")
	}
	for _, c := range s.choices {
		at := w.here() + "." + c.base
		switch {
		case chosen[c.index] > 1:
			w.reportAt(at, CodeStructure, at+"[x] was sent more than once: choose one of "+codeList(c.members), "")
		case chosen[c.index] == 0 && c.required:
			w.reportAt(at, CodeRequired, at+"[x] is missing: one of "+codeList(c.members)+" is required", "")
		}
	}
}

// element walks one member: a single value or a list.
func (w *walker) element(c, parent *Node, el *element) {
	switch {
	case !el.list && c.kind == Array:
		w.report(CodeStructure, w.here()+" takes one value, not a list [ … ]", "")
	case !el.list:
		w.value(c, el)
	case c.kind != Array:
		w.report(CodeStructure, w.here()+" takes a list [ … ], not "+kindWord(c.kind), "")
	case c.count == 0:
		w.report(CodeStructure, w.here()+" is an empty list: leave an element without content out", "")
	default:
		w.list(c, parent, el)
	}
}

func (w *walker) list(c, parent *Node, el *element) {
	i := 0
	beside := parent.member("_" + el.name).Item(0) // walked along: nulls may be many
	for item := c.first; item != nil; item = item.next {
		w.index(i)
		switch {
		case item.kind != Null || el.prim == primNone:
			w.value(item, el)
		case el.codes != nil || beside.Kind() != Object:
			w.report(CodeStructure, w.here()+" is null: in a list of values null may only stand where an extension takes its place", "")
		}
		beside = beside.after()
		i++
	}
	w.index(-1)
}

func (w *walker) value(n *Node, el *element) {
	switch {
	case w.full():
	case n.kind == Null:
		w.report(CodeStructure, w.here()+" is null: leave an element without content out", "")
	case el.prim != primNone:
		w.primitive(n, el)
	case !el.resource:
		w.object(n, el.of)
	case el.name != "contained":
		w.resource(n, false)
	case w.scope.inside:
		w.report(CodeStructure, w.here()+" lies in a resource that is itself contained: contained resources do not nest", "")
	default:
		w.scope.inside = true
		w.resource(n, true)
		w.scope.inside = false
	}
}

func (w *walker) primitive(n *Node, el *element) {
	if want := el.prim.jsonKind(); n.kind != want {
		w.report(CodeStructure, fmt.Sprintf("%s must be %s, not %s", w.here(), kindWord(want), kindWord(n.kind)), "")
		return
	}
	if n.kind == String && n.text == "" {
		w.report(CodeValue, w.here()+" is an empty text: leave an element without content out", "")
		return
	}
	if el.codes != nil {
		for _, code := range el.codes {
			if code == n.text {
				return
			}
		}
		w.report(CodeInvalidCode, w.here()+" has a code that is not allowed here; allowed are "+codeList(el.codes), "sent: "+quote(n.text))
		return
	}
	if form := el.prim.wrong(n.text); form != "" {
		w.report(CodeValue, w.here()+" must be "+form, "sent: "+quote(n.text))
	}
	n.role = el.prim.role()
}

func (w *walker) hereOr(name string) string {
	if len(w.path) == 0 {
		return name
	}
	return w.here()
}

func kindWord(k Kind) string {
	switch k {
	case Null:
		return "null"
	case Bool:
		return "true or false without quotes"
	case Number:
		return "a number without quotes"
	case String:
		return `text in quotes " … "`
	case Array:
		return "a list [ … ]"
	}
	return "an object { … }"
}

// codeList names alternatives; long lists are cut.
func codeList(codes []string) string {
	const most = 30
	if len(codes) > most {
		return strings.Join(codes[:most], ", ") + fmt.Sprintf(" and %d more", len(codes)-most)
	}
	return strings.Join(codes, ", ")
}

func quote(s string) string { return strconv.Quote(clip(s)) }

package fhir

// idAndExtension is what may stand beside a primitive value.
var idAndExtension = map[string]bool{"id": true, "extension": true}

// sibling walks _name, the id and extensions of the primitive value name.
func (w *walker) sibling(c, value *Node, el *element) {
	if !el.list {
		if w.beside(c); value == nil && c.member("extension") == nil && c.kind == Object {
			w.report(CodeStructure, w.here()+" has neither a value nor an extension", "")
		}
		return
	}
	if c.kind != Array || c.count == 0 {
		w.report(CodeStructure, "what stands beside the list "+w.here()+" must be a list of the same length, not "+kindWord(c.kind), "")
		return
	}
	at := value.Item(0)
	for i, item := range c.Items() {
		w.index(i)
		if item.kind != Null {
			w.beside(item)
		} else if at.Kind() <= Null {
			w.report(CodeStructure, w.here()+" has neither a value nor an extension", "")
		}
		at = at.after()
	}
	w.index(-1)
}

func (w *walker) beside(n *Node) {
	if n.kind != Object || n.count == 0 {
		w.report(CodeStructure, "what stands beside the value "+w.here()+" must be an object with an id or extensions, not "+kindWord(n.kind), "")
		return
	}
	narrative := tables()["Narrative"] // any structure with just the two and what is refused below
	for m := n.first; m != nil; m = m.next {
		if !idAndExtension[m.name] {
			w.report(CodeStructure, "beside the value "+w.here()+" only an id and extensions may stand", "unknown element "+quote(m.name))
			continue
		}
		w.push(m.name)
		w.element(m, n, narrative.elements[m.name])
		w.pop()
	}
}

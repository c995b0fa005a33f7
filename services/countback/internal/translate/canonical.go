package translate

import (
	"strings"

	"example.org/countback/pkg/fhir"
)

// Base is the canonical base of everything that Countback defines.
const Base = "http://countback.example/fhir"

// ExtensionBase is where our extensions are defined.
const ExtensionBase = Base + "/StructureDefinition/"

// Code systems that Countback defines.
const (
	SystemStep      = Base + "/CodeSystem/step"
	SystemStepKind  = Base + "/CodeSystem/step-kind"
	SystemItemState = Base + "/CodeSystem/item-state"
	SystemCaseState = Base + "/CodeSystem/case-state"
	SystemRole      = Base + "/CodeSystem/role"
	SystemReason    = Base + "/CodeSystem/task-reason"
	SystemOutput    = Base + "/CodeSystem/task-output"
	SystemInput     = Base + "/CodeSystem/task-input"
	SystemItem      = Base + "/identifier/task" // of a Task: its own id
	SystemCase      = Base + "/identifier/case" // of a case: the id of its CarePlan
)

// extension finds an extension of ours on an element; nil when it has none.
func extension(n *fhir.Node, name string) *fhir.Node {
	for _, e := range n.Get("extension").Items() {
		if strings.TrimPrefix(e.String("url"), ExtensionBase) == name {
			return e
		}
	}
	return nil
}

// extensions lists every repetition of an extension of ours.
func extensions(n *fhir.Node, name string) []*fhir.Node {
	var out []*fhir.Node
	for _, e := range n.Get("extension").Items() {
		if strings.TrimPrefix(e.String("url"), ExtensionBase) == name {
			out = append(out, e)
		}
	}
	return out
}

// part finds a part of a complex extension by its relative url.
func part(e *fhir.Node, name string) *fhir.Node { return extension(e, name) }

// value is the value of a simple extension or part, whatever its type.
func value(e *fhir.Node) *fhir.Node {
	for name, v := range e.Members() {
		if strings.HasPrefix(name, "value") {
			return v
		}
	}
	return nil
}

// text is the value of a simple extension of ours on an element, as text.
func text(n *fhir.Node, name string) string { return value(extension(n, name)).Text() }

package fhirpath

import (
	"errors"
	"fmt"
	"slices"

	"example.org/countback/pkg/fhir"
)

// maxPatchOps bounds a patch: each of its operations reads the whole resource.
const maxPatchOps = 100

// Patch is a FHIRPath Patch: a Parameters resource that lists changes of a
// resource. They are carried out in their order, each on what the ones before it
// left, and either all of them or none.
//
// Source: HL7 FHIR R4 (4.0.1), FHIRPath Patch (fhirpatch.html).
type Patch struct{ ops []operationOf }

// operationOf is one change. index, source and destination are -1 when they were
// not sent.
type operationOf struct {
	kind, name                 string
	path                       *Expression
	value                      *built
	index, source, destination int
}

// ReadPatch reads a patch from a Parameters resource. The issues name the
// parameter.
func ReadPatch(r *fhir.Resource) (*Patch, fhir.Issues) {
	p := &Patch{}
	at := func(n int) string { return fmt.Sprintf("Parameters.parameter[%d]", n) }
	if r.Type != "Parameters" {
		return nil, refused(r.Type, fhir.CodeStructure, "a FHIRPath Patch is a Parameters resource")
	}
	for n, item := range r.Get("parameter").Items() {
		op, err := readOperation(r, item)
		if err != nil {
			return nil, refused(at(n), fhir.CodeStructure, err.Error())
		}
		p.ops = append(p.ops, op)
	}
	switch {
	case len(p.ops) == 0:
		return nil, refused("Parameters.parameter", fhir.CodeRequired, "a FHIRPath Patch has at least one operation")
	case len(p.ops) > maxPatchOps:
		return nil, refused(at(maxPatchOps), fhir.CodeTooCostly, fmt.Sprintf("a FHIRPath Patch may have %d operations", maxPatchOps))
	}
	return p, nil
}

func refused(expression, code, text string) fhir.Issues {
	return fhir.Issues{{Severity: fhir.SeverityError, Code: code, Expression: expression, Text: text}}
}

// kinds are the operations, with the parts that each needs beside its type and
// path.
var kinds = map[string][]string{
	"add": {"name", "value"}, "insert": {"value", "index"}, "delete": nil, "replace": {"value"}, "move": {"source", "destination"},
}

func readOperation(r *fhir.Resource, item *fhir.Node) (operationOf, error) {
	op := operationOf{index: -1, source: -1, destination: -1}
	if item.String("name") != "operation" {
		return op, errors.New("a parameter of a FHIRPath Patch is named operation")
	}
	sent := []string{}
	for _, part := range item.Get("part").Items() {
		name := part.String("name")
		if slices.Contains(sent, name) {
			return op, fmt.Errorf("%s is there twice", name)
		}
		sent = append(sent, name)
		if err := op.read(r, name, part); err != nil {
			return op, err
		}
	}
	needs, known := kinds[op.kind]
	if !known {
		return op, errors.New("type is add, insert, delete, replace or move")
	}
	for _, name := range append([]string{"path"}, needs...) {
		if !slices.Contains(sent, name) {
			return op, fmt.Errorf("%s needs %s", op.kind, name)
		}
	}
	for _, name := range sent {
		if name != "type" && name != "path" && !slices.Contains(needs, name) {
			return op, fmt.Errorf("%s takes no %s", op.kind, name)
		}
	}
	return op, nil
}

// read takes one part of an operation in.
func (op *operationOf) read(r *fhir.Resource, name string, part *fhir.Node) (err error) {
	whole := func() (int, error) {
		n, ok := part.Get("valueInteger").Int()
		if !ok || n < 0 {
			return -1, fmt.Errorf("%s is a valueInteger, counted from 0", name)
		}
		return n, nil
	}
	switch name {
	case "type":
		op.kind = part.String("valueCode")
	case "name":
		if op.name = part.String("valueString"); op.name == "" {
			err = errors.New("name is a valueString: the name of an element")
		}
	case "path":
		if part.String("valueString") == "" {
			return errors.New("path is a valueString: a FHIRPath expression")
		}
		op.path, err = Parse(part.String("valueString"))
	case "value":
		op.value, err = builtOf(r, part)
	case "index":
		op.index, err = whole()
	case "source":
		op.source, err = whole()
	case "destination":
		op.destination, err = whole()
	default:
		err = errors.New("the parts of an operation are type, path, name, value, index, source and destination")
	}
	return err
}

// Apply gives the resource with the patch carried out, which has to be parsed
// again. The issues say which operation cannot be carried out; then there is no
// result.
func (p *Patch) Apply(r *fhir.Resource) ([]byte, fhir.Issues) {
	w := working{typ: r.Type, edit: r.Edit()}
	for n, op := range p.ops {
		if err := w.do(op); err != nil {
			return nil, refused(fmt.Sprintf("Parameters.parameter[%d]", n), fhir.CodeBusinessRule, fmt.Sprintf("operation %d of the patch: %s", n, err))
		}
	}
	return w.edit.Bytes(), nil
}

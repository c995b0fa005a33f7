package fhir

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"github.com/go-json-experiment/json/jsontext"
)

const (
	// MaxDepth is how deep objects and arrays of a body may nest, the body
	// itself being 1.
	MaxDepth = 32
	// MaxResourceBytes is the usual size limit of one resource.
	MaxResourceBytes = 1 << 20
	// MaxEntries is how many entries any Bundle may have. [Resource.Bundle]
	// takes the lower limit of a service.
	MaxEntries = 10_000
)

// Parse lets a body in or says everything that is wrong with it. limit is the
// greatest size in bytes; 0 means [MaxResourceBytes]. Exactly one of the
// results is nil. body must not be modified afterwards.
//
// In a Bundle of type batch each entry stands alone: what is wrong inside an
// entry is not reported here but with the entry, by [Resource.Bundle].
func Parse(body []byte, limit int) (*Resource, Issues) {
	if limit <= 0 {
		limit = MaxResourceBytes
	}
	if len(body) > limit {
		return nil, Issues{{Severity: SeverityError, Code: CodeTooLong,
			Text: fmt.Sprintf("the body is larger than the %d bytes that are allowed here", limit)}}
	}
	root, issue := readTree(body)
	if issue != nil {
		return nil, Issues{*issue}
	}
	w := walker{}
	w.top(root)
	if w.batch() {
		global, entries := w.split()
		if len(global) > 0 {
			return nil, global
		}
		return &Resource{Type: "Bundle", Raw: body, tree: root, entries: entries}, nil
	}
	if len(w.issues) > 0 {
		return nil, w.all()
	}
	return &Resource{Type: root.String("resourceType"), Raw: body, tree: root}, nil
}

var (
	errDepth   = errors.New("too deep")
	errControl = errors.New("control character")
)

// reader is pass 1: JSON tokens into a tree whose nodes know their bytes.
type reader struct {
	dec    *jsontext.Decoder
	src    string
	arena  arena
	failed []*Node // where reading stopped, innermost first
}

func readTree(body []byte) (*Node, *Issue) {
	root, issue := readValue(body)
	if issue == nil && root.kind != Object {
		return nil, syntaxIssue("", 0, "a FHIR resource is a JSON object { … }")
	}
	if issue != nil {
		return nil, issue
	}
	return root, nil
}

// readValue reads one JSON value of any kind.
func readValue(body []byte) (*Node, *Issue) {
	if i := invalidUTF8(body); i >= 0 {
		return nil, syntaxIssue("", i, "the body is not valid UTF-8")
	}
	if bytes.HasPrefix(body, []byte("\xef\xbb\xbf")) {
		return nil, syntaxIssue("", 0, "the body begins with a byte order mark; FHIR JSON has none")
	}
	r := reader{dec: jsontext.NewDecoder(bytes.NewBuffer(body)), src: string(body)}
	root := r.arena.node()
	if err := r.value(root, 1); err != nil {
		return nil, r.explain(err)
	}
	if _, err := r.dec.ReadToken(); err != io.EOF {
		return nil, syntaxIssue("", root.end, "there is something after the end of the resource")
	}
	return root, nil
}

func invalidUTF8(body []byte) int {
	if utf8.Valid(body) {
		return -1
	}
	for i := 0; i < len(body); {
		c, size := utf8.DecodeRune(body[i:])
		if c == utf8.RuneError && size == 1 {
			return i
		}
		i += size
	}
	return -1
}

func (r *reader) value(n *Node, depth int) error {
	err := r.read(n, depth)
	if err != nil {
		r.failed = append(r.failed, n)
	}
	return err
}

func (r *reader) read(n *Node, depth int) error {
	switch k := r.dec.PeekKind(); k {
	case '{', '[':
		if depth > MaxDepth {
			return errDepth
		}
		if _, err := r.dec.ReadToken(); err != nil {
			return err
		}
		n.start = int(r.dec.InputOffset()) - 1
		if err := r.children(n, k, depth); err != nil {
			return err
		}
		_, err := r.dec.ReadToken()
		n.end = int(r.dec.InputOffset())
		return err
	default:
		return r.scalar(n, k)
	}
}

func (r *reader) children(n *Node, k jsontext.Kind, depth int) error {
	n.kind = Array
	if k == '{' {
		n.kind = Object
	}
	for {
		switch r.dec.PeekKind() {
		case '}', ']', 0: // 0 is an error that the next read reports
			return nil
		}
		c := r.arena.node()
		if n.kind == Object {
			v, err := r.dec.ReadValue()
			if err != nil {
				return err
			}
			if c.name, err = r.text(v); err != nil {
				return err
			}
		}
		n.append(c)
		if err := r.value(c, depth+1); err != nil {
			return err
		}
	}
}

func (r *reader) scalar(n *Node, k jsontext.Kind) error {
	v, err := r.dec.ReadValue()
	if err != nil {
		return err
	}
	n.end = int(r.dec.InputOffset())
	n.start = n.end - len(v)
	switch k {
	case 'n':
		n.kind = Null
	case 't', 'f':
		n.kind, n.text = Bool, r.src[n.start:n.end]
	case '0':
		n.kind, n.text = Number, r.src[n.start:n.end]
	default:
		n.kind = String
		n.text, err = r.text(v)
	}
	return err
}

// text is the value of a JSON string that was just read: a part of the source
// where nothing is escaped. FHIR strings hold no control characters but tab
// and line ends.
func (r *reader) text(v jsontext.Value) (string, error) {
	if bytes.IndexByte(v, '\\') < 0 {
		end := int(r.dec.InputOffset())
		return r.src[end-len(v)+1 : end-1], nil
	}
	b, err := jsontext.AppendUnquote(nil, v)
	if err != nil {
		return "", err
	}
	for _, c := range b {
		if c < ' ' && c != '\t' && c != '\n' && c != '\r' {
			return "", errControl
		}
	}
	return string(b), nil
}

// explain turns a failed read into words. What the JSON library says may quote
// the input and goes to the diagnostics.
func (r *reader) explain(err error) *Issue {
	at, s := partialPath(r.failed)
	offset := int(r.dec.InputOffset())
	var syntax *jsontext.SyntacticError
	if errors.As(err, &syntax) {
		offset = int(syntax.ByteOffset)
	}
	switch {
	case errors.Is(err, errDepth):
		i := syntaxIssue(at, offset, fmt.Sprintf("the body nests deeper than the %d levels that are allowed", MaxDepth))
		i.Code = CodeTooCostly
		return i
	case errors.Is(err, errControl):
		i := syntaxIssue(at, offset, "text may hold no control characters other than tab and line end")
		i.Code = CodeValue
		return i
	case errors.Is(err, jsontext.ErrDuplicateName):
		name := syntax.JSONPointer.LastToken()
		if s != nil && s.elements[strings.TrimPrefix(name, "_")] != nil || name == "resourceType" {
			at = strings.TrimPrefix(at+"."+name, ".")
			return syntaxIssue(at, offset, at+" was sent twice in the same object: only one of them can be meant")
		}
		return syntaxIssue(at, offset, "a name occurs twice in the same object")
	case errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF):
		return syntaxIssue(at, offset, "the JSON ends too early")
	case offset < len(r.src) && r.src[offset] < ' ' && !strings.ContainsRune("\t\r\n", rune(r.src[offset])):
		return syntaxIssue(at, offset, "the body holds a raw control character")
	}
	i := syntaxIssue(at, offset, "the body is not valid JSON")
	i.Diagnostics += ": " + err.Error()
	return i
}

func syntaxIssue(expression string, offset int, text string) *Issue {
	return &Issue{Severity: SeverityError, Code: CodeStructure, Expression: expression, Text: text,
		Diagnostics: fmt.Sprintf("at byte %d", offset)}
}

// partialPath names the place where reading stopped as far as R4 knows the
// names on the way; the rest is the sender's and stays out.
func partialPath(failed []*Node) (string, *structure) {
	if len(failed) == 0 {
		return "", nil
	}
	root := failed[len(failed)-1]
	s := structureOf(root.String("resourceType"))
	if s == nil {
		return "", nil
	}
	path := s.name
	for i := len(failed) - 2; i >= 0; i-- {
		n, parent := failed[i], failed[i+1]
		if parent.kind == Array {
			path += fmt.Sprintf("[%d]", parent.count-1)
			continue
		}
		el := s.elements[strings.TrimPrefix(n.name, "_")]
		if el == nil {
			return path, nil
		}
		path += "." + el.name
		inner := el.of
		if el.resource {
			body := n
			if n.kind == Array {
				body = n.last
			}
			inner = structureOf(body.String("resourceType"))
		}
		if inner == nil {
			return path, nil
		}
		s = inner
	}
	return path, s
}

package main

import (
	"fmt"
	"go/ast"
	"go/token"
	"go/types"
	"sort"
	"strings"
)

// mutant is one small change of the source that the tests should notice.
type mutant struct {
	ID   int
	File string // below the module's root
	Line int
	Was  string
	Is   string
}

func (m mutant) String() string {
	return fmt.Sprintf("%s:%d: %s => %s", m.File, m.Line, m.Was, m.Is)
}

// edit replaces the bytes from..to of a file; edits nest but never cross.
type edit struct {
	from, to int
	text     func(inner func(from, to int) string) string
}

// finder collects the mutants of one file and the edits that put them all in,
// each asleep until the process is told its number.
type finder struct {
	file    *token.File
	path    string
	source  []byte
	info    *types.Info
	own     *types.Package
	mutants *[]mutant
	edits   []edit
}

func (f *finder) offset(p token.Pos) int { return f.file.Offset(p) }

func (f *finder) text(n ast.Node) string {
	return strings.Join(strings.Fields(string(f.source[f.offset(n.Pos()):f.offset(n.End())])), " ")
}

func (f *finder) add(n ast.Node, is string) int {
	id := len(*f.mutants) + 1
	*f.mutants = append(*f.mutants, mutant{ID: id, File: f.path, Line: f.file.Line(n.Pos()), Was: f.text(n), Is: is})
	return id
}

var swapped = map[token.Token][]token.Token{
	token.EQL: {token.NEQ}, token.NEQ: {token.EQL},
	token.LSS: {token.LEQ, token.GEQ}, token.LEQ: {token.LSS, token.GTR},
	token.GTR: {token.GEQ, token.LEQ}, token.GEQ: {token.GTR, token.LSS},
	token.LAND: {token.LOR}, token.LOR: {token.LAND},
	token.ADD: {token.SUB}, token.SUB: {token.ADD},
	token.MUL: {token.QUO}, token.QUO: {token.MUL},
}

func (f *finder) visit(n ast.Node) bool {
	switch n := n.(type) {
	case *ast.GenDecl:
		return n.Tok == token.VAR
	case *ast.BinaryExpr:
		f.binary(n)
	case *ast.UnaryExpr:
		if n.Op == token.NOT {
			f.not(n)
		}
	case *ast.Ident:
		f.constant(n)
	case *ast.BlockStmt:
		f.statements(n.List)
	case *ast.CaseClause:
		f.statements(n.Body)
	}
	return true
}

func (f *finder) binary(n *ast.BinaryExpr) {
	value := f.info.Types[n]
	basic, ok := value.Type.Underlying().(*types.Basic)
	if !ok || value.Value != nil || basic.Info()&types.IsString != 0 {
		return
	}
	var ids []int
	var to []token.Token
	for _, op := range swapped[n.Op] {
		ids = append(ids, f.add(n, f.text(n.X)+" "+op.String()+" "+f.text(n.Y)))
		to = append(to, op)
	}
	if len(ids) == 0 {
		return
	}
	typeName := types.TypeString(value.Type, f.qualifier)
	if basic.Info()&types.IsUntyped != 0 {
		typeName = "bool"
	}
	f.edits = append(f.edits, edit{f.offset(n.Pos()), f.offset(n.End()), func(inner func(int, int) string) string {
		x := inner(f.offset(n.X.Pos()), f.offset(n.X.End()))
		y := inner(f.offset(n.Y.Pos()), f.offset(n.Y.End()))
		var b strings.Builder
		fmt.Fprintf(&b, "func() %s { ", typeName)
		for i, id := range ids {
			fmt.Fprintf(&b, "if mutantIs(%d) { return %s %s %s }; ", id, x, to[i], y)
		}
		fmt.Fprintf(&b, "return %s %s %s }()", x, n.Op, y)
		return b.String()
	}})
}

func (f *finder) not(n *ast.UnaryExpr) {
	id := f.add(n, f.text(n.X))
	f.edits = append(f.edits, edit{f.offset(n.Pos()), f.offset(n.End()), func(inner func(int, int) string) string {
		x := inner(f.offset(n.X.Pos()), f.offset(n.X.End()))
		return fmt.Sprintf("(mutantIs(%d) == (%s))", id, x)
	}})
}

func (f *finder) constant(n *ast.Ident) {
	if f.info.Uses[n] != types.Universe.Lookup(n.Name) || n.Name != "true" && n.Name != "false" {
		return
	}
	id := f.add(n, map[string]string{"true": "false", "false": "true"}[n.Name])
	f.edits = append(f.edits, edit{f.offset(n.Pos()), f.offset(n.End()), func(func(int, int) string) string {
		if n.Name == "true" {
			return fmt.Sprintf("!mutantIs(%d)", id)
		}
		return fmt.Sprintf("mutantIs(%d)", id)
	}})
}

// statements takes away what can go without the compiler's missing it:
// assignments, calls, continue.
func (f *finder) statements(list []ast.Stmt) {
	for _, s := range list {
		switch s := s.(type) {
		case *ast.AssignStmt:
			if s.Tok == token.DEFINE {
				continue
			}
		case *ast.ExprStmt, *ast.IncDecStmt:
		case *ast.BranchStmt:
			if s.Tok != token.CONTINUE {
				continue
			}
		default:
			continue
		}
		id := f.add(s, "nothing")
		from, to := f.offset(s.Pos()), f.offset(s.End())
		f.edits = append(f.edits, edit{from, to, func(inner func(int, int) string) string {
			return fmt.Sprintf("if !mutantIs(%d) { %s }", id, inner(from, to))
		}})
	}
}

func (f *finder) qualifier(p *types.Package) string {
	if p == f.own {
		return ""
	}
	return p.Name()
}

// written is the file with every edit put in, the outermost first.
func (f *finder) written() string {
	sort.SliceStable(f.edits, func(i, j int) bool {
		a, b := f.edits[i], f.edits[j]
		if a.from != b.from {
			return a.from < b.from
		}
		return a.to > b.to
	})
	var render func(from, to int, edits []edit) string
	render = func(from, to int, edits []edit) string {
		var b strings.Builder
		at := from
		for i := 0; i < len(edits); {
			e := edits[i]
			if e.from < at || e.to > to {
				i++
				continue
			}
			b.Write(f.source[at:e.from])
			rest := edits[i+1:]
			b.WriteString(e.text(func(x, y int) string { return render(x, y, rest) }))
			at = e.to
			i++
		}
		b.Write(f.source[at:to])
		return b.String()
	}
	return render(0, len(f.source), f.edits)
}

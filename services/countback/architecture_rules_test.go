package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path"
	"slices"
	"strconv"
	"strings"
)

// goFile is what the rules need to know of one source file.
type goFile struct {
	path, dir string
	test      bool
	lines     int
	imports   []string
	clock     []string         // "12: time.Now"
	literals  map[string][]int // string literal → its lines
}

// rules are all that TestArchitecture asks; each gives its problems in words.
var rules = []struct {
	name  string
	check func(fs.FS, []goFile) ([]string, error)
}{
	{"imports", func(_ fs.FS, files []goFile) ([]string, error) { return each(files, checkImports), nil }},
	{"edges", func(_ fs.FS, files []goFile) ([]string, error) { return each(files, checkEdges), nil }},
	{"confined", func(_ fs.FS, files []goFile) ([]string, error) { return each(files, checkConfined), nil }},
	{"pure", func(_ fs.FS, files []goFile) ([]string, error) { return each(files, checkPure), nil }},
	{"clock", func(_ fs.FS, files []goFile) ([]string, error) { return each(files, checkClock), nil }},
	{"length", func(_ fs.FS, files []goFile) ([]string, error) { return each(files, checkLength), nil }},
	{"top level", func(root fs.FS, _ []goFile) ([]string, error) { return checkTopLevel(root) }},
	{"step codes", checkStepCodes},
}

// readSources parses every Go file of the module that the go command would
// build, and those of the top-level testdata, which is a package of ours.
func readSources(root fs.FS) ([]goFile, error) {
	var files []goFile
	err := fs.WalkDir(root, ".", func(name string, entry fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if entry.IsDir() {
			return skipFolder(name, entry.Name())
		}
		if path.Ext(name) != ".go" {
			return nil
		}
		src, err := fs.ReadFile(root, name)
		if err != nil {
			return err
		}
		file, err := parseGo(name, src)
		files = append(files, file)
		return err
	})
	return files, err
}

// skipFolder leaves out the folders that the go command leaves out.
func skipFolder(name, base string) error {
	hidden := name != "." && (strings.HasPrefix(base, ".") || strings.HasPrefix(base, "_"))
	if hidden || base == "node_modules" || base == "testdata" && name != "testdata" {
		return fs.SkipDir
	}
	return nil
}

func parseGo(name string, src []byte) (goFile, error) {
	file := goFile{
		path: name, dir: path.Dir(name), test: strings.HasSuffix(name, "_test.go"),
		lines: bytes.Count(src, []byte("\n")), literals: map[string][]int{},
	}
	places := token.NewFileSet()
	tree, err := parser.ParseFile(places, name, src, parser.SkipObjectResolution)
	if err != nil {
		return file, err
	}
	clock := ""
	for _, spec := range tree.Imports {
		imported, err := strconv.Unquote(spec.Path.Value)
		if err != nil {
			return file, err
		}
		file.imports = append(file.imports, imported)
		if imported == "time" {
			clock = localName(spec, "time")
		}
	}
	if clock == "." {
		file.clock = append(file.clock, "1: package time is imported with a dot, and so its clock")
	}
	line := func(node ast.Node) int { return places.Position(node.Pos()).Line }
	ast.Inspect(tree, func(node ast.Node) bool {
		switch node := node.(type) {
		case *ast.SelectorExpr:
			if of, ok := node.X.(*ast.Ident); ok && of.Name == clock && readsClock(node.Sel.Name) {
				file.clock = append(file.clock, fmt.Sprintf("%d: time.%s", line(node), node.Sel.Name))
			}
		case *ast.BasicLit:
			if text, err := strconv.Unquote(node.Value); err == nil && node.Kind == token.STRING {
				file.literals[text] = append(file.literals[text], line(node))
			}
		}
		return true
	})
	return file, nil
}

func localName(spec *ast.ImportSpec, otherwise string) string {
	if spec.Name != nil {
		return spec.Name.Name
	}
	return otherwise
}

func readsClock(name string) bool { return name == "Now" || name == "Since" || name == "Until" }

func each(files []goFile, check func(goFile) []string) []string {
	var problems []string
	for _, file := range files {
		for _, problem := range check(file) {
			problems = append(problems, file.path+problem)
		}
	}
	return problems
}

// ours are the file's imports from this module, as folders.
func (f goFile) ours() []string {
	var dirs []string
	for _, imported := range f.imports {
		if dir, ok := strings.CutPrefix(imported, module+"/"); ok {
			dirs = append(dirs, dir)
		}
	}
	return dirs
}

func checkImports(file goFile) []string {
	allowed, listed := allowedImports[file.dir]
	if !listed {
		return []string{": package " + file.dir + " has no row in allowedImports"}
	}
	var problems []string
	for _, dir := range file.ours() {
		_, known := allowedImports[dir]
		switch {
		case !known:
			problems = append(problems, ": imports "+dir+", which has no row in allowedImports")
		case file.test && !testMayImport(file.dir, dir):
			problems = append(problems, ": tests of "+file.dir+" may not import "+dir)
		case !file.test && slices.Contains(testsOnly, dir):
			problems = append(problems, ": only tests may import "+dir)
		case !file.test && !slices.Contains(allowed, dir) && !slices.Contains(allowed, anything):
			problems = append(problems, ": "+file.dir+" may not import "+dir)
		}
	}
	return problems
}

// testMayImport is wider than the table, since a test may bring the real parts
// it needs; but what is published for others is tested without the service.
func testMayImport(from, to string) bool {
	published := strings.HasPrefix(from, "pkg/") || from == "api" || from == "testdata"
	return !published || strings.HasPrefix(to, "pkg/") || to == "api" || to == "testdata"
}

func checkEdges(file goFile) []string {
	if !slices.Contains(edges, file.dir) {
		return nil
	}
	var problems []string
	for _, dir := range file.ours() {
		if dir != file.dir && slices.Contains(edges, dir) {
			problems = append(problems, ": "+file.dir+" is an edge, and so is "+dir+", which it imports")
		}
	}
	return problems
}

func checkConfined(file goFile) []string {
	var problems []string
	for _, imported := range file.imports {
		for _, rule := range confined {
			if under(imported, rule.path) && (!file.test || rule.tests) && !slices.Contains(rule.to, file.dir) {
				problems = append(problems, fmt.Sprintf(": %s belongs to %v", rule.path, rule.to))
			}
		}
	}
	return problems
}

func checkPure(file goFile) []string {
	if file.test || !slices.ContainsFunc(pureDirs, func(dir string) bool { return under(file.dir, dir) }) {
		return nil
	}
	var problems []string
	for _, imported := range file.imports {
		if slices.ContainsFunc(impure, func(path string) bool { return imported == path || path == "os" && under(imported, path) }) {
			problems = append(problems, ": "+file.dir+" is pure and may not import "+imported)
		}
		first, _, _ := strings.Cut(imported, "/")
		if slices.Contains(standardOnly, file.dir) && strings.Contains(first, ".") {
			problems = append(problems, ": "+file.dir+" uses only the standard library, not "+imported)
		}
	}
	return problems
}

func checkClock(file goFile) []string {
	free := slices.ContainsFunc(clockFree, func(dir string) bool { return under(file.dir, dir) })
	if file.test || !free || file.dir == clockOwner {
		return nil
	}
	var problems []string
	for _, reading := range file.clock {
		problems = append(problems, ":"+reading+" belongs to "+clockOwner)
	}
	return problems
}

func checkLength(file goFile) []string {
	if file.lines <= maxLines {
		return nil
	}
	return []string{fmt.Sprintf(": %d lines, and the limit is %d", file.lines, maxLines)}
}

// checkTopLevel leaves aside what git leaves aside: a built binary or a data
// folder of the demo is no part of the house.
func checkTopLevel(root fs.FS) ([]string, error) {
	ignored, err := fs.ReadFile(root, ".gitignore")
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	entries, err := fs.ReadDir(root, ".")
	var problems []string
	for _, entry := range entries {
		name := entry.Name()
		known := strings.HasPrefix(name, ".") || slices.Contains(topLevel, name) ||
			slices.Contains(strings.Fields(string(ignored)), "/"+name)
		if !known {
			problems = append(problems, name+": does not belong to the top level")
		}
	}
	return problems, err
}

// checkStepCodes asks that no program code names a step: steps are data.
func checkStepCodes(root fs.FS, files []goFile) ([]string, error) {
	codes, err := stepCodes(root)
	if err != nil {
		return nil, err
	}
	if len(codes) == 0 {
		return []string{"api/protocol: no PlanDefinition with a step"}, nil
	}
	var problems []string
	for _, file := range files {
		for literal, lines := range file.literals {
			if !file.test && slices.Contains(codes, literal) {
				problems = append(problems, fmt.Sprintf("%s:%d: step code %q", file.path, lines[0], literal))
			}
		}
	}
	slices.Sort(problems)
	return problems, nil
}

// stepCodes are the ids of all actions, at any depth, but for the anchors.
func stepCodes(root fs.FS) ([]string, error) {
	names, err := fs.Glob(root, "api/protocol/*.json")
	if err != nil {
		return nil, err
	}
	type action struct {
		ID     string   `json:"id"`
		Action []action `json:"action"`
	}
	var codes []string
	var collect func([]action)
	collect = func(actions []action) {
		for _, one := range actions {
			if one.ID != "" && !slices.Contains(anchors, one.ID) {
				codes = append(codes, one.ID)
			}
			collect(one.Action)
		}
	}
	for _, name := range names {
		body, err := fs.ReadFile(root, name)
		if err != nil {
			return nil, err
		}
		var resource struct {
			ResourceType string   `json:"resourceType"`
			Action       []action `json:"action"`
		}
		if err := json.Unmarshal(body, &resource); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		if resource.ResourceType == "PlanDefinition" {
			collect(resource.Action)
		}
	}
	return codes, nil
}

// under tells whether a path is the given one or lies below it.
func under(name, top string) bool { return name == top || strings.HasPrefix(name, top+"/") }

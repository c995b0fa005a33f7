package main

import (
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"
)

const (
	module = "example.org/countback"
	inner  = "services/countback/internal/"

	// anything stands in a row of allowedImports for "every package of ours".
	anything = "*"

	// maxLines is the hard limit for a Go file; aim under 400.
	maxLines = 600
)

// allowedImports says which of our packages each of our packages may import
// outside its tests. A package without a row fails the test: a new one is
// given its place here first.
var allowedImports = map[string][]string{
	"api":                nil,
	"conformance":        {"pkg/fhir", "pkg/fhirpath"},
	"pkg/calendar":       nil,
	"pkg/fhir":           nil,
	"pkg/readiness":      {"pkg/calendar"},
	"pkg/hl7":            nil,
	"pkg/fhirpath":       {"pkg/fhir"},
	"services/conform":   {"conformance"},
	"services/countback": {inner + "app"},
	"testdata":           nil,

	inner + "access":    {inner + "store"},
	inner + "app":       {anything},
	inner + "casework":  {"pkg/readiness", "pkg/calendar", inner + "translate", inner + "store", inner + "search", "pkg/fhir", "api", inner + "event", inner + "subscription"},
	inner + "demo":      {"pkg/fhir", "testdata"},
	inner + "desk":      {inner + "casework", inner + "sheet", inner + "store", "pkg/readiness", "pkg/calendar", inner + "access"},
	inner + "event":     nil,
	inner + "fhirapi":   {inner + "casework", inner + "search", inner + "store", "pkg/fhir", "pkg/fhirpath", "api", inner + "profile", inner + "access", inner + "subscription"},
	inner + "kitcheck":  nil, // only its tests import anything
	inner + "oracle":    nil, // a second opinion shares nothing with the first
	inner + "histories": nil, // only its tests import anything
	inner + "notify":    {inner + "casework", inner + "subscription", "pkg/fhir"},
	inner + "outbox":    {inner + "store", inner + "event"},
	inner + "mllp":      {inner + "casework", inner + "siu", "pkg/fhir", "pkg/hl7"},
	inner + "search":    {"pkg/fhir"},
	inner + "sheet":     {inner + "translate", "pkg/readiness", "pkg/calendar", "api"},
	inner + "siu":       {"pkg/hl7"},
	inner + "store":     {"pkg/fhir", inner + "search"},
	inner + "translate": {"pkg/readiness", "pkg/calendar", "pkg/fhir", "api"},
	inner + "wirecheck": nil, // only its tests import anything

	inner + "subscription": {"pkg/fhir", inner + "event"},
	inner + "profile":      {"pkg/fhir"},
	inner + "publication":  {"pkg/fhir", "api"},
}

// edges face the outside; none may lean on another, not even in a test.
var edges = []string{inner + "fhirapi", inner + "desk", inner + "mllp", inner + "outbox", inner + "notify", inner + "demo"}

// pureDirs hold what must give the same answer anywhere, at any time.
var pureDirs = []string{"pkg", "api", inner + "translate", inner + "sheet", inner + "search", inner + "siu", inner + "event", inner + "subscription", inner + "oracle", inner + "publication", inner + "profile"}

// impure are the packages through which disk, network and processes are reached.
var impure = []string{"os", "net", "net/http", "syscall", "database/sql", "log"}

// standardOnly packages use nothing but the standard library.
var standardOnly = []string{inner + "event", inner + "oracle"}

// testsOnly packages are there to test others by, and no program may use them.
var testsOnly = []string{inner + "oracle", inner + "histories"}

// confined ties an import, and all below it, to the packages that may have it.
var confined = []struct {
	path  string
	to    []string
	tests bool // the rule holds for test files too
}{
	{"database/sql", []string{inner + "store"}, false},
	{"github.com/ncruces/go-sqlite3", []string{inner + "store"}, false},
	{"github.com/pressly/goose", []string{inner + "store"}, false},
	{"github.com/gin-gonic/gin", []string{inner + "fhirapi", inner + "desk", inner + "access", inner + "app"}, false},
	{"github.com/nats-io", []string{inner + "outbox", inner + "app"}, false},
	// Slow to build and to link: it stays in the tests of one package.
	{"github.com/google/fhir", []string{inner + "wirecheck"}, true},
	// A second opinion on the network of steps, and no part of the service.
	{"gonum.org/v1/gonum", []string{inner + "translate"}, true},
	// Pages are tried in a browser where the whole service runs.
	{"github.com/chromedp", []string{inner + "app"}, true},
	{"github.com/stretchr/testify", nil, false},
	{"testing", nil, false},
}

// clockOwner alone reads the clock, and hands it down as a function.
const clockOwner = inner + "app"

// clockFree are the trees whose other code takes the time as an argument.
var clockFree = []string{"pkg", "api", "services/countback"}

// topLevel is all that may lie beside go.mod, apart from names that begin with
// a dot and what .gitignore lists as /name.
var topLevel = []string{
	"services", "pkg", "api", "charts", "conformance", "testdata",
	"README.md", "DEVELOPERS.md", "go.mod", "go.sum", "Dockerfile",
}

// anchors are the actions of a PlanDefinition that steps are counted from: the
// engine knows them by name, and they are no steps.
var anchors = []string{"booking", "surgery", "discharge", "raised", "first-paused", "last-dose", "earliest-last-dose"}

// TestArchitecture reads the sources itself: a test that asks another program
// for them is cached, and passes on what is no longer there.
func TestArchitecture(t *testing.T) {
	root := os.DirFS(moduleRoot(t))
	files, err := readSources(root)
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, rule := range rules {
		t.Run(rule.name, func(t *testing.T) {
			problems, err := rule.check(root, files)
			require.NoError(t, err)
			require.Empty(t, problems)
		})
	}
}

// moduleRoot walks up from the test's folder to the one that holds go.mod.
func moduleRoot(t *testing.T) string {
	t.Helper()
	dir, err := os.Getwd()
	require.NoError(t, err)
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		parent := filepath.Dir(dir)
		require.NotEqual(t, dir, parent, "no go.mod above the test")
		dir = parent
	}
}

// soundTree is a small tree in which every rule finds nothing.
func soundTree() map[string]string {
	return map[string]string{
		"go.mod":                            "module " + module,
		".gitignore":                        "# built here\n/countback\n*.out\n",
		"countback":                         "a binary that nobody commits",
		"api/protocol/plan.json":            `{"resourceType":"PlanDefinition","action":[{"id":"surgery"},{"id":"joint-class"}]}`,
		"api/protocol/values.json":          `{"resourceType":"ValueSet"}`,
		"pkg/calendar/day.go":               "package calendar\nimport \"time\"\nvar _ = time.Monday\n",
		"pkg/readiness/due.go":              "package readiness\nimport \"" + module + "/pkg/calendar\"\nvar _ = \"surgery\"\n",
		"pkg/readiness/due_test.go":         "package readiness\nimport \"" + module + "/testdata\"\nvar step = \"joint-class\"\n",
		inner + "app/app.go":                "package app\nimport (\n\t\"time\"\n\t\"" + module + "/" + inner + "outbox\"\n)\nvar _ = time.Now\n",
		inner + "event/event.go":            "package event\nimport \"encoding/json\"\n",
		inner + "outbox/relay.go":           "package outbox\nimport \"github.com/nats-io/nats.go\"\n",
		inner + "wirecheck/x_test.go":       "package wirecheck\nimport \"github.com/google/fhir/go/jsonformat\"\n",
		inner + "store/testdata/old/old.go": "package broken because nobody builds it",
	}
}

// TestArchitectureRulesFail plants one fault at a time in a sound tree, and
// asks that the rule against it, and only that one, speaks.
func TestArchitectureRulesFail(t *testing.T) {
	long := "package calendar\n" + string(slices.Repeat([]byte("\n"), maxLines))
	cases := []struct{ name, file, content, rule, problem string }{
		{"a sound tree", "README.md", "", "", ""},
		{"unlisted package", "pkg/util/a.go", "package util", "imports", "pkg/util/a.go: package pkg/util has no row in allowedImports"},
		{"unlisted package with tests only", inner + "zoo/a_test.go", "package zoo", "imports", "has no row"},
		{"pkg imports a service", "pkg/fhir/a.go", importing(module + "/" + inner + "store"), "imports", "pkg/fhir may not import " + inner + "store"},
		{"pkg imports another pkg", "pkg/calendar/a.go", importing(module + "/pkg/readiness"), "imports", "pkg/calendar may not import pkg/readiness"},
		{"a test in pkg imports a service", "pkg/fhir/a_test.go", importing(module + "/" + inner + "store"), "imports", "tests of pkg/fhir may not import " + inner + "store"},
		{"main imports past app", "services/countback/main.go", importing(module + "/" + inner + "store"), "imports", "services/countback may not import"},
		{"an import of what is not there", inner + "app/b.go", importing(module + "/pkg/gone"), "imports", "imports pkg/gone, which has no row"},
		{"wirecheck outside a test", inner + "wirecheck/a.go", importing(module + "/pkg/fhir"), "imports", "wirecheck may not import pkg/fhir"},
		{"the oracle in the binary", inner + "app/b.go", importing(module + "/" + inner + "oracle"), "imports", "only tests may import " + inner + "oracle"},
		{"edge to edge in a test", inner + "desk/a_test.go", importing(module + "/" + inner + "fhirapi"), "edges", "is an edge"},
		{"sql outside the store", inner + "casework/a.go", importing("database/sql"), "confined", "database/sql belongs to"},
		{"sql driver outside the store", inner + "casework/a.go", importing("database/sql/driver"), "confined", "database/sql belongs to"},
		{"gin in the core", inner + "casework/a.go", importing("github.com/gin-gonic/gin"), "confined", "gin belongs to"},
		{"NATS in an edge", inner + "fhirapi/a.go", importing("github.com/nats-io/nats.go/jetstream"), "confined", "nats-io belongs to"},
		{"the validator in another test", inner + "store/a_test.go", importing("github.com/google/fhir/go/jsonformat"), "confined", "google/fhir belongs to"},
		{"the graphs in another test", "pkg/readiness/a_test.go", importing("gonum.org/v1/gonum/graph/path"), "confined", "gonum belongs to"},
		{"the browser in another test", inner + "desk/a_test.go", importing("github.com/chromedp/chromedp"), "confined", "chromedp belongs to"},
		{"testing in the binary", inner + "demo/a.go", importing("testing"), "confined", "testing belongs to"},
		{"disk in the core", "pkg/readiness/a.go", importing("os"), "pure", "pkg/readiness is pure and may not import os"},
		{"network in translate", inner + "translate/a.go", importing("net/http"), "pure", "may not import net/http"},
		{"a library in event", inner + "event/a.go", importing("github.com/rickar/cal/v2"), "pure", "only the standard library"},
		{"a library in the oracle", inner + "oracle/a.go", importing("github.com/rickar/cal/v2"), "pure", "only the standard library"},
		{"disk in the oracle", inner + "oracle/a.go", importing("os"), "pure", "may not import os"},
		{"the clock in the core", "pkg/readiness/a.go", "package readiness\nimport \"time\"\nvar _ = time.Now()\n", "clock", "a.go:3: time.Now belongs to"},
		{"the clock by another name", inner + "store/a.go", "package store\nimport clock \"time\"\nvar _ = clock.Since\n", "clock", "time.Since"},
		{"the clock in main", "services/countback/main.go", "package main\nimport \"time\"\nvar _ = time.Until\n", "clock", "time.Until"},
		{"the clock without a name", "pkg/fhir/a.go", "package fhir\nimport . \"time\"\nvar _ = Now\n", "clock", "imported with a dot"},
		{"a long file", "pkg/calendar/long.go", long, "length", "pkg/calendar/long.go: 601 lines"},
		{"a long test", "pkg/calendar/long_test.go", long, "length", "601 lines"},
		{"a stray folder", "scripts/a.sh", "", "top level", "scripts"},
		{"a stray file", "NOTES.txt", "", "top level", "NOTES.txt"},
		{"a step code in Go", inner + "casework/a.go", "package casework\nvar _ = `joint-class`\n", "step codes", "a.go:2: step code \"joint-class\""},
		{"a protocol that is no JSON", "api/protocol/bad.json", "{", "step codes", "api/protocol/bad.json"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			tree := soundTree()
			tree[c.file] = c.content
			root := fstest.MapFS{}
			for name, content := range tree {
				root[name] = &fstest.MapFile{Data: []byte(content)}
			}
			for rule, problems := range checkAll(t, root) {
				if rule == c.rule {
					require.Len(t, problems, 1)
					require.Contains(t, problems[0], c.problem)
				} else {
					require.Empty(t, problems, rule)
				}
			}
		})
	}
}

// TestArchitectureWithoutProtocol keeps the search for step codes from passing
// because it found no code to search for.
func TestArchitectureWithoutProtocol(t *testing.T) {
	root := fstest.MapFS{"go.mod": {Data: []byte("module " + module)}}
	require.Contains(t, checkAll(t, root)["step codes"], "api/protocol: no PlanDefinition with a step")
}

func importing(path string) string { return "package a\nimport _ \"" + path + "\"\n" }

// checkAll gives the problems of each rule, an error of the check among them.
func checkAll(t *testing.T, root fs.FS) map[string][]string {
	t.Helper()
	files, err := readSources(root)
	require.NoError(t, err)
	found := map[string][]string{}
	for _, rule := range rules {
		problems, err := rule.check(root, files)
		if err != nil {
			problems = append(problems, err.Error())
		}
		found[rule.name] = problems
	}
	return found
}

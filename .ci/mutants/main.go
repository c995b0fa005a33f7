// Mutants puts small faults into the code that decides about holds, medicines and
// symptoms, one at a time, and tells which of them the tests do not notice.
//
//	go run ./.ci/mutants [-n N] [-seed S] [-only PART,…] [-near] [-v]
//
// All mutants are compiled in at once, asleep, by an overlay; a process is told
// by its environment which one is awake. So each package's tests are built once.
// A first run of every test tells which mutants it reaches; after that a mutant
// is tried by the tests that reach it, the quickest first. Exits 1 when less than
// 90 of 100 are killed, or when one lived that survivors.txt does not explain.
package main

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"go/ast"
	"go/importer"
	"go/parser"
	"go/token"
	"go/types"
	"io"
	"log"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
)

const inner = "services/countback/internal/"

// decisions are the files whose every fault could hurt a person.
var decisions = []string{
	"pkg/readiness/hold.go", "pkg/readiness/question.go", "pkg/readiness/itemhold.go", "pkg/readiness/medicine.go",
	"pkg/readiness/doses.go", "pkg/readiness/kidney.go", "pkg/readiness/stranded.go",
	"pkg/readiness/decision.go", "pkg/readiness/undecided.go", "pkg/readiness/otherwise.go",
	"pkg/readiness/between.go", "pkg/readiness/happened.go", "pkg/readiness/secondlook.go",
	inner + "translate/finding.go", inner + "translate/holds.go", inner + "translate/holdanswer.go", inner + "translate/matter.go",
	inner + "translate/symptom.go", inner + "translate/medicine_rules.go", inner + "translate/signing.go",
	inner + "translate/secondlook.go", inner + "translate/happened.go",
}

// judges are the packages whose tests are asked, and which of them, the quickest
// first.
var judges = []struct{ dir, tests string }{
	{"pkg/readiness", "^Test"}, {inner + "translate", "^Test"}, {inner + "casework", "^Test"}, {inner + "app", "^TestDemo"},
}

// near is how many of the judges have mutants of their own.
const near = 2

func main() {
	log.SetFlags(0)
	log.SetPrefix("mutants: ")
	n := flag.Int("n", 0, "try only this many, drawn by -seed (0: all)")
	seed := flag.Uint64("seed", 1, "which ones are drawn")
	only := flag.String("only", "", "try only mutants whose place contains one of these texts, as in hold.go:12,doses.go")
	near := flag.Bool("near", false, "ask only the tests of the mutant's own package, which is quick")
	verbose := flag.Bool("v", false, "print also what killed a mutant")
	flag.Parse()
	if err := run(*n, *seed, *only, &trial{near: *near, verbose: *verbose}); err != nil {
		log.Fatal(err)
	}
}

func run(n int, seed uint64, only string, t *trial) error {
	dir, err := os.MkdirTemp("", "mutants")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	root, err := os.Getwd()
	if err != nil {
		return err
	}
	mutants, overlay, err := mutate(root, dir)
	if err != nil {
		return err
	}
	t.root, t.dir = root, dir
	if err := t.build(overlay); err != nil {
		return err
	}
	if err := t.reach(); err != nil {
		return err
	}
	var chosen []mutant
	for _, m := range mutants {
		if slices.ContainsFunc(strings.Split(only, ","), func(part string) bool { return strings.Contains(m.String(), part) }) {
			chosen = append(chosen, m)
		}
	}
	if n > 0 && n < len(chosen) {
		rand.New(rand.NewPCG(seed, 0)).Shuffle(len(chosen), func(i, j int) { chosen[i], chosen[j] = chosen[j], chosen[i] })
		chosen = chosen[:n]
	}
	explained, err := os.ReadFile(filepath.Join(root, ".ci/mutants/survivors.txt"))
	if err != nil && !os.IsNotExist(err) {
		return err
	}
	return t.judge(chosen, string(explained), seed)
}

// mutate writes the changed files below dir and the overlay that names them.
func mutate(root, dir string) ([]mutant, string, error) {
	exports, err := exportData(root)
	if err != nil {
		return nil, "", err
	}
	var mutants []mutant
	replace := map[string]string{}
	byDir := map[string][]string{}
	for _, f := range decisions {
		byDir[filepath.Dir(f)] = append(byDir[filepath.Dir(f)], f)
	}
	for _, f := range decisions {
		p := filepath.Dir(f)
		if byDir[p] == nil {
			continue
		}
		name, err := mutatePackage(root, dir, p, byDir[p], exports, &mutants, replace)
		if err != nil {
			return nil, "", err
		}
		byDir[p] = nil
		asleep := filepath.Join(dir, strings.ReplaceAll(p, "/", "_")+"_asleep.go")
		if err := os.WriteFile(asleep, []byte("package "+name+asleepSource), 0o600); err != nil {
			return nil, "", err
		}
		replace[filepath.Join(root, p, "mutants_asleep.go")] = asleep
	}
	overlay := filepath.Join(dir, "overlay.json")
	b, err := json.Marshal(map[string]any{"Replace": replace})
	if err != nil {
		return nil, "", err
	}
	return mutants, overlay, os.WriteFile(overlay, b, 0o600)
}

// asleepSource asks the environment which mutant is awake, and notes which are
// reached when a file for that is named.
const asleepSource = `

import (
	"fmt"
	"os"
	"strconv"
	"sync"
)

var mutantAwake, _ = strconv.Atoi(os.Getenv("MUTANT"))

var mutantNotes, mutantsNoted = os.Getenv("MUTANT_NOTES"), sync.Map{}

func mutantIs(id int) bool {
	if mutantNotes != "" {
		if _, old := mutantsNoted.LoadOrStore(id, true); !old {
			f, err := os.OpenFile(mutantNotes, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
			if err != nil {
				panic(err)
			}
			fmt.Fprintln(f, id)
			f.Close()
		}
	}
	return id == mutantAwake
}
`

func mutatePackage(root, dir, p string, files []string, exports map[string]string, mutants *[]mutant, replace map[string]string) (string, error) {
	set := token.NewFileSet()
	names, err := filepath.Glob(filepath.Join(root, p, "*.go"))
	if err != nil {
		return "", err
	}
	var parsed []*ast.File
	byName := map[string]*ast.File{}
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(set, name, nil, parser.ParseComments)
		if err != nil {
			return "", err
		}
		parsed = append(parsed, f)
		byName[name] = f
	}
	info := &types.Info{Types: map[ast.Expr]types.TypeAndValue{}, Uses: map[*ast.Ident]types.Object{}, Defs: map[*ast.Ident]types.Object{}}
	config := types.Config{Importer: importer.ForCompiler(set, "gc", func(path string) (io.ReadCloser, error) {
		return os.Open(exports[path])
	})}
	checked, err := config.Check(p, set, parsed, info)
	if err != nil {
		return "", err
	}
	for _, f := range files {
		name := filepath.Join(root, f)
		if byName[name] == nil {
			return "", fmt.Errorf("%s is not there", f)
		}
		source, err := os.ReadFile(name)
		if err != nil {
			return "", err
		}
		found := &finder{file: set.File(byName[name].Pos()), path: f, source: source, info: info, own: checked, mutants: mutants}
		ast.Inspect(byName[name], found.visit)
		changed := filepath.Join(dir, strings.ReplaceAll(f, "/", "_"))
		if err := os.WriteFile(changed, []byte(found.written()), 0o600); err != nil {
			return "", err
		}
		replace[name] = changed
	}
	return checked.Name(), nil
}

// exportData tells for every package that ours import where its types are.
func exportData(root string) (map[string]string, error) {
	cmd := exec.Command("go", "list", "-export", "-deps", "-f", "{{.ImportPath}}\t{{.Export}}", "./pkg/...", "./services/...")
	cmd.Dir = root
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		return nil, err
	}
	exports := map[string]string{}
	for line := range bytes.Lines(out) {
		if path, file, ok := strings.Cut(strings.TrimSpace(string(line)), "\t"); ok {
			exports[path] = file
		}
	}
	return exports, nil
}

package app

import (
	"encoding/json"
	"fmt"
	"go/ast"
	"go/format"
	"go/parser"
	"go/token"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
)

// point is a call in the product around which a process can be ended, or whose
// answer can be an error.
type point struct {
	name, file, fn string // the file under internal, and the function
	call           string // as it stands in the source
	result         string // its first result's type; empty when it gives an error only
}

var points = []point{
	{"write", "store/tx.go", "run", "s.ExecContext(never, args...)", "sql.Result"},
	{"write-rows", "store/tx.go", "insertRows", "s.ExecContext(never, args[:n*width]...)", "sql.Result"},
	{"commit", "store/write.go", "commit", `g.db.writer.control("COMMIT")`, ""},
	{"publish", "outbox/publish.go", "send", "r.o.JS.PublishMsg", "*jetstream.PubAck"},
	{"mark", "outbox/relay.go", "mark", "r.o.Rows.MarkPublished(ctx, r.unmarked)", ""},
}

// trap is the package that a changed build has and the product has not. A file
// names what shall happen: the point, before or after it, how (kill, once or for
// good), and at which passing counted from then on.
const trap = `package trap

import (
	"errors"
	"fmt"
	"os"
	"sync"
	"syscall"
)

var (
	mu     sync.Mutex
	last   string
	passed int
)

var errTrap = errors.New("it failed for a test")

func strikes(name, when string) bool {
	mu.Lock()
	defer mu.Unlock()
	text, err := os.ReadFile(os.Getenv("COUNTBACK_TRAP"))
	if err != nil {
		return false
	}
	if string(text) != last {
		last, passed = string(text), 0
	}
	var at, side, how string
	var nth int
	if _, err := fmt.Sscan(last, &at, &side, &how, &nth); err != nil || at != name || side != when {
		return false
	}
	passed++
	if how == "kill" && passed == nth {
		_ = syscall.Kill(os.Getpid(), syscall.SIGKILL)
		select {}
	}
	if passed == nth {
		_ = os.WriteFile(os.Getenv("COUNTBACK_TRAP")+".struck", nil, 0o600)
	}
	return how == "once" && passed == nth || how == "for-good" && passed >= nth
}

func Do[T any](name string, op func() (T, error)) (T, error) {
	var none T
	if strikes(name, "before") {
		return none, errTrap
	}
	out, err := op()
	if strikes(name, "after") {
		return none, errTrap
	}
	return out, err
}

func Err(name string, op func() error) error {
	_, err := Do(name, func() (struct{}, error) { return struct{}{}, op() })
	return err
}
`

const trapPath = "example.org/countback/services/countback/internal/trap"

// trapped builds the real command with traps around the points, from changed
// copies of the real files.
var trapped = sync.OnceValues(func() (string, error) {
	path, err := binary() // makes the folder, too
	if err != nil {
		return "", err
	}
	dir, err := os.MkdirTemp(filepath.Dir(path), "trapped-")
	if err != nil {
		return "", err
	}
	inner, err := filepath.Abs("..")
	if err != nil {
		return "", err
	}
	replace := map[string]string{}
	add := func(file string, text []byte) error {
		changed := filepath.Join(dir, fmt.Sprint(len(replace), ".go"))
		replace[filepath.Join(inner, file)] = changed
		return os.WriteFile(changed, text, 0o600)
	}
	if err := add("trap/trap.go", []byte(trap)); err != nil {
		return "", err
	}
	for file, of := range pointsByFile() {
		text, err := withTraps(filepath.Join(inner, file), of)
		if err != nil {
			return "", err
		}
		if err := add(file, text); err != nil {
			return "", err
		}
	}
	list, err := json.Marshal(map[string]any{"Replace": replace})
	if err != nil {
		return "", err
	}
	overlay, out := filepath.Join(dir, "overlay.json"), filepath.Join(dir, "countback")
	if err := os.WriteFile(overlay, list, 0o600); err != nil {
		return "", err
	}
	if said, err := exec.Command("go", "build", "-overlay", overlay, "-o", out, "../..").CombinedOutput(); err != nil {
		return "", fmt.Errorf("%w: %s", err, said)
	}
	return out, nil
})

func pointsByFile() map[string][]point {
	out := map[string][]point{}
	for _, p := range points {
		out[p.file] = append(out[p.file], p)
	}
	return out
}

// withTraps gives a file with each point's call put into a closure.
func withTraps(path string, of []point) ([]byte, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	files := token.NewFileSet()
	file, err := parser.ParseFile(files, path, text, parser.SkipObjectResolution)
	if err != nil {
		return nil, err
	}
	source := func(n ast.Node) string {
		return string(text[files.Position(n.Pos()).Offset:files.Position(n.End()).Offset])
	}
	var out []byte
	from := 0
	for _, p := range of {
		calls := callsIn(file, p, source)
		if len(calls) != 1 {
			return nil, fmt.Errorf("%s: %d calls of %s in %s, not one", path, len(calls), p.call, p.fn)
		}
		begin, end := files.Position(calls[0].Pos()).Offset, files.Position(calls[0].End()).Offset
		if begin < from {
			return nil, fmt.Errorf("%s: the points are not in the order of the file", path)
		}
		instead := fmt.Sprintf("trap.Err(%q, func() error { return %s })", p.name, text[begin:end])
		if p.result != "" {
			instead = fmt.Sprintf("trap.Do(%q, func() (%s, error) { return %s })", p.name, p.result, text[begin:end])
		}
		out = append(append(out, text[from:begin]...), instead...)
		from = end
	}
	out = append(out, text[from:]...)
	after := files.Position(file.Name.End()).Offset
	out = append(append(append([]byte(nil), out[:after]...), "\n\nimport "+fmt.Sprintf("%q", trapPath)...), out[after:]...)
	return format.Source(out)
}

// callsIn are the calls of a function that are a point, whole or by their name.
func callsIn(file *ast.File, p point, source func(ast.Node) string) []*ast.CallExpr {
	var out []*ast.CallExpr
	for _, d := range file.Decls {
		f, ok := d.(*ast.FuncDecl)
		if !ok || f.Name.Name != p.fn {
			continue
		}
		ast.Inspect(f, func(n ast.Node) bool {
			if c, ok := n.(*ast.CallExpr); ok && (source(c) == p.call || source(c.Fun) == p.call) {
				out = append(out, c)
			}
			return true
		})
	}
	return out
}

// setTrap says what shall happen in the process whose trap file it is; a new text
// counts anew.
func setTrap(t *testing.T, file, text string) {
	t.Helper()
	require.NoError(t, os.WriteFile(file+".new", []byte(text), 0o600))
	require.NoError(t, os.Rename(file+".new", file))
}

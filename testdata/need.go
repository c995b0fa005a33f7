package testdata

import (
	"os"
	"os/exec"
)

// TB is the part of testing.TB that Need uses: with the interface here, what
// imports the corpus does not link package testing.
type TB interface {
	Helper()
	Skipf(format string, args ...any)
	Fatalf(format string, args ...any)
}

// Need gives the path of a program that a test wants beside Go. Where it is
// missing, the test is skipped and says how to install it; with
// COUNTBACK_FULL=1 in the environment, where nothing may be left out, it fails.
func Need(t TB, program, installLine string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	if err != nil {
		missing(t, program, installLine)
	}
	return path
}

// NeedFile is Need for a file or folder: it gives back the path it was asked for.
func NeedFile(t TB, path, installLine string) string {
	t.Helper()
	if _, err := os.Stat(path); err != nil {
		missing(t, path, installLine)
	}
	return path
}

func missing(t TB, what, installLine string) {
	t.Helper()
	if os.Getenv("COUNTBACK_FULL") == "1" {
		t.Fatalf("%s is missing, and COUNTBACK_FULL=1 leaves nothing out; install it with: %s", what, installLine)
	}
	t.Skipf("%s is missing; install it with: %s", what, installLine)
}

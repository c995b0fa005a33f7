package kitcheck

import (
	"context"
	"net/http"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/conformance"
)

// golden says which tests fail by which fault: the fault, and below it its tests.
// UPDATE=1 finds it out anew and gives each test to the fault by which the fewest
// fail.
const golden = "testdata/faults.golden"

func faults() []fault {
	var out []fault
	for _, g := range groups {
		out = append(out, g.faults...)
	}
	return out
}

// groups says in which scripts tests that find a fault are looked for.
var groups = []struct {
	scripts []string
	faults  []fault
}{
	{[]string{"crud", "versions", "conditional", "errors", "content", "metadata"}, httpFaults},
	{[]string{"bundles"}, bundleFaults},
	{[]string{"search", "values", "plan"}, searchFaults},
	{[]string{"plan", "redating", "tasks", "holds", "medicines", "operations", "measures"}, planFaults},
	{[]string{"measures"}, measureFaults},
	{[]string{"metadata"}, statementFaults},
	{[]string{"patch", "fhirpathpatch", "conditions", "delete", "history", "includes", "summaries", "validate", "profiles"}, restFaults},
	{[]string{"subscriptions"}, subscriptionFaults},
}

// play runs the kit, or the tests that are named.
func play(t *testing.T, b *broken, only ...string) []conformance.TestResult {
	t.Helper()
	scripts, err := conformance.Scripts()
	require.NoError(t, err)
	ctx, cancel := context.WithTimeout(t.Context(), deadline)
	defer cancel()
	client := &http.Client{Transport: &http.Transport{}, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	defer client.CloseIdleConnections()
	b.greeting.Store(true)
	results, err := conformance.Execute(ctx, scripts, conformance.Options{Base: b.URL, Client: client, Only: only, Today: today, Now: time.Now})
	require.NoError(t, err)
	return results.Tests()
}

func failed(tests []conformance.TestResult) []string {
	var out []string
	for _, test := range tests {
		if test.Verdict == conformance.Fail && !test.SetupFailed {
			out = append(out, test.Name())
		}
	}
	return out
}

// TestKitPasses runs the whole kit twice against the sound server: it leaves
// nothing behind that stands in its own way.
func TestKitPasses(t *testing.T) {
	b := start(t)
	for range 2 {
		tests := play(t, b)
		require.GreaterOrEqual(t, len(tests), 80)
		for _, test := range tests {
			require.Equal(t, conformance.Pass, test.Verdict, "%s: %+v", test.Name(), test.Actions)
		}
	}
}

// TestKitFails plays to each fault the tests that find it. Every test of the kit
// finds at least one, and every fault is found.
func TestKitFails(t *testing.T) {
	if os.Getenv("UPDATE") == "1" {
		update(t)
	}
	b := start(t)
	found := map[string]bool{}
	table := readGolden(t)
	for _, f := range faults() {
		t.Run(f.name, func(t *testing.T) {
			expected := table[f.name]
			require.NotEmpty(t, expected, "no test finds this fault")
			b.fault.Store(&f)
			got := failed(play(t, b, expected...))
			b.fault.Store(nil)
			require.ElementsMatch(t, expected, got)
			for _, name := range got {
				found[name] = true
			}
		})
	}
	require.Len(t, table, len(faults()), "a fault of the table is not there")
	for _, name := range names(t) {
		require.Contains(t, found, name, "a test that no fault makes fail")
	}
}

// names are all tests of the kit.
func names(t *testing.T) []string {
	t.Helper()
	scripts, err := conformance.Scripts()
	require.NoError(t, err)
	var out []string
	for _, s := range scripts {
		for _, test := range s.Test {
			out = append(out, s.Name+"/"+test.ID)
		}
	}
	return out
}

func readGolden(t *testing.T) map[string][]string {
	t.Helper()
	body, err := os.ReadFile(golden)
	require.NoError(t, err)
	out := map[string][]string{}
	name := ""
	for line := range strings.Lines(string(body)) {
		line = strings.TrimRight(line, "\n")
		if test, ok := strings.CutPrefix(line, "  "); ok {
			out[name] = append(out[name], test)
		} else {
			name = line
		}
	}
	return out
}

// update plays to every fault the scripts that may find it, on a new server for
// every few faults, as what a run leaves behind makes searches slower.
func update(t *testing.T) {
	t.Helper()
	const few = 8
	byFault := map[string][]string{}
	for _, g := range groups {
		for some := range slices.Chunk(g.faults, few) {
			b := start(t)
			for _, f := range some {
				b.fault.Store(&f)
				byFault[f.name] = failed(play(t, b, g.scripts...))
				t.Logf("%s: %d tests fail", f.name, len(byFault[f.name]))
			}
		}
	}
	writeGolden(t, names(t), byFault)
}

func writeGolden(t *testing.T, all []string, byFault map[string][]string) {
	t.Helper()
	chosen := map[string][]string{}
	for _, name := range all {
		best := ""
		for _, f := range faults() {
			if slices.Contains(byFault[f.name], name) && (best == "" || len(byFault[f.name]) < len(byFault[best])) {
				best = f.name
			}
		}
		chosen[best] = append(chosen[best], name)
	}
	var out strings.Builder
	for _, f := range faults() {
		list := chosen[f.name]
		if len(list) == 0 && len(byFault[f.name]) > 0 { // its tests find rarer faults, too
			list = byFault[f.name][:1]
		}
		out.WriteString(f.name + "\n")
		for _, name := range list {
			out.WriteString("  " + name + "\n")
		}
	}
	require.NoError(t, os.WriteFile(golden, []byte(out.String()), 0o644))
	require.Empty(t, chosen[""], "tests that no fault makes fail")
}

package casework

import (
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
	"example.org/countback/services/countback/internal/store"
	"example.org/countback/services/countback/internal/translate"
)

const extensionBase = "http://countback.example/fhir/StructureDefinition/"

// extensions are the texts of an element's extensions of a name, in their order.
func extensions(n *fhir.Node, name string) []string {
	out := []string{}
	for k := range n.Get("extension").Len() {
		if e := n.Get("extension").Item(k); e.String("url") == extensionBase+name {
			out = append(out, e.String("valueString"))
		}
	}
	return out
}

func number(s string) int64 {
	n, err := strconv.ParseInt(s, 10, 64)
	if err != nil {
		panic(err)
	}
	return n
}

// Every Task that has a day tells its rule in one sentence with the numbers, and
// names its source beside it.
func TestEveryTaskTellsItsRule(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	h.tick("2026-12-21 09:00")
	for _, i := range h.items(b.plan) {
		task := h.get("Task/" + i.ID)
		rules := extensions(task.Root(), "rule")
		require.Len(t, rules, 1, i.Step)
		require.True(t, strings.HasSuffix(rules[0], "."), rules[0])
		require.NotEmpty(t, extensions(task.Root(), "source"), i.Step)
		if i.Due != "" {
			require.Contains(t, strings.ToLower(rules[0]), "due ", i.Step)
			require.Contains(t, rules[0], at(i.Due[:10]+" 12:00").Format("Mon 2 Jan 2006"), i.Step)
		}
	}
	// By hand: 30 days before 11 January is 12 December, 7 days before is 4 January.
	task := h.get("Task/" + h.step(b.plan, "medical-evaluation").ID)
	rule := extensions(task.Root(), "rule")[0]
	for _, part := range []string{"Sat 12 Dec 2026 (30 days before surgery)", "Mon 4 Jan 2027 (7 days before surgery", "counts for 30 days"} {
		require.Contains(t, rule, part)
	}
	require.Contains(t, strings.Join(extensions(task.Root(), "source"), "\n"), "42 CFR 482.22(c)(5)")
}

// The Provenance of a change of few items repeats what their Tasks tell, in the
// version that it names; that of a new booking does not.
func TestProvenanceTellsTheRules(t *testing.T) {
	h := newHouse(t)
	b := h.book("1", surgery)
	opening := h.found("Provenance")[0]
	require.Greater(t, parse(t, opening.Body).Get("target").Len(), 50)
	require.NotContains(t, string(opening.Body), extensionBase, "a new booking has too many")
	require.Contains(t, string(opening.Body), h.office.Protocol().Canonical())

	few, many := 0, 0
	for next := h.caseRow(b.plan).NextAt; !next.IsZero(); next = h.caseRow(b.plan).NextAt {
		known := map[string]bool{}
		for _, s := range h.found("Provenance") {
			known[s.ID] = true
		}
		h.tickTo(next)
		all := h.found("Provenance")
		n := slices.IndexFunc(all, func(s store.Stored) bool { return !known[s.ID] })
		if n < 0 {
			continue
		}
		targets := parse(t, all[n].Body).Get("target")
		tasks := 0
		for k := range targets.Len() {
			if strings.HasPrefix(targets.Item(k).String("reference"), "Task/") {
				tasks++
			}
		}
		for k := range targets.Len() {
			target := targets.Item(k)
			ref, isTask := strings.CutPrefix(target.String("reference"), "Task/")
			if !isTask || tasks > translate.MostTold {
				require.Empty(t, extensions(target, "rule"))
				require.Equal(t, isTask, len(extensions(target, "change")) == 1, "what changed is told in any case")
				many++
				continue
			}
			id, version, _ := strings.Cut(ref, "/_history/")
			task := parse(t, h.version("Task/"+id, number(version)).Body)
			require.NotEmpty(t, extensions(target, "rule"))
			require.Equal(t, extensions(task.Root(), "rule"), extensions(target, "rule"))
			require.Equal(t, extensions(task.Root(), "source"), extensions(target, "source"))
			few++
		}
	}
	require.Greater(t, few, 40)
	require.Greater(t, many, 10)
}

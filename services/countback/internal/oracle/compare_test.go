package oracle

import (
	"flag"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func number(text string) float64 {
	n, err := strconv.ParseFloat(text, 64)
	if err != nil {
		panic(err)
	}
	return n
}

// check tries a property on so many cases and says how many it were and from
// which seed. COUNTBACK_ORACLE asks for another number of small cases (and a
// fiftieth as many full ones), from another seed each time unless
// COUNTBACK_ORACLE_SEED gives one. COUNTBACK_ORACLE_ASK is how many times as often
// the questions about a plan are asked.
func check(t *testing.T, full bool, draw func(*rapid.T) situation) {
	cases, seed := 20000, uint64(1)
	if full {
		cases = 300
	}
	if text := os.Getenv("COUNTBACK_ORACLE"); text != "" {
		asked, err := strconv.Atoi(text)
		require.NoError(t, err)
		cases, seed = asked, rand.Uint64()
		if full {
			cases = max(asked/50, 1)
		}
	}
	if text := os.Getenv("COUNTBACK_ORACLE_SEED"); text != "" {
		asked, err := strconv.ParseUint(text, 10, 64)
		require.NoError(t, err)
		seed = asked
	}
	if text := os.Getenv("COUNTBACK_ORACLE_ASK"); text != "" {
		asked, err := strconv.Atoi(text)
		require.NoError(t, err)
		askMore = asked
	}
	require.NoError(t, flag.Set("rapid.checks", strconv.Itoa(cases)))
	require.NoError(t, flag.Set("rapid.seed", strconv.FormatUint(seed, 10)))
	require.NoError(t, flag.Set("rapid.nofailfile", "true"))
	tried, met := 0, map[string]int{}
	rapid.Check(t, func(t *rapid.T) {
		s := draw(t)
		tried++
		plan := Make(s.place, s.rules, s.c, s.now)
		if difference := s.compare(plan); difference != "" {
			t.Fatalf("the plans differ:\n%s", difference)
		}
		if difference := s.questions(t, plan); difference != "" {
			t.Fatalf("the answers differ:\n%s", difference)
		}
		plan.count(met)
	})
	t.Logf("%d cases from seed %d, no difference; met %v", tried, seed, met)
	if tried >= 20000 {
		for _, state := range everyState {
			if full && state == "chain" {
				continue // no three musts of the default protocol follow each other
			}
			require.Greater(t, met[state], 20, "too few cases are %s", state)
		}
	}
}

// everyState is what many small cases have to come by, or they prove little.
var everyState = []string{
	"item upcoming", "item open", "item due", "item late", "item missed", "item paused", "item done", "item expired",
	"item waived", "item not-needed", "compressed", "too late", "waits", "in doubt", "round 3",
	"case cancelled", "case closed", "case home", "case arrived", "case held", "case infeasible", "case behind",
	"case ready", "case on-track",
	"shown by a record", "a record that lapsed", "late in doubt", "unreported", "leaves time", "chain", "infeasible by what follows",
}

func (plan Plan) count(met map[string]int) {
	met["case "+plan.State]++
	plan.asked(met)
	for _, it := range plan.Items {
		met["item "+it.State]++
		for mark, has := range map[string]bool{
			"compressed": it.Compressed, "too late": it.TooLate, "waits": len(it.Waits) > 0,
			"in doubt": it.Applies == Unknown, "round 3": it.Round == 3,
		} {
			if has {
				met[mark]++
			}
		}
	}
}

// The code and the oracle plan the same for any small protocol.
func TestSmallProtocols(t *testing.T) {
	w := theWorld(t)
	check(t, false, w.draw)
}

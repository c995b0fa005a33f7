package readiness_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

func TestConditionAnswers(t *testing.T) {
	const pets, asks, clearance = "whether there are pets", "whether the payer asks", "what the clearance is"
	facts := func(pairs ...any) map[string]any {
		out := map[string]any{}
		for n := 0; n < len(pairs); n += 2 {
			out[pairs[n].(string)] = pairs[n+1]
		}
		return out
	}
	for _, r := range []struct {
		text  string
		facts map[string]any
		want  readiness.Answer
		needs []string
	}{
		{"pets", facts("pets", true), readiness.Yes, nil},
		{"pets", facts("pets", false), readiness.No, nil},
		{"pets", nil, readiness.Unknown, []string{pets}},
		{"!pets", nil, readiness.Unknown, []string{pets}},
		{"pets || asks", facts("pets", true), readiness.Yes, nil},
		{"asks || pets", facts("pets", true), readiness.Yes, nil},
		{"pets || asks", facts("pets", false), readiness.Unknown, []string{asks}},
		{"pets || asks", facts("pets", false, "asks", false), readiness.No, nil},
		{"pets && asks", facts("asks", false), readiness.No, nil},
		{"asks && pets", facts("asks", false), readiness.No, nil},
		{"pets && asks", facts("asks", true), readiness.Unknown, []string{pets}},
		{"pets && asks", nil, readiness.Unknown, []string{asks, pets}},
		{"urgent", nil, readiness.No, nil},
		{"!urgent", nil, readiness.Yes, nil},
		{"urgent", facts("urgent", true), readiness.Yes, nil},
		{`stay == "overnight"`, facts("stay", "overnight"), readiness.Yes, nil},
		{`stay == "overnight"`, facts("stay", "same-day"), readiness.No, nil},
		{`stay in ["overnight", "long"]`, facts("stay", "long"), readiness.Yes, nil},
		{"clearance <= 50.0", facts("clearance", 50.0), readiness.Yes, nil},
		{"clearance <= 50.0", facts("clearance", 50.1), readiness.No, nil},
		{"clearance > 50.0", facts("clearance", 50.0), readiness.No, nil},
		{"clearance <= 50.0", nil, readiness.Unknown, []string{clearance}},
		{"pets ? asks : urgent", facts("pets", false), readiness.No, nil},
		{"pets ? asks : urgent", facts("pets", true), readiness.Unknown, []string{asks}},
		{"true", nil, readiness.Yes, nil},
	} {
		t.Run(r.text, func(t *testing.T) {
			answer, needs := condition(t, r.text).Holds(r.facts)
			require.Equal(t, r.want, answer)
			require.Equal(t, r.needs, needs)
		})
	}
}

// A fact of the wrong type is a doubt that says so, never a silent yes or no.
func TestConditionWithAFactOfTheWrongType(t *testing.T) {
	for _, v := range []any{"yes", 1, nil} {
		answer, needs := condition(t, "pets && urgent == false").Holds(map[string]any{"pets": v})
		require.Equal(t, readiness.Unknown, answer, "%v", v)
		require.NotEmpty(t, needs, "%v", v)
	}
}

func TestConditionKeepsItsText(t *testing.T) {
	c, err := conditions(t).Compile("pets", "there are pets")
	require.NoError(t, err)
	require.Equal(t, "pets", c.Text)
	require.Equal(t, "there are pets", c.Words)
}

func TestCompileRefuses(t *testing.T) {
	for _, r := range []struct{ name, text, says string }{
		{"an unknown name", "cats", "undeclared reference to 'cats'"},
		{"an unknown name among known ones", "pets && cats", "undeclared reference to 'cats'"},
		{"its place", "pets &&\n cats", "2:2"},
		{"a string", "stay", "gives string, not true or false"},
		{"a number", "clearance + 1.0", "gives double, not true or false"},
		{"two types compared", "pets == stay", "no matching overload"},
		{"a whole number beside a decimal", "clearance + 50 > 0.0", "no matching overload"},
		{"nothing", "", "mismatched input"},
		{"half an expression", "pets &&", "mismatched input"},
		{"an unknown function", "now() == stay", "undeclared reference to 'now'"},
		{"a costly loop", "[1,2,3,4,5,6,7,8,9,10].all(a, [1,2,3,4,5,6,7,8,9,10].all(b, a + b > 0))", "too costly"},
		{"a loop over pairs", "[1,2,3,4,5,6,7,8,9].map(a, [1,2,3,4,5,6,7,8,9].filter(b, b > a)).size() > 0", "too costly"},
	} {
		t.Run(r.name, func(t *testing.T) {
			c, err := conditions(t).Compile(r.text, "")
			require.Nil(t, c)
			require.ErrorContains(t, err, r.says)
		})
	}
}

func TestNewConditionsRefusesAnUnknownType(t *testing.T) {
	_, err := readiness.NewConditions([]readiness.Fact{{Name: "pets", Type: "date"}})
	require.EqualError(t, err, `fact pets: type "date" is not boolean, string or number`)
}

// FuzzCompile: whatever is written, compiling and asking never panic, and an
// answer given with facts missing stays the answer whatever they turn out to be.
func FuzzCompile(f *testing.F) {
	for _, seed := range []string{
		"pets", "!pets && asks", `stay == "overnight" || urgent`, "clearance <= 50.0", "pets ? asks : urgent",
		"[pets, asks].exists(x, x)", "1 / 0 == 1 || pets", "stay.startsWith('o')", "has(pets.x)", "{'a': pets}['a']",
		"pets == ", "\x00", strings.Repeat("(", 50), "dyn(stay) == 1", "pets == pets",
	} {
		f.Add(seed)
	}
	known := []map[string]any{
		{"pets": true, "asks": false, "stay": "overnight", "clearance": 49.5},
		{"pets": false, "asks": true, "stay": "", "clearance": 0.0, "urgent": true},
		{"pets": false, "asks": false, "stay": "same-day", "clearance": -1e300},
	}
	c := conditions(f)
	f.Fuzz(func(t *testing.T, text string) {
		compiled, err := c.Compile(text, "words")
		if err != nil {
			require.Nil(t, compiled)
			return
		}
		early, needs := compiled.Holds(map[string]any{"urgent": false})
		require.Equal(t, early == readiness.Unknown, len(needs) > 0, "a doubt says what is needed, and only a doubt does")
		for _, facts := range known {
			if facts["urgent"] == nil {
				answer, _ := compiled.Holds(facts)
				if early != readiness.Unknown {
					require.Equal(t, early, answer, "%v", facts)
				}
			}
			compiled.Holds(facts)
		}
	})
}

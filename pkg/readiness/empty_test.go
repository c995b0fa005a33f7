package readiness_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// A window that chains of steps leave empty in every calendar is refused.
func TestNewProtocolRefusesEmptyChains(t *testing.T) {
	dueOn := func(code string, due readiness.Point, opens ...readiness.Point) readiness.Step {
		return step(code, readiness.Window{Opens: opens, Due: points(due)})
	}
	for _, r := range []struct {
		name  string
		steps []readiness.Step
		fault string
	}{
		{"by one that it follows", []readiness.Step{step("a", before(10, 1)), after("b", 5, days(surgery, -7), "a")},
			"b is due 7 days before surgery, but after a it opens 5 days before surgery at the earliest, in every calendar"},
		{"through a chain, in any order", []readiness.Step{after("c", 4, days(surgery, -3), "b"), after("b", 4, days(surgery, -4), "a"), step("a", before(10, 5))},
			"c is due 3 days before surgery, but after a → b it opens 2 days before surgery at the earliest, in every calendar"},
		{"through one that must leave time", []readiness.Step{
			step("c", before(10, 3)), step("b", window(days(surgery, -6), days("c", -4)))},
			"c is due 3 days before surgery, but after b it opens 2 days before surgery at the earliest, in every calendar"},
		{"by business days, which are never fewer than days", []readiness.Step{step("a", before(10, 1)), dueOn("b", days(surgery, -7), business("a", 4))},
			"b is due 7 days before surgery, but after a it opens 6 days before surgery at the earliest, in every calendar"},
		{"by its own points of two units", []readiness.Step{step("a", window(days(surgery, -20), months(surgery, -1)))},
			"a is due 1 month before surgery, but opens 20 days before surgery at the earliest, in every calendar"},
		{"days against business days", []readiness.Step{step("a", window(days(surgery, -3), business(surgery, -4)))},
			"a is due 4 business days before surgery, but opens 3 days before surgery at the earliest, in every calendar"},
		{"hours against days", []readiness.Step{step("a", window(hours(surgery, -22), days(surgery, -2)))},
			"a is due 2 days before surgery, but opens 1 day before surgery at the earliest, in every calendar"},
		{"after its own last day", []readiness.Step{lastDay(step("a", before(5, 1)), days(surgery, -6))},
			"a is of no use after 6 days before surgery, but opens 5 days before surgery at the earliest, in every calendar"},
		{"after discharge", []readiness.Step{step("a", window(days(discharge, 0), days(surgery, -1)))},
			"a is due 1 day before surgery, but opens the day of surgery at the earliest, in every calendar"},
	} {
		t.Run(r.name, func(t *testing.T) {
			_, err := readiness.NewProtocol(readiness.Protocol{Stays: stays, Steps: r.steps})
			var refused *readiness.ProtocolError
			require.True(t, errors.As(err, &refused))
			require.Equal(t, []string{r.fault}, refused.Faults)
		})
	}
}

func TestNewProtocolRefusesStepsThatWaitForEachOther(t *testing.T) {
	// a follows b and is due before c, which b follows: no dates are counted in a
	// circle, and yet it cannot be done.
	a := step("a", window(days("b", 0), days("c", -3)))
	_, err := readiness.NewProtocol(readiness.Protocol{Steps: []readiness.Step{a, after("b", 0, days(surgery, -1), "c"), step("c", before(10, 1))}})
	require.EqualError(t, err, "protocol refused: these steps wait for each other: a → b → c → a")
	c := step("c", window(hours("d", 24), days(surgery, -1)))
	_, err = readiness.NewProtocol(readiness.Protocol{Steps: []readiness.Step{c, step("d", before(10, 1))}})
	require.EqualError(t, err, "protocol refused: c counts hours from d, of which only the day is known")
}

func TestWarnings(t *testing.T) {
	for _, r := range []struct {
		name  string
		steps []readiness.Step
		want  []string
	}{
		{"never empty", []readiness.Step{step("a", before(30, 7)), step("b", window(business(surgery, -3), business(surgery, -1)))}, nil},
		{"opens on the earlier of two", []readiness.Step{step("a", readiness.Window{OpensEarliest: true, Opens: points(days(surgery, -3), business(surgery, -1)), Due: points(days(surgery, -1))})}, nil},
		{"the day before, when that is no business day", []readiness.Step{step("a", window(business(surgery, -1), days(surgery, -2)))},
			[]string{"a has an empty window for some dates: with surgery on Tue 2 Jan 2024 and the holidays \"none\", it would open Mon 1 Jan 2024 and be due Sun 31 Dec 2023"}},
		{"a long weekend", []readiness.Step{step("a", window(days(surgery, -3), business(surgery, -1)))},
			[]string{"a has an empty window for some dates: with surgery on Tue 2 Jan 2024 and the holidays \"us-federal\", it would open Sat 30 Dec 2023 and be due Fri 29 Dec 2023"}},
		{"a short month", []readiness.Step{step("a", window(months(surgery, -1), days(surgery, -30)))},
			[]string{"a has an empty window for some dates: with surgery on Fri 1 Mar 2024 and the holidays \"none\", it would open Thu 1 Feb 2024 and be due Wed 31 Jan 2024"}},
		{"business days in a chain", []readiness.Step{step("a", before(10, 7)), step("b", readiness.Window{Opens: points(business("a", 4)), Due: points(days(surgery, -6))})},
			[]string{"b has an empty window for some dates: with surgery on Mon 1 Jan 2024 and the holidays \"none\", after a it would open Thu 28 Dec 2023 and be due Tue 26 Dec 2023"}},
		{"its last day", []readiness.Step{lastDay(step("a", window(business(surgery, -1), days(surgery, -1))), days(surgery, -2))},
			[]string{"a has an empty window for some dates: with surgery on Tue 2 Jan 2024 and the holidays \"none\", it would open Mon 1 Jan 2024 and be of no use after Sun 31 Dec 2023"}},
	} {
		t.Run(r.name, func(t *testing.T) {
			require.Equal(t, r.want, protocol(t, r.steps...).Warnings(nil))
		})
	}
}

// Closures of the facility's own can leave a step no time where the published
// holidays leave it enough.
func TestWarningsOfOwnClosures(t *testing.T) {
	set, err := calendar.Holidays("us-federal")
	require.NoError(t, err)
	closures, err := calendar.ParseClosures(strings.NewReader("2026-11-20..2026-11-27 Theatre rebuilt\n"))
	require.NoError(t, err)
	own, err := calendar.New(calendar.Options{Zone: time.UTC, Holidays: set.With(closures)})
	require.NoError(t, err)
	p := protocol(t, step("a", window(days(surgery, -6), business(surgery, -1))))
	require.Empty(t, p.Warnings(nil))
	require.Equal(t, []string{"a has an empty window for some dates: with surgery on Mon 30 Nov 2026 and this facility's closed days, it would open Tue 24 Nov 2026 and be due Thu 19 Nov 2026"}, p.Warnings(own))
}

package readiness_test

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

func TestNewProtocolNamesEveryFault(t *testing.T) {
	raised := readiness.AnchorRaised
	follows := func(code string, others ...string) readiness.Step {
		w := readiness.Window{Due: points(days(surgery, -1))}
		for _, o := range others {
			w.Opens = append(w.Opens, days(o, 0))
		}
		return step(code, w)
	}
	last := func(p readiness.Point) func(*readiness.Step) {
		return func(s *readiness.Step) { s.Last = &p }
	}
	for _, r := range []struct {
		name   string
		steps  []readiness.Step
		faults []string
	}{
		{"no id", []readiness.Step{step("a", before(2, 1)), step("", before(2, 1))}, []string{"action 1 has no id"}},
		{"twice", []readiness.Step{step("a", before(2, 1)), step("a", before(3, 1))}, []string{"a is defined twice"}},
		{"an anchor's name", []readiness.Step{step("surgery", window(days(booking, 0), days(booking, 1)))}, []string{"surgery names an anchor and cannot be a step"}},
		{"unknown anchor", []readiness.Step{follows("a", "nowhere")}, []string{`a refers to "nowhere", which is no action of this protocol`}},
		{"unknown last day", []readiness.Step{with(step("a", before(2, 1)), last(days("nowhere", 0)))}, []string{`a refers to "nowhere", which is no action of this protocol`}},
		{"self", []readiness.Step{follows("a", "a")}, []string{"a refers to itself", "these steps wait for each other: a → a"}},
		{"cycle of two", []readiness.Step{follows("a", "b"), follows("b", "a")}, []string{"these steps wait for each other: a → b → a"}},
		{"cycle of three behind another step", []readiness.Step{follows("x", "a"), follows("a", "b"), follows("b", "c"), follows("c", "a")}, []string{"these steps wait for each other: a → b → c → a"}},
		{"cycle through a last day", []readiness.Step{follows("a", "b"), with(step("b", before(2, 1)), last(days("a", 3)))}, []string{"these steps wait for each other: a → b → a"}},
		{"empty window", []readiness.Step{step("a", before(7, 14))}, []string{"a opens 7 days before surgery, after it is due 14 days before surgery, in every calendar"}},
		{"empty window of hours", []readiness.Step{step("a", window(hours(surgery, -2), hours(surgery, -8)))}, []string{"a opens 2 hours before the start of anaesthesia, after it is due 8 hours before the start of anaesthesia, in every calendar"}},
		{"empty by the clock", []readiness.Step{step("a", window(oclock(business(surgery, -1), 17, 0), oclock(business(surgery, -1), 12, 0)))}, []string{"a opens at 17:00, 1 business day before surgery, after it is due at 12:00, 1 business day before surgery, in every calendar"}},
		{"raised without a trigger", []readiness.Step{step("a", window(days(raised, 0), days(raised, 1)))}, []string{
			"a counts from the event that raises it but has no trigger", "a counts from the event that raises it but has no trigger"}},
		{"nobody to do it", []readiness.Step{with(step("a", before(2, 1)), func(s *readiness.Step) { s.Performers = nil })}, []string{"a has nobody to do it"}},
		{"several at once", []readiness.Step{step("a", before(7, 14)), follows("b", "nowhere"), step("b", before(2, 1))}, []string{
			"b is defined twice",
			"a opens 7 days before surgery, after it is due 14 days before surgery, in every calendar",
			`b refers to "nowhere", which is no action of this protocol`,
		}},
	} {
		t.Run(r.name, func(t *testing.T) {
			_, err := readiness.NewProtocol(readiness.Protocol{Stays: stays, Steps: r.steps})
			var refused *readiness.ProtocolError
			require.True(t, errors.As(err, &refused))
			require.Equal(t, r.faults, refused.Faults)
			for _, f := range r.faults {
				require.ErrorContains(t, err, f)
			}
		})
	}
}

func TestNewProtocolAccepts(t *testing.T) {
	for _, r := range []struct {
		name string
		step readiness.Step
	}{
		{"one day", step("a", before(7, 7))},
		{"one moment", step("a", window(hours(surgery, -2), hours(surgery, -2)))},
		{"empty only in some calendars", step("a", window(business(surgery, -1), days(surgery, -2)))},
		{"opens on the earliest of two", step("a", readiness.Window{OpensEarliest: true, Opens: points(days(surgery, -7), days(surgery, -30)), Due: points(days(surgery, -14))})},
		{"hours that a change of clocks may bring a day back", lastDay(step("a", window(hours(surgery, 72), days(surgery, 3))), days(surgery, 2))},
		{"no window", step("a", readiness.Window{})},
		{"raised", with(step("a", window(days(readiness.AnchorRaised, 0), days(readiness.AnchorRaised, 1))), func(s *readiness.Step) { s.Trigger = "event" })},
	} {
		t.Run(r.name, func(t *testing.T) {
			p, err := readiness.NewProtocol(readiness.Protocol{Steps: []readiness.Step{r.step}})
			require.NoError(t, err)
			require.Equal(t, "a", p.Step("a").Code)
			require.Nil(t, p.Step("b"))
		})
	}
}

func TestNewProtocolWantsADefaultStay(t *testing.T) {
	_, err := readiness.NewProtocol(readiness.Protocol{Stays: []readiness.Stay{{Code: "overnight"}}})
	require.EqualError(t, err, "protocol refused: no planned stay is marked as the default")
}

func TestAnchors(t *testing.T) {
	for _, name := range []string{"booking", "surgery", "discharge", "raised"} {
		require.True(t, readiness.IsAnchor(name), name)
	}
	require.False(t, readiness.IsAnchor("first-call"))
	require.False(t, readiness.IsAnchor(""))
}

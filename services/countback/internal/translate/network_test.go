package translate

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/graph/path"
	"gonum.org/v1/gonum/graph/simple"
	"pgregory.net/rapid"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// spansByPaths works out the earliest and latest days of a plan's waiting items
// as longest and shortest paths, by another's code: from today along what follows
// what, and from the last days against it. It knows steps that follow others by
// whole days, all of them once.
func spansByPaths(t require.TestingT, pl *readiness.Plan, today calendar.Date) map[int]readiness.Span {
	const origin = -1
	ahead := simple.NewWeightedDirectedGraph(0, math.Inf(1)) // negative, so that the longest is the shortest
	against := simple.NewWeightedDirectedGraph(0, math.Inf(1))
	edge := func(g *simple.WeightedDirectedGraph, from, to int64, days int) {
		g.SetWeightedEdge(g.NewWeightedEdge(simple.Node(from), simple.Node(to), float64(days)))
	}
	at := map[string]int64{}
	for n, i := range pl.Items {
		if i.Applies == readiness.Yes && (i.State.Waiting() || i.State == readiness.Missed) {
			at[i.Key.Step] = int64(n)
		}
	}
	for _, n := range at {
		i := &pl.Items[n]
		edge(ahead, origin, n, -max(i.Opens.Day.Sub(today), 0))
		limit := i.Last.Day
		if i.Last.IsZero() {
			limit = i.Due.Day
		}
		if !limit.IsZero() {
			edge(against, origin, n, limit.Sub(today))
		}
		for _, pt := range i.Step.Window.Opens {
			if before, waits := at[pt.Anchor]; waits {
				require.Equal(t, readiness.Days, pt.Offset.Unit)
				edge(ahead, before, n, -pt.Offset.N)
				edge(against, n, before, -pt.Offset.N)
			}
		}
	}
	if against.Node(origin) == nil {
		against.AddNode(simple.Node(origin))
	}
	longest, ok := path.BellmanFordFrom(simple.Node(origin), ahead)
	require.True(t, ok)
	shortest, ok := path.BellmanFordFrom(simple.Node(origin), against)
	require.True(t, ok)
	out := map[int]readiness.Span{}
	for _, n := range at {
		if !pl.Items[n].State.Waiting() {
			continue // it holds up others, and has no span itself
		}
		s := readiness.Span{Earliest: today.Add(-int(longest.WeightTo(n)))}
		if w := shortest.WeightTo(n); !math.IsInf(w, 1) {
			s.Latest = today.Add(int(w))
		}
		out[int(n)] = s
	}
	return out
}

func TestDefaultNetworkIsThatOfPaths(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	follow := 0
	rapid.Check(t, func(t *rapid.T) {
		c := f.hipOn(t, onS)
		if rapid.Bool().Draw(t, "all facts") {
			c.Facts = allFacts(p)
		}
		c.Entries = map[readiness.Key]readiness.Entry{}
		for _, s := range p.Steps {
			if rapid.IntRange(0, 3).Draw(t, s.Code) == 0 {
				on := c.Day.Add(-rapid.IntRange(1, 29).Draw(t, "days before"))
				c.Entries[readiness.Key{Step: s.Code, Round: 1}] = readiness.Entry{Outcome: readiness.Done, On: on, For: c.Snapshot()}
			}
		}
		now := f.Calendar.StartOf(c.Day.Add(-rapid.IntRange(0, 60).Draw(t, "days left")))
		pl := readiness.Make(&c, p.Protocol, f.Calendar, now)
		for _, i := range pl.Items {
			follow += len(i.Waits)
		}
		require.Equal(t, spansByPaths(t, pl, f.Calendar.DateOf(now)), pl.Network(p.Protocol, f.Calendar, now))
	})
	require.Positive(t, follow)
}

func TestRandomNetworkIsThatOfPaths(t *testing.T) {
	f := chicago(t)
	nurse := []readiness.Performer{{Role: "nurse", Kind: readiness.Patient}}
	point := func(anchor string, n int) readiness.Point {
		return readiness.Point{Anchor: anchor, Offset: readiness.Offset{N: n}}
	}
	rapid.Check(t, func(t *rapid.T) {
		var steps []readiness.Step
		for n := range rapid.IntRange(2, 25).Draw(t, "steps") {
			s := readiness.Step{Code: fmt.Sprint("s", n), Performers: nurse}
			s.Window.Due = []readiness.Point{point(readiness.AnchorSurgery, -rapid.IntRange(0, 5).Draw(t, "due"))}
			if rapid.Bool().Draw(t, "opens") {
				s.Window.Opens = []readiness.Point{point(readiness.AnchorSurgery, -rapid.IntRange(60, 90).Draw(t, "opens"))}
			}
			if rapid.Bool().Draw(t, "last") {
				last := point(readiness.AnchorSurgery, -rapid.IntRange(0, 3).Draw(t, "last day"))
				s.Last = &last
			}
			for range rapid.IntRange(0, min(n, 3)).Draw(t, "follows") {
				before := fmt.Sprint("s", rapid.IntRange(0, n-1).Draw(t, "before"))
				if !slices.ContainsFunc(s.Window.Opens, func(pt readiness.Point) bool { return pt.Anchor == before }) {
					s.Window.Opens = append(s.Window.Opens, point(before, rapid.IntRange(0, 6).Draw(t, "gap")))
				}
			}
			steps = append(steps, s)
		}
		p, err := readiness.NewProtocol(readiness.Protocol{Steps: steps})
		if err != nil {
			t.Skip(err)
		}
		c := f.hipOn(t, onS)
		now := f.Calendar.StartOf(c.Day.Add(-rapid.IntRange(6, 100).Draw(t, "days left")))
		pl := readiness.Make(&c, p, f.Calendar, now)
		require.Equal(t, spansByPaths(t, pl, f.Calendar.DateOf(now)), pl.Network(p, f.Calendar, now))
	})
}

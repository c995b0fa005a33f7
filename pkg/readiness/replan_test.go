package readiness_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

var kinds = map[readiness.Kind]string{
	readiness.Added: "added", readiness.Reopened: "reopened", readiness.Moved: "moved",
	readiness.Turned: "turned", readiness.Dropped: "dropped",
}

// changes plans twice and writes what changed in one line each.
func changes(old, plan *readiness.Plan) (out []string) {
	for _, ch := range readiness.Replan(old.Items, plan) {
		i := ch.New
		if i == nil {
			i = ch.Old
		}
		out = append(out, fmt.Sprintf("%s %s/%d", kinds[ch.Kind], i.Key.Step, i.Key.Round))
	}
	return out
}

func TestReplan(t *testing.T) {
	cal := chicago(t)
	now := clock(t, cal, "2026-11-12 09:00")
	pets := condition(t, "pets && asks")
	p := protocol(t,
		with(step("visit", before(30, 7)), func(st *readiness.Step) { st.Expiry = readiness.Expiry{Kind: readiness.ThisDate} }),
		step("after", readiness.Window{Opens: points(days("visit", 0)), Due: points(days(surgery, -4))}),
		with(step("pets", before(30, 7)), func(st *readiness.Step) { st.Condition = pets }),
		with(step("pill", before(6, 6)), func(st *readiness.Step) { st.RepeatFor, st.PausesOnHold = "medicine", true }),
		step("soon", window(days(booking, 0), days(booking, 100))),
	)
	type change = func(*readiness.Case)
	done := func(c *readiness.Case) {
		c.Entries = map[readiness.Key]readiness.Entry{{Step: "visit", Round: 1}: doneOn(day(t, "2026-11-11"), *c)}
	}
	facts := func(f map[string]any) change { return func(c *readiness.Case) { c.Facts = f } }
	medicines := func(keys ...string) change {
		return func(c *readiness.Case) { c.Repeats = map[string][]string{"medicine": keys} }
	}
	moved := func(to string) change {
		return func(c *readiness.Case) { c.Day, c.Start = day(t, to), clock(t, cal, to+" 07:30") }
	}
	for _, r := range []struct {
		name      string
		from, to  []change
		at, later string
		want      []string
	}{
		{"same facts", nil, nil, "", "", nil},
		{"a medicine is added", nil, []change{medicines("a", "b")}, "", "", []string{"added pill/1", "added pill/1"}},
		{"a medicine is taken off", []change{medicines("a", "b")}, []change{medicines("a")}, "", "", []string{"dropped pill/1"}},
		{"a doubt is settled with yes", nil, []change{facts(map[string]any{"pets": true, "asks": true})}, "", "", []string{"moved pets/1"}},
		{"a doubt is settled with no", nil, []change{facts(map[string]any{"pets": false})}, "", "", []string{"moved pets/1"}},
		{"one of two doubts is settled", nil, []change{facts(map[string]any{"pets": true})}, "", "", []string{"moved pets/1"}},
		{"another doubt takes its place", []change{facts(map[string]any{"pets": true})}, []change{facts(map[string]any{"asks": true})}, "", "", []string{"moved pets/1"}},
		{"the date moves", nil, []change{moved("2026-12-01")}, "", "", []string{"moved visit/1", "moved after/1", "moved pets/1", "moved soon/1"}},
		{"something is done", nil, []change{done}, "", "", []string{"turned visit/1", "moved after/1"}},
		{"done, then the date moves", []change{done}, []change{done, moved("2026-12-01")}, "", "", []string{"moved visit/1", "reopened visit/2", "moved after/1", "moved pets/1", "moved soon/1"}},
		{"the date moves back", []change{done, moved("2026-12-01")}, []change{done}, "", "", []string{"moved visit/1", "moved after/1", "moved pets/1", "moved soon/1", "dropped visit/2"}},
		{"held", []change{medicines("a")}, []change{medicines("a"), func(c *readiness.Case) { c.Held = true }}, "", "", []string{"turned pill/1"}},
		{"time passes", nil, nil, "2026-11-11 00:00", "2026-11-24 00:00", []string{"turned visit/1", "turned soon/1"}},
		{"cancelled", []change{done}, []change{done, func(c *readiness.Case) { c.Ending = readiness.Cancelled }}, "", "", []string{"turned after/1", "turned pets/1", "turned soon/1"}},
		{"booked later than was thought", nil, []change{func(c *readiness.Case) { c.Booked = clock(t, cal, "2026-11-24 09:00") }}, "", "", []string{"moved visit/1", "moved pets/1", "moved soon/1"}},
	} {
		t.Run(r.name, func(t *testing.T) {
			at, later := now, now
			if r.at != "" {
				at, later = clock(t, cal, r.at), clock(t, cal, r.later)
			}
			plan := func(list []change, now time.Time) *readiness.Plan {
				c := surgeryOn(t, cal, theDay)
				for _, f := range list {
					f(&c)
				}
				return readiness.Make(&c, p, cal, now)
			}
			require.Equal(t, r.want, changes(plan(r.from, at), plan(r.to, later)))
		})
	}
}

func TestReplanOfOldItems(t *testing.T) {
	cal := chicago(t)
	c := surgeryOn(t, cal, theDay)
	p := protocol(t, step("a", before(30, 7)))
	now := clock(t, cal, "2026-11-12 09:00")
	plan := readiness.Make(&c, p, cal, now)

	t.Run("the first plan adds all", func(t *testing.T) {
		out := readiness.Replan(nil, plan)
		require.Len(t, out, 1)
		require.Equal(t, readiness.Change{Kind: readiness.Added, New: &plan.Items[0]}, out[0])
	})
	t.Run("what is gone and finished stays as it was", func(t *testing.T) {
		for _, st := range []readiness.ItemState{readiness.StateDone, readiness.Expired, readiness.StateWaived, readiness.Needless, readiness.Missed} {
			old := append([]readiness.Item{{Key: readiness.Key{Step: "gone", Round: 1}, State: st}}, plan.Items...)
			require.Empty(t, readiness.Replan(old, plan), st)
		}
	})
	t.Run("what is gone and waits is dropped, last", func(t *testing.T) {
		old := []readiness.Item{{Key: readiness.Key{Step: "gone", Round: 1}, State: readiness.Paused}}
		out := readiness.Replan(old, plan)
		require.Len(t, out, 2)
		require.Equal(t, readiness.Dropped, out[1].Kind)
		require.Same(t, &old[0], out[1].Old)
		require.Nil(t, out[1].New)
	})
	t.Run("the same instant in another zone is no move", func(t *testing.T) {
		item := plan.Items[0]
		item.Due.At = clock(t, cal, "2026-11-12 09:00")
		next := *plan
		next.Items = []readiness.Item{item}
		old := item
		old.Due.At = item.Due.At.UTC()
		require.Empty(t, readiness.Replan([]readiness.Item{old}, &next))
	})
	t.Run("marks alone are a move", func(t *testing.T) {
		for _, mark := range []func(*readiness.Item){
			func(i *readiness.Item) { i.Compressed = true },
			func(i *readiness.Item) { i.TooLate = true },
			func(i *readiness.Item) { i.Waits = []string{"b"} },
			func(i *readiness.Item) { i.Needs = []string{"whether"} },
			func(i *readiness.Item) { i.Last.Day++ },
		} {
			old := plan.Items[0]
			mark(&old)
			out := readiness.Replan([]readiness.Item{old}, plan)
			require.Len(t, out, 1)
			require.Equal(t, readiness.Moved, out[0].Kind)
		}
	})
}

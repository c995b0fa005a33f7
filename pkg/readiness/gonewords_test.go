package readiness_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// A hold knows what its grounds were called when their records are gone: whoever has
// to release it reads it, once.
func TestAHoldNamesGroundsThatAreGone(t *testing.T) {
	cal := chicago(t)
	release := step("release", readiness.Window{})
	release.Trigger = readiness.TriggerHold
	p := protocol(t, release)
	p.Horizon = 60
	now := clock(t, cal, "2026-11-20 09:00")
	ground := func(record, says string) readiness.Ground {
		return readiness.Ground{Kind: "infection", Record: record, Says: says, Active: true}
	}
	const none = "what it rested on, of which no record is left"
	for _, r := range []struct {
		name         string
		first, later []readiness.Ground
		says         string
	}{
		{"all are gone", []readiness.Ground{ground("Condition/1", "a cold")}, nil, "a cold"},
		{"two of one name", []readiness.Ground{ground("Condition/1", "a cold"), ground("Condition/2", "a cold")}, nil, "a cold"},
		{"one is gone", []readiness.Ground{ground("Condition/1", "a cold"), ground("Condition/2", "an abscess")}, []readiness.Ground{ground("Condition/2", "an abscess")}, "an abscess and a cold"},
		{"one is gone, and the other is called the same", []readiness.Ground{ground("Condition/1", "a cold"), ground("Condition/2", "a cold")}, []readiness.Ground{ground("Condition/2", "a cold")}, "a cold"},
		{"it was called otherwise at last", []readiness.Ground{ground("Condition/1", "a cold")}, []readiness.Ground{ground("Condition/1", "influenza")}, "influenza"},
		{"the record is there as another kind", []readiness.Ground{ground("Condition/1", "a cold")},
			[]readiness.Ground{{Kind: "injection", Record: "Condition/1", Says: "an injection", Active: true}}, "a cold"},
		{"another record of the kind is there, which is no ground of it", []readiness.Ground{ground("Condition/1", "a cold")},
			[]readiness.Ground{{Kind: "infection", Record: "Condition/9", Says: "a cough", Withdrawn: true}}, "a cold"},
		{"an item's words when it was none any more do not count", []readiness.Ground{{Kind: "infection", Record: "item:must/", Says: "not done", Active: true, OfItem: true}},
			[]readiness.Ground{{Kind: "infection", Record: "item:must/", Says: "done", OfItem: true}}, "not done"},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := surgeryOn(t, cal, theDay)
			c.Holds = readiness.Holds(nil, r.first, &c, p, now)
			c.Holds = readiness.Holds(c.Holds, r.later, &c, p, now)
			require.True(t, c.Holds[0].Open())
			require.Equal(t, "infection", c.Holds[0].Kind)
			c.Grounds = nil
			for _, g := range r.later { // an item's ground is none of the records'
				if !g.OfItem {
					c.Grounds = append(c.Grounds, g)
				}
			}
			safe := readiness.Earliest(&c, p, cal, now)
			var needs []string
			for _, d := range safe.Unknown {
				if d.Key.Repeat == "infection" {
					needs = append(needs, d.Needs...)
				}
			}
			require.Contains(t, needs, "whether a named person releases the hold, "+r.says)
		})
	}
	c := surgeryOn(t, cal, theDay)
	c.Holds = []readiness.Hold{{Key: "infection", Kind: "infection", Raised: now, Records: []string{"Condition/1"}}}
	require.Contains(t, readiness.Earliest(&c, p, cal, now).Unknown[0].Needs[0], none, "an earlier version kept no words")
}

// A hold that a report ended opens again when the report is taken back, and not while
// it stands.
func TestAReportThatIsTakenBackOpensTheHold(t *testing.T) {
	cal := chicago(t)
	release := step("release", readiness.Window{})
	release.Trigger = readiness.TriggerHold
	p := protocol(t, release)
	grounds := []readiness.Ground{{Kind: "infection", Record: "Condition/1", Says: "a cold", Active: true}}
	raised, over, back := clock(t, cal, "2026-11-20 09:00"), clock(t, cal, "2026-12-02 09:00"), clock(t, cal, "2026-12-03 09:00")
	c := surgeryOn(t, cal, theDay)
	holds := readiness.Holds(nil, grounds, &c, p, raised)
	c.Left = clock(t, cal, "2026-12-01 11:00")
	holds = readiness.Holds(holds, grounds, &c, p, over)
	require.Equal(t, []any{readiness.Over, over}, []any{holds[0].How, holds[0].Ended})
	holds = readiness.Holds(holds, grounds, &c, p, back)
	require.Equal(t, []any{readiness.Over, over}, []any{holds[0].How, holds[0].Ended}, "it stays as long as the report stands")
	c.Left = time.Time{}
	for name, left := range map[string][]readiness.Ground{"the ground stands": grounds, "its record is gone": nil} {
		again := readiness.Holds(holds, left, &c, p, back)
		require.Len(t, again, 1, name)
		require.True(t, again[0].Open(), name)
		require.True(t, again[0].Ended.IsZero(), name)
		require.Equal(t, raised, again[0].Raised, name)
	}
}

// Questions about late signatures that nobody answered go with the hour of the
// operation, unless the case is held and nobody has reported that the person came.
func TestQuestionsThatGoWithTheHour(t *testing.T) {
	cal := chicago(t)
	hour := clock(t, cal, theDay+" 07:30")
	late := readiness.Raised{Trigger: readiness.TriggerLateSigned, Key: "pill@1"}
	other := readiness.Raised{Trigger: readiness.TriggerStopped, Key: "pill@2"}
	answer := func(e readiness.Entry, key string) func(*readiness.Case) {
		return func(c *readiness.Case) {
			c.Entries = map[readiness.Key]readiness.Entry{{Step: "look", Repeat: key, Round: 1}: e}
		}
	}
	for _, r := range []struct {
		name    string
		change  func(*readiness.Case)
		now     time.Time
		dropped bool
	}{
		{"at the hour", nil, hour, true},
		{"before it", nil, hour.Add(-time.Second), false},
		{"held", func(c *readiness.Case) { c.Held = true }, hour, false},
		{"held, and they came", func(c *readiness.Case) { c.Held, c.Arrived = true, hour }, hour, true},
		{"called off", func(c *readiness.Case) { c.Ending = readiness.Cancelled }, hour, false},
		{"looked at", answer(readiness.Entry{Outcome: readiness.Done, Look: readiness.Agreed}, "pill@1"), hour, false},
		{"answered otherwise", answer(readiness.Entry{Outcome: readiness.Failed}, "pill@1"), hour, false},
		{"opened again after a look", answer(readiness.Entry{Look: readiness.Agreed}, "pill@1"), hour, false},
		{"nothing was said on it", answer(readiness.Entry{}, "pill@1"), hour, true},
		{"another one was answered", answer(readiness.Entry{Outcome: readiness.Done, Look: readiness.Agreed}, "pill@1-2"), hour, true},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := surgeryOn(t, cal, theDay)
			c.Raised = []readiness.Raised{other, late}
			if r.change != nil {
				r.change(&c)
			}
			require.Equal(t, r.dropped, c.DropLooks(cal, r.now))
			want := []readiness.Raised{other, late}
			if r.dropped {
				want = want[:1]
			}
			require.Equal(t, want, c.Raised)
		})
	}
	h := readiness.Hold{Records: []string{"item:last/pill@undecided", "item:last/pill@unseen-pill@1", "Condition/1", "item:last/tablet@unseen-tablet@2"}}
	require.Equal(t, []string{"pill", "tablet"}, h.Unseen())
	require.Empty(t, (&readiness.Hold{Records: []string{"Condition/1"}}).Unseen())
}

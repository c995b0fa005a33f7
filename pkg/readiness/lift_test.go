package readiness_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// May this hold be lifted? By kind: what only a person releases, what ends when
// it is supplied, and what was never there. The rules: this project's own
// protocol (a hold is released by a named person, and withdrawn only when its
// ground never was; for missing evidence and a missing date by whoever supplies
// it), common practice, no source.
func TestMayThisHoldBeLifted(t *testing.T) {
	release := readiness.Step{Code: "release", Trigger: readiness.TriggerHold, Performers: []readiness.Performer{{Role: "surgeon"}}, Window: readiness.Window{Opens: []readiness.Point{{Anchor: readiness.AnchorRaised}}}}
	p, err := readiness.NewProtocol(readiness.Protocol{
		Steps: []readiness.Step{release},
		ItemHolds: []readiness.ItemHold{
			{Kind: "timing", Missed: "not confirmed"},
			{Kind: "evidence", Missed: "not done", Supplied: true},
		},
	})
	require.NoError(t, err)
	day := calendar.NewDate(2026, 11, 30)
	now := time.Date(2026, 11, 20, 9, 0, 0, 0, time.UTC)
	start := time.Date(2026, 11, 30, 13, 0, 0, 0, time.UTC)
	for _, r := range []struct {
		name, kind string
		ground     *readiness.Ground // nil: it is not there any more
		said       bool              // a named person released it
		began      bool              // the start of anaesthesia is past
		how        string            // empty: it stays
	}{
		{"an infection goes on", "infection", &readiness.Ground{Active: true}, false, false, ""},
		{"an infection is over", "infection", &readiness.Ground{Day: calendar.NewDate(2026, 10, 1)}, false, false, ""},
		{"an infection never was", "infection", &readiness.Ground{Withdrawn: true}, false, false, readiness.Withdrawn},
		{"an infection, and a person releases it", "infection", &readiness.Ground{Active: true}, true, false, readiness.Released},
		{"an infection, and the hour of surgery passes", "infection", &readiness.Ground{Active: true}, false, true, ""},
		{"a last dose is not confirmed", "timing", &readiness.Ground{Active: true, OfItem: true}, false, false, ""},
		{"it is confirmed since", "timing", &readiness.Ground{OfItem: true}, false, false, ""},
		{"the medicine was entered in error", "timing", &readiness.Ground{OfItem: true, Withdrawn: true}, false, false, readiness.Withdrawn},
		{"the prescriber releases it", "timing", &readiness.Ground{Active: true, OfItem: true}, true, false, readiness.Released},
		{"a last dose, and the hour of surgery passes", "timing", &readiness.Ground{Active: true, OfItem: true}, false, true, ""},
		{"evidence is missing", "evidence", &readiness.Ground{Active: true, OfItem: true}, false, false, ""},
		{"it is supplied", "evidence", nil, false, false, readiness.Supplied},
		{"somebody takes it on", "evidence", &readiness.Ground{Active: true, OfItem: true}, true, false, readiness.Released},
		{"evidence, and the hour of surgery passes", "evidence", &readiness.Ground{Active: true, OfItem: true}, false, true, ""},
		{"there is no date", readiness.KindNoDate, &readiness.Ground{Active: true}, false, false, ""},
		{"there is a date again", readiness.KindNoDate, &readiness.Ground{}, false, false, readiness.Supplied},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := readiness.Case{Day: day, Start: start, Entries: map[readiness.Key]readiness.Entry{}}
			at := now
			if r.began {
				at = start
			}
			if r.said {
				c.Entries[readiness.Key{Step: "release", Repeat: r.kind, Round: 1}] = readiness.Entry{Outcome: readiness.Done}
			}
			var grounds []readiness.Ground
			if r.ground != nil {
				g := *r.ground
				g.Kind, g.Record = r.kind, "Record/1"
				grounds = append(grounds, g)
			}
			before := []readiness.Hold{{Key: r.kind, Kind: r.kind, Raised: now, Records: []string{"Record/1"}}}
			after := readiness.Holds(before, grounds, &c, p, at)
			require.Len(t, after, 1)
			require.Equal(t, r.how, after[0].How)
			require.Equal(t, r.how == "", after[0].Open())
			if r.how == readiness.Released && r.ground.OfItem { // for that day of surgery alone
				c.Day = day.Add(14)
				require.Len(t, readiness.Holds(after, grounds, &c, p, at), 2)
			}
		})
	}
}

// What only waited for evidence is over when somebody has said that the person
// came, and the hour is past. Neither alone ends it: not the clock, and not a
// person at the desk while what is missing may still be asked for. What is no
// matter of evidence stays, until the person has left.
func TestTimeAloneEndsNoHold(t *testing.T) {
	p := watching(t)
	start := time.Date(2026, 11, 30, 13, 0, 0, 0, time.UTC)
	never := time.Time{}
	for _, r := range []struct {
		name                string
		kind                string
		now, arrived, leave time.Time
		how                 string
	}{
		{"the hour passes", evidence, start, never, never, ""},
		{"years pass", evidence, start.AddDate(3, 0, 0), never, never, ""},
		{"the person comes before the hour", evidence, start.Add(-time.Minute), start.Add(-time.Hour), never, ""},
		{"the person came, and the hour passes", evidence, start, start.Add(-time.Hour), never, readiness.Over},
		{"that they came is reported later", evidence, start.Add(72 * time.Hour), start.Add(-time.Hour), never, readiness.Over},
		{"the person has gone home", evidence, start.Add(72 * time.Hour), never, start.Add(50 * time.Hour), readiness.Over},
		{"a last dose, and the person came", timing, start, start.Add(-time.Hour), never, ""},
		{"a last dose, and the person has gone home", timing, start.Add(72 * time.Hour), never, start.Add(50 * time.Hour), readiness.Over},
		{"no date, and years pass", readiness.KindNoDate, start.AddDate(3, 0, 0), never, never, ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := readiness.Case{Day: calendar.NewDate(2026, 11, 30), Start: start, Arrived: r.arrived, Left: r.leave}
			g := readiness.Ground{Kind: r.kind, Record: "Record/1", Active: true}
			before := []readiness.Hold{{Key: r.kind, Kind: r.kind, Raised: start.AddDate(0, 0, -3), Records: []string{"Record/1"}}}
			after := readiness.Holds(before, []readiness.Ground{g}, &c, p, r.now)
			require.Len(t, after, 1)
			require.Equal(t, []any{r.how, r.how == ""}, []any{after[0].How, after[0].Open()})
		})
	}
}

// A hold that was raised while the clock was ahead begins when it is right again: none
// ends before it began.
func TestAHoldOfAClockThatWasAhead(t *testing.T) {
	p := watching(t)
	now := time.Date(2026, 11, 20, 9, 0, 0, 0, time.UTC)
	for _, stands := range []bool{true, false} {
		ahead := now.AddDate(2, 0, 0)
		before := []readiness.Hold{{Key: evidence, Kind: evidence, Raised: ahead, Stood: ahead.AddDate(0, 0, -9), Records: []string{"Record/1"}}}
		c := readiness.Case{Day: calendar.NewDate(2026, 11, 30)}
		after := readiness.Holds(before, []readiness.Ground{{Kind: evidence, Record: "Record/1", Active: stands}}, &c, p, now)
		require.Equal(t, []any{now, true, stands}, []any{after[0].Raised, after[0].Stood.IsZero(), after[0].Open()})
	}
}

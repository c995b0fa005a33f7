package readiness_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// Is it still the question that a person answered? A hold is released for surgery
// on 30 November 2026, and then the record says something else. This project's
// protocol (only a person releases a hold; common practice, no source): whoever
// released one matter, or one whose end nobody knew, has not released another.
func TestIsItStillTheQuestionThatWasAnswered(t *testing.T) {
	d := calendar.NewDate
	surgery := d(2026, 11, 30)
	week, fortnight := readiness.Offset{N: 7}, readiness.Offset{N: 14}
	const cold, covid, skin = "infection-flu-like", "infection-covid", "infection-skin"
	goesOn := func(class string, codes ...string) readiness.Ground {
		return readiness.Ground{Class: class, Codes: codes, Active: true, After: fortnight, Says: class}
	}
	over := func(day calendar.Date, class string, codes ...string) readiness.Ground {
		return readiness.Ground{Class: class, Codes: codes, Day: day, Ends: day, Over: true, After: fortnight, Says: class}
	}
	with := func(g readiness.Ground, change func(g *readiness.Ground)) readiness.Ground {
		change(&g)
		return g
	}
	reworded := func(g *readiness.Ground) { g.Says = "said otherwise" }
	undated := func(g *readiness.Ground) { g.Active, g.Over = true, true }
	until := func(day calendar.Date) func(g *readiness.Ground) {
		return func(g *readiness.Ground) { g.Ends = day }
	}
	for _, r := range []struct {
		name     string
		was, now readiness.Ground
		another  bool
	}{
		{"as it was", goesOn(cold, "J06.9"), goesOn(cold, "J06.9"), false},
		{"the same code in other words", goesOn(cold, "J06.9"), with(goesOn(cold, "J06.9"), reworded), false},
		{"one more code for the same", goesOn(cold, "J06.9"), goesOn(cold, "54150009", "J06.9"), false},
		{"one code less for the same", goesOn(cold, "54150009", "J06.9"), goesOn(cold, "J06.9"), false},
		{"no code at all any more", goesOn(cold, "J06.9"), goesOn(cold), false},
		{"no code at first", goesOn(cold), goesOn(cold, "J06.9"), false},
		{"another code of the same class", goesOn(cold, "J06.9"), goesOn(cold, "J10.1"), true},
		{"another class", goesOn(cold, "J06.9"), goesOn(covid, "U07.1"), true},
		{"another class, with the code that it had", goesOn(cold, "J06.9"), goesOn(covid, "J06.9", "U07.1"), true},
		{"another class, over and clear", goesOn(skin, "L03.115"), over(d(2026, 11, 1), cold, "J06.9"), false},
		{"another class, over on the same day", over(d(2026, 11, 20), skin, "L03.115"), over(d(2026, 11, 20), cold, "J06.9"), true},

		{"no day, and now one that is clear on the day of surgery", goesOn(cold), over(d(2026, 11, 16), cold), false},
		{"no day, and now one that blocks by a day", goesOn(cold), over(d(2026, 11, 17), cold), true},
		{"no day, and somebody still has to look on the last day of it", goesOn(cold), with(over(d(2026, 11, 2), cold), func(g *readiness.Ground) { g.Assess = readiness.Offset{N: 29} }), true},
		{"no day, and nobody has to look any more", goesOn(cold), with(over(d(2026, 11, 2), cold), func(g *readiness.Ground) { g.Assess = readiness.Offset{N: 28} }), false},
		{"no day, and now one to come that is clear", goesOn(cold), with(goesOn(cold), until(d(2026, 11, 16))), false},
		{"no day, and now one to come that blocks", goesOn(cold), with(goesOn(cold), until(d(2026, 11, 17))), true},
		{"a day to come, and it came", with(goesOn(cold), until(d(2026, 11, 25))), over(d(2026, 11, 25), cold), false},
		{"a day to come, and another one", with(goesOn(cold), until(d(2026, 11, 25))), with(goesOn(cold), until(d(2026, 11, 26))), true},
		{"a day, and the same", over(d(2026, 11, 25), cold), over(d(2026, 11, 25), cold), false},
		{"a day, and another that blocks", over(d(2026, 11, 24), cold), over(d(2026, 11, 25), cold), true},
		{"a day, and an earlier one that blocks", over(d(2026, 11, 25), cold), over(d(2026, 11, 24), cold), true},
		{"a day, and now none", over(d(2026, 11, 25), cold), goesOn(cold), true},

		{"it went on, and is over since nobody knows when", goesOn(cold), with(goesOn(cold), undated), false},
		{"over since nobody knows when, and it goes on", with(goesOn(cold), undated), goesOn(cold), true},
		{"over since nobody knows when, still", with(goesOn(cold), undated), with(goesOn(cold), undated), false},
		{"planned work without a day, and now a week before", readiness.Ground{Active: true, After: week}, readiness.Ground{Day: d(2026, 11, 23), After: week}, false},
		{"planned work without a day, and now six days before", readiness.Ground{Active: true, After: week}, readiness.Ground{Day: d(2026, 11, 24), After: week}, true},
	} {
		t.Run(r.name, func(t *testing.T) {
			r.was.Kind, r.was.Record, r.now.Kind, r.now.Record = "infection", "Condition/1", "infection", "Condition/1"
			c, p := readiness.Case{Day: surgery}, holdProtocol(t)
			held := readiness.Hold{Key: "infection", Kind: "infection", Raised: holdNow, Records: []string{"Condition/1"}}
			c.Entries = map[readiness.Key]readiness.Entry{{Step: "release", Repeat: "infection", Round: 1}: {Outcome: readiness.Done}}
			released := readiness.Holds([]readiness.Hold{held}, []readiness.Ground{r.was}, &c, p, holdNow)
			require.Equal(t, readiness.Released, released[0].How)

			after := readiness.Holds(released, []readiness.Ground{r.now}, &c, p, holdNow)
			require.Equal(t, readiness.Released, after[0].How, "what was released stays so")
			require.Equal(t, r.another, len(after) == 2)
			if r.another {
				require.Equal(t, []string{"infection-2", "Condition/1"}, []string{after[1].Key, after[1].Records[0]})
				require.True(t, after[1].Open(), "only a person releases it")
			}
		})
	}
}

// Taken back, a release leaves nothing of what was seen.
func TestAReleaseThatIsTakenBackForgetsWhatWasSeen(t *testing.T) {
	c, p := readiness.Case{Day: calendar.NewDate(2026, 11, 30)}, holdProtocol(t)
	ground := []readiness.Ground{{Kind: "infection", Record: "a", Class: "skin", Codes: []string{"x"}, Active: true}}
	c.Entries = map[readiness.Key]readiness.Entry{{Step: "release", Repeat: "infection", Round: 1}: {Outcome: readiness.Done}}
	held := []readiness.Hold{{Key: "infection", Kind: "infection", Raised: holdNow, Records: []string{"a"}}}
	released := readiness.Holds(held, ground, &c, p, holdNow)
	require.Equal(t, map[string]readiness.Was{"a": {Class: "skin", Codes: []string{"x"}}}, released[0].Was)
	ground[0].Codes[0] = "y"
	require.Equal(t, "x", released[0].Was["a"].Codes[0], "what was seen is kept apart")
	c.Entries = nil
	require.Equal(t, held, readiness.Holds(released, ground, &c, p, holdNow))
}

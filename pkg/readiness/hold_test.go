package readiness_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// Is this a ground for a hold? Surgery is on 30 November 2026. "blocks" is what
// the ground's own days say of that day, "holds" whether the case is held, which
// is also when somebody still has to look. How days are counted: what is over on
// day D with N clear days allows surgery from D+N on (this project's protocol,
// section on holds; common practice, no source).
func TestIsThisAGroundForAHold(t *testing.T) {
	d := calendar.NewDate
	surgery := d(2026, 11, 30)
	days := func(n int) readiness.Offset { return readiness.Offset{N: n} }
	months := func(n int) readiness.Offset { return readiness.Offset{N: n, Unit: readiness.Months} }
	for _, r := range []struct {
		name          string
		ground        readiness.Ground
		clear         calendar.Date
		blocks, holds bool
	}{
		{"it goes on, without a day", readiness.Ground{Active: true, After: days(7)}, 0, true, true},
		{"it went on once, without a day", readiness.Ground{After: days(7)}, 0, false, false},
		{"it goes on, and was withdrawn", readiness.Ground{Active: true, Withdrawn: true}, 0, false, false},
		{"over long ago, and withdrawn", readiness.Ground{Day: d(2026, 11, 29), After: days(7), Withdrawn: true}, d(2026, 12, 6), false, false},
		{"over on the day of surgery, no clear days", readiness.Ground{Day: surgery}, surgery, false, false},
		{"over on the day of surgery, one clear day", readiness.Ground{Day: surgery, After: days(1)}, d(2026, 12, 1), true, true},
		{"over on the day of surgery, somebody looks for a day", readiness.Ground{Day: surgery, Assess: days(1)}, surgery, false, true},
		{"the last day that it blocks", readiness.Ground{Day: d(2026, 11, 24), After: days(7)}, d(2026, 12, 1), true, true},
		{"the first day that it allows", readiness.Ground{Day: d(2026, 11, 23), After: days(7)}, surgery, false, false},
		{"the last day on which somebody looks", readiness.Ground{Day: d(2026, 11, 17), After: days(7), Assess: days(14)}, d(2026, 11, 24), false, true},
		{"the day after it", readiness.Ground{Day: d(2026, 11, 16), After: days(7), Assess: days(14)}, d(2026, 11, 23), false, false},
		{"still named active, though its day is past", readiness.Ground{Active: true, Day: d(2026, 10, 1), After: days(7)}, d(2026, 10, 8), false, true},
		{"months, and not days", readiness.Ground{Day: d(2026, 8, 31), After: months(3)}, surgery, false, false},
		{"months, a day too near", readiness.Ground{Day: d(2026, 9, 1), After: months(3)}, d(2026, 12, 1), true, true},
		{"planned for the day after, and nothing says that it must wait", readiness.Ground{Day: d(2026, 12, 1), After: days(21)}, d(2026, 12, 22), false, false},
		{"planned three months after, less a day", readiness.Ground{Day: d(2027, 2, 27), NotBefore: months(3)}, d(2027, 2, 27), true, true},
		{"planned three months after, to the day", readiness.Ground{Day: d(2027, 2, 28), NotBefore: months(3)}, d(2027, 2, 28), false, false},
		{"planned later than somebody has to look", readiness.Ground{Day: d(2026, 12, 1), Assess: days(30)}, d(2026, 12, 1), false, false},
	} {
		t.Run(r.name, func(t *testing.T) {
			g := r.ground
			g.Kind, g.Record = "infection", "Condition/1"
			require.Equal(t, r.clear, g.Clear())
			require.Equal(t, r.blocks, g.Blocks(surgery))
			held := readiness.Holds(nil, []readiness.Ground{g}, &readiness.Case{Day: surgery}, holdProtocol(t), holdNow)
			require.Len(t, held, map[bool]int{true: 1}[r.holds])
		})
	}
}

var holdNow = time.Date(2026, 11, 20, 9, 0, 0, 0, time.UTC)

func holdProtocol(t *testing.T) *readiness.Protocol {
	t.Helper()
	release := step("release", readiness.Window{})
	release.Trigger = readiness.TriggerHold
	p := protocol(t, step("s", before(3, 1)), release)
	p.Horizon = 60
	p.ItemHolds = []readiness.ItemHold{{Kind: "evidence", Missed: "not done", Supplied: true}}
	return p
}

// What a person released stays released for the day they decided on and for
// later ones, as long as the ground is what they saw.
func TestWhatAReleaseCovers(t *testing.T) {
	d := calendar.NewDate
	for _, r := range []struct {
		name   string
		day    calendar.Date // of surgery, now; it was 30 November
		kind   string        // of the ground, now
		seen   calendar.Date // the ground's day when it was released
		ground readiness.Ground
		covers bool
	}{
		{"the same day", d(2026, 11, 30), "infection", 0, readiness.Ground{Record: "Condition/1"}, true},
		{"a day later", d(2026, 12, 1), "infection", 0, readiness.Ground{Record: "Condition/1"}, true},
		{"a day earlier", d(2026, 11, 29), "infection", 0, readiness.Ground{Record: "Condition/1"}, false},
		{"an item of the same day", d(2026, 11, 30), "infection", 0, readiness.Ground{Record: "Condition/1", OfItem: true}, true},
		{"an item of a later day", d(2026, 12, 1), "infection", 0, readiness.Ground{Record: "Condition/1", OfItem: true}, false},
		{"another record", d(2026, 11, 30), "infection", 0, readiness.Ground{Record: "Condition/2"}, false},
		{"a record of another kind", d(2026, 11, 30), "teeth", 0, readiness.Ground{Record: "Condition/1"}, false},
		{"seen with a day, which is the same", d(2026, 11, 30), "infection", d(2026, 11, 25), readiness.Ground{Record: "Condition/1", Day: d(2026, 11, 25), After: readiness.Offset{N: 14}}, true},
		{"seen with a day, which is another now", d(2026, 11, 30), "infection", d(2026, 11, 25), readiness.Ground{Record: "Condition/1", Day: d(2026, 11, 26), After: readiness.Offset{N: 14}}, false},
		{"seen without a day, which is known now", d(2026, 11, 30), "infection", 0, readiness.Ground{Record: "Condition/1", Day: d(2026, 11, 26), After: readiness.Offset{N: 14}}, true},
	} {
		t.Run(r.name, func(t *testing.T) {
			r.ground.Kind, r.ground.Active, r.ground.Says = r.kind, r.ground.Day.IsZero(), "a matter"
			was := readiness.Hold{
				Key: "infection", Kind: "infection", Raised: holdNow, Records: []string{"Condition/1"}, Ended: holdNow, How: readiness.Released,
				For: d(2026, 11, 30), Seen: map[string]calendar.Date{"Condition/1": r.seen},
			}
			cal := chicago(t)
			c := surgeryOn(t, cal, r.day.String())
			c.Entries = map[readiness.Key]readiness.Entry{{Step: "release", Repeat: "infection", Round: 1}: {Outcome: readiness.Done}}
			p := holdProtocol(t)
			after := readiness.Holds([]readiness.Hold{was}, []readiness.Ground{r.ground}, &c, p, holdNow)
			require.Equal(t, r.covers, len(after) == 1)

			// What ended in another way covers nothing.
			was.How = readiness.Withdrawn
			require.Len(t, readiness.Holds([]readiness.Hold{was}, []readiness.Ground{r.ground}, &c, p, holdNow), 2)
		})
	}
}

// A hold is raised while the operation is still to come, and ends with the case.
func TestWhenHoldsAreOfConcern(t *testing.T) {
	p := holdProtocol(t)
	infection := []readiness.Ground{{Kind: "infection", Record: "a", Active: true}}
	open := readiness.Hold{Key: "infection", Kind: "infection", Raised: holdNow.Add(-time.Hour), Records: []string{"a"}}
	for _, r := range []struct {
		name   string
		change func(c *readiness.Case)
		raised bool
		how    string // what becomes of one that is open
	}{
		{"to come", func(*readiness.Case) {}, true, ""},
		{"the person is in", func(c *readiness.Case) { c.Arrived = holdNow }, false, ""},
		{"the person has left", func(c *readiness.Case) { c.Left = holdNow }, false, readiness.Over},
		{"its hour is past", func(c *readiness.Case) { c.Start = holdNow }, false, ""},
		{"its hour comes", func(c *readiness.Case) { c.Start = holdNow.Add(time.Second) }, true, ""},
		{"it was cancelled", func(c *readiness.Case) { c.Ending = readiness.Cancelled }, false, readiness.Over},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := readiness.Case{Day: calendar.NewDate(2026, 11, 30)}
			r.change(&c)
			require.Equal(t, r.raised, len(readiness.Holds(nil, infection, &c, p, holdNow)) == 1)
			after := readiness.Holds([]readiness.Hold{open}, infection, &c, p, holdNow)
			require.Len(t, after, 1)
			require.Equal(t, r.how, after[0].How)
			require.Equal(t, r.how == "", after[0].Ended.IsZero())
		})
	}

	// A release that is taken back opens the hold again, as if it had never been.
	c := readiness.Case{Day: calendar.NewDate(2026, 11, 30), Entries: map[readiness.Key]readiness.Entry{{Step: "release", Repeat: "infection", Round: 1}: {Outcome: readiness.Done}}}
	released := readiness.Holds([]readiness.Hold{open}, infection, &c, p, holdNow)
	require.Equal(t, []any{readiness.Released, holdNow, c.Day}, []any{released[0].How, released[0].Ended, released[0].For})
	c.Entries = nil
	require.Equal(t, []readiness.Hold{open}, readiness.Holds(released, infection, &c, p, holdNow.Add(time.Hour)))
}

// Grounds of one kind join the hold that is open; a further one after that was
// released has a key of its own, as the Task that asks for it has.
func TestHoldsOfOneKind(t *testing.T) {
	p := holdProtocol(t)
	c := readiness.Case{Day: calendar.NewDate(2026, 11, 30), Entries: map[readiness.Key]readiness.Entry{}}
	ground := func(kind, record string) readiness.Ground {
		return readiness.Ground{Kind: kind, Record: record, Active: true, Says: record}
	}
	keys := func(holds []readiness.Hold) (out []string) {
		for _, h := range holds {
			out = append(out, h.Key)
		}
		return out
	}
	first := readiness.Holds(nil, []readiness.Ground{ground("infection", "a")}, &c, p, holdNow)
	require.Equal(t, []string{"infection"}, keys(first))

	joined := readiness.Holds(first, []readiness.Ground{ground("infection", "a"), ground("infection", "b"), ground("teeth", "c")}, &c, p, holdNow)
	require.Equal(t, []string{"infection", "teeth"}, keys(joined))
	require.Equal(t, []string{"a", "b"}, joined[0].Records)
	require.Equal(t, []string{"a"}, first[0].Records, "what was before is left as it was")
	require.Equal(t, []string{"c"}, joined[1].Records)

	c.Entries[readiness.Key{Step: "release", Repeat: "infection", Round: 1}] = readiness.Entry{Outcome: readiness.Done}
	again := readiness.Holds(joined, []readiness.Ground{ground("infection", "b"), ground("teeth", "c"), ground("infection", "d")}, &c, p, holdNow)
	require.Equal(t, []string{"infection", "teeth", "infection-2"}, keys(again))
	require.Equal(t, readiness.Released, again[0].How)
	require.Equal(t, map[string]calendar.Date{"b": 0}, again[0].Seen, "of its own grounds, those that are there")
	require.Equal(t, []string{"d"}, again[2].Records)

	c.Entries[readiness.Key{Step: "release", Repeat: "infection-2", Round: 1}] = readiness.Entry{Outcome: readiness.Done}
	third := readiness.Holds(again, []readiness.Ground{ground("infection", "d"), ground("infection", "e")}, &c, p, holdNow)
	require.Equal(t, []string{"infection", "teeth", "infection-2", "infection-3"}, keys(third))
	require.True(t, third[1].Open(), "the tooth is in no record any more, which releases nothing")
	require.Contains(t, third[1].Words(nil, 0, 0), "a named person may release it")
}

// A hold is withdrawn only when none of its grounds ever was.
// What a person released and what then never was is a new question when it is
// asserted again, also in the very words of before.
func TestAWithdrawnGroundIsForgotten(t *testing.T) {
	c := &readiness.Case{Day: calendar.NewDate(2026, 11, 30)}
	ill := readiness.Ground{Kind: "infection", Record: "Condition/1", Class: "urinary", Active: true}
	never, other := ill, readiness.Ground{Kind: "infection", Record: "Condition/2", Class: "urinary", Active: true}
	never.Active, never.Withdrawn = false, true
	p, grounds := holdProtocol(t), []readiness.Ground{ill, other}
	holds := readiness.Holds(nil, grounds, c, p, holdNow)
	c.Entries = map[readiness.Key]readiness.Entry{{Step: "release", Repeat: holds[0].Key, Round: 1}: {Outcome: readiness.Done}}
	holds = readiness.Holds(holds, grounds, c, p, holdNow)
	require.Equal(t, readiness.Released, holds[0].How)
	require.Len(t, readiness.Holds(holds, grounds, c, p, holdNow), 1, "it is released")

	before := holds
	holds = readiness.Holds(holds, []readiness.Ground{never, other}, c, p, holdNow)
	require.Len(t, holds, 1, "the other one is still released")
	require.Len(t, before[0].Seen, 2, "what was is not changed")
	holds = readiness.Holds(holds, grounds, c, p, holdNow)
	require.Len(t, holds, 2)
	require.Equal(t, []string{"Condition/1"}, holds[1].Records)
	require.True(t, holds[1].Open())
	require.Contains(t, (&readiness.Hold{Kind: "infection", Records: []string{"Condition/1"}}).Words([]readiness.Ground{
		{Kind: "infection", Record: "Condition/1", Says: "a cold", Active: true, Ends: calendar.NewDate(2026, 11, 25)},
	}, c.Day, calendar.NewDate(2026, 11, 24)), "a cold, expected to be over on Wed 25 Nov 2026: from when surgery may be cannot be computed before it is")
}

// A hold ends by itself by what its own grounds say, and one of which nothing is
// known does not.
func TestGroundsOfOthersEndNothing(t *testing.T) {
	c := &readiness.Case{Day: calendar.NewDate(2026, 11, 30)}
	other := readiness.Ground{Kind: "infection", Record: "item:s/", Active: true}
	supplied := readiness.Holds([]readiness.Hold{{Key: "evidence", Kind: "evidence", Records: []string{"item:s/"}}},
		[]readiness.Ground{other}, c, holdProtocol(t), holdNow)
	require.Equal(t, readiness.Supplied, supplied[0].How)
	open := readiness.Holds([]readiness.Hold{{Key: "infection", Kind: "infection"}}, nil, c, holdProtocol(t), holdNow)
	require.True(t, open[0].Open(), "it rests on no record that could say that it never was")
}

func TestAHoldOnSeveralGrounds(t *testing.T) {
	p := holdProtocol(t)
	c := readiness.Case{Day: calendar.NewDate(2026, 11, 30)}
	before := []readiness.Hold{{Key: "infection", Kind: "infection", Raised: holdNow, Records: []string{"a", "b"}}}
	was := func(record, kind string, withdrawn bool) readiness.Ground {
		return readiness.Ground{Kind: kind, Record: record, Withdrawn: withdrawn}
	}
	for _, r := range []struct {
		name    string
		grounds []readiness.Ground
		how     string
	}{
		{"one is left", []readiness.Ground{was("a", "infection", true), was("b", "infection", false)}, ""},
		{"none is left", []readiness.Ground{was("a", "infection", true), was("b", "infection", true)}, readiness.Withdrawn},
		{"one was withdrawn, and the other is not there any more", []readiness.Ground{was("a", "infection", true)}, ""},
		{"none is there any more", nil, ""},
		{"what is withdrawn is of another kind", []readiness.Ground{was("a", "teeth", true), was("b", "infection", true)}, ""},
		{"what is withdrawn is another record", []readiness.Ground{was("z", "infection", true), was("b", "infection", true)}, ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			require.Equal(t, r.how, readiness.Holds(before, r.grounds, &c, p, holdNow)[0].How)
		})
	}
}

// When may the hold be cleared, and in which words. Today is 20 November 2026.
func TestWordsOfAHold(t *testing.T) {
	d := calendar.NewDate
	today := d(2026, 11, 20)
	day, month := readiness.Offset{N: 1}, readiness.Offset{N: 3, Unit: readiness.Months}
	for _, r := range []struct {
		name   string
		ground readiness.Ground
		clear  calendar.Date
		words  string
	}{
		{"all is said", readiness.Ground{Whole: true, Withdrawn: true, Says: "It is said"}, 0, "It is said"},
		{"withdrawn", readiness.Ground{Says: "a cold", Withdrawn: true, Day: d(2026, 11, 2)}, 0, "a cold, which was withdrawn"},
		{"it goes on", readiness.Ground{Says: "a cold", Active: true}, 0, "a cold, and nobody has said when it is over: from when surgery may be cannot be computed"},
		{"without a day", readiness.Ground{Says: "a cold"}, 0, "a cold"},
		{"with a day to come, of what nobody plans", readiness.Ground{Says: "a fever", Day: d(2026, 11, 21), After: day}, d(2026, 11, 22), "a fever dated Sat 21 Nov 2026, a day that is to come: surgery from Sun 22 Nov 2026"},
		{"planned, or after surgery", readiness.Ground{Says: "a tooth", Day: d(2026, 11, 21), After: day, NotBefore: month}, d(2026, 11, 22), "a tooth planned for Sat 21 Nov 2026: surgery from Sun 22 Nov 2026, or it waits until 3 months after surgery"},
		{"today", readiness.Ground{Says: "a tooth", Day: today, NotBefore: month}, today, "a tooth of Fri 20 Nov 2026: surgery from Fri 20 Nov 2026"},
		{"over, a day is enough", readiness.Ground{Says: "a cold", Day: d(2026, 11, 19), After: day, Assess: day}, today, "a cold of Thu 19 Nov 2026: surgery from Fri 20 Nov 2026 (1 day)"},
		{"over, and somebody looks", readiness.Ground{Says: "a cold", Day: d(2026, 11, 19), After: day, Assess: readiness.Offset{N: 2}}, today, "a cold of Thu 19 Nov 2026: surgery from Fri 20 Nov 2026 (1 day), and until Fri 20 Nov 2026 only after somebody has looked at it"},
	} {
		t.Run(r.name, func(t *testing.T) {
			h := readiness.Hold{Kind: "infection", Records: []string{"a"}}
			r.ground.Kind, r.ground.Record = "infection", "a"
			others := []readiness.Ground{
				{Kind: "teeth", Record: "a", Says: "of another kind", Day: d(2027, 1, 1)},
				r.ground,
				{Kind: "infection", Record: "b", Says: "of another hold", Day: d(2027, 1, 1)},
			}
			require.Equal(t, r.words, h.Words(others, 0, today))
			require.Equal(t, r.clear, h.Clear(others, 0))
		})
	}
}

// Of several grounds the last to clear counts, and one that cannot be computed
// leaves nothing to say; what was withdrawn is no matter.
func TestClearOfSeveralGrounds(t *testing.T) {
	d := calendar.NewDate
	h := readiness.Hold{Kind: "infection", Records: []string{"a", "b"}}
	ground := func(record string, day calendar.Date) readiness.Ground {
		return readiness.Ground{Kind: "infection", Record: record, Day: day, After: readiness.Offset{N: 7}, Says: record}
	}
	late, soon, never := ground("a", d(2026, 11, 10)), ground("b", d(2026, 11, 3)), ground("b", 0)
	require.Equal(t, d(2026, 11, 17), h.Clear([]readiness.Ground{late, soon}, 0))
	require.Equal(t, d(2026, 11, 17), h.Clear([]readiness.Ground{soon, late}, 0))
	require.Zero(t, h.Clear([]readiness.Ground{late, never}, 0))
	never.Withdrawn = true
	require.Equal(t, d(2026, 11, 17), h.Clear([]readiness.Ground{never, late}, 0))
	require.Zero(t, h.Clear(nil, 0))
	require.Equal(t, "b of Tue 3 Nov 2026: surgery from Tue 10 Nov 2026 (7 days); a of Tue 10 Nov 2026: surgery from Tue 17 Nov 2026 (7 days)",
		h.Words([]readiness.Ground{soon, late}, 0, d(2026, 11, 20)))
}

// The earliest day asks for the release of each open hold that only a person
// ends, by its grounds' names, and says of each ground what it is too near to.
func TestHoldsAndTheEarliestDay(t *testing.T) {
	cal := chicago(t)
	p := holdProtocol(t)
	now := clock(t, cal, "2026-11-20 09:00")
	c := surgeryOn(t, cal, theDay)
	ground := func(kind, record, says string, withdrawn bool) readiness.Ground {
		return readiness.Ground{Kind: kind, Record: record, Says: says, Active: true, Withdrawn: withdrawn}
	}
	c.Grounds = []readiness.Ground{
		ground("infection", "a", "a cold", false), ground("infection", "b", "a cough", true), ground("infection", "c", "a cold", false),
		ground("infection", "d", "a fever", false), ground("teeth", "a", "a tooth", false), ground("infection", "z", "of no hold", false),
		ground(readiness.KindNoDate, "Appointment/1", "no date", false),
	}
	c.Holds = []readiness.Hold{
		{Key: "infection", Kind: "infection", Raised: now, Records: []string{"a", "b", "c", "d"}},
		{Key: "ended", Kind: "infection", Raised: now, Records: []string{"a"}, Ended: now, How: readiness.Withdrawn},
		{Key: "evidence", Kind: "evidence", Raised: now, Records: []string{"item:s/"}},
	}
	safe := readiness.Earliest(&c, p, cal, now)
	var asked []string
	for _, d := range safe.Unknown {
		asked = append(asked, d.Key.Repeat+": "+d.Needs[0])
	}
	over := func(what string) string {
		return "whether " + what + " was over by Fri 20 Nov 2026, as is counted here, which nobody has said"
	}
	require.Equal(t, []string{
		"a: " + over("a cold"), "c: " + over("a cold"), "d: " + over("a fever"), "a: " + over("a tooth"), "z: " + over("of no hold"),
		"infection: whether a named person releases the hold, a cold and a fever",
	}, asked)
	require.True(t, safe.Conditional())
	for _, o := range safe.Obstacles {
		require.NotEqual(t, "Appointment/1", o.Key.Repeat, "a date is what is looked for")
	}

	// What goes on blocks until it would be over today, and is named so.
	c.Grounds = []readiness.Ground{{Kind: "infection", Record: "b", Says: "a cough", Active: true, After: readiness.Offset{N: 20}}, ground("teeth", "a", "a tooth", false)}
	c.Grounds[0].Kind = "infection"
	safe = readiness.Earliest(&c, p, cal, now)
	require.Equal(t, "2026-12-10", safe.Day.String())
	require.Equal(t, readiness.Key{Step: "release", Repeat: "b"}, safe.Obstacles[0].Key)
	require.Equal(t, "a cough, if it is over today", safe.Obstacles[0].Ground)
	require.True(t, safe.Obstacles[0].Assumed)

	// An item of the date that stands is no matter of another date.
	c.Grounds[0].OfItem = true
	require.Equal(t, "2026-11-23", readiness.Earliest(&c, p, cal, now).Day.String())
}

// A ground whose record is gone is named by what it was last called, in the words
// of the hold and in what must be known for another day.
func TestAGroundThatIsGoneKeepsItsName(t *testing.T) {
	cal := chicago(t)
	p := watching(t)
	c := surgeryOn(t, cal, theDay)
	tooth := readiness.Ground{Kind: "pending-dental-work", Record: "Appointment/1", Says: "oral surgery", Day: day(t, "2026-11-25"), After: readiness.Offset{N: 21}, NotBefore: readiness.Offset{N: 3, Unit: readiness.Months}}
	now := clock(t, cal, "2026-11-10 09:00")
	holds := readiness.Holds(nil, []readiness.Ground{tooth}, &c, p, now)
	require.Len(t, holds, 1)
	renamed := tooth
	renamed.Says = "a tooth taken out"
	holds = readiness.Holds(holds, []readiness.Ground{renamed}, &c, p, now)
	holds = readiness.Holds(holds, nil, &c, p, now) // the visit was called off
	require.True(t, holds[0].Open(), "only a person releases it")
	require.Equal(t, "a tooth taken out, which was called off, settled, corrected or taken away since: a named person may release it", holds[0].Words(nil, c.Day, day(t, "2026-11-10")))
	holds[0].Called = nil // by a version that kept no words
	require.Contains(t, holds[0].Words(nil, c.Day, day(t, "2026-11-10")), "what it rested on was called off")
}

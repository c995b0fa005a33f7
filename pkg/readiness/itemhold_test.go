package readiness_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

const (
	timing   = "timing"   // of a last dose: only a person releases it
	evidence = "evidence" // of any other must: ends when it is supplied
)

// watching are the rules of the tests below: one watches the step stop, the
// other every must that no rule watches.
func watching(t require.TestingT) *readiness.Protocol {
	stop := step("stop", before(3, 1))
	stop.RepeatFor, stop.PausesOnHold = "medicine", true
	should, called := step("should", before(3, 1)), step("called", before(3, 1))
	should.Need, called.Trigger = readiness.Should, "some-event"
	release := step("release", readiness.Window{})
	release.Trigger = readiness.TriggerHold
	p := protocol(t, stop, step("must", before(3, 1)), should, called, release)
	p.ItemHolds = []readiness.ItemHold{
		{Kind: timing, Steps: []string{"stop"}, Missed: "not confirmed", Later: "later than planned", Outside: "outside its window"},
		{Kind: evidence, Missed: "not done", Expired: "too old", Left: 3, Supplied: true},
	}
	return p
}

// Is this item a ground? Surgery is on Monday 30 November 2026 at half past
// seven and was booked in August; it is Friday the 27th, nine o'clock, and the
// Thursday was a holiday. The item's last day is the 27th.
func TestIsThisItemAGround(t *testing.T) {
	cal := chicago(t)
	now := clock(t, cal, "2026-11-27 09:00")
	friday := readiness.Moment{Day: day(t, "2026-11-27")}
	at := func(s string) time.Time { return clock(t, cal, s) }
	type change func(i *readiness.Item, c *readiness.Case)
	state := func(s readiness.ItemState) change {
		return func(i *readiness.Item, _ *readiness.Case) { i.State = s }
	}
	done := func(e readiness.Entry) change {
		return func(i *readiness.Item, _ *readiness.Case) { i.State, i.Entry = readiness.StateDone, e }
	}
	and := func(all ...change) change {
		return func(i *readiness.Item, c *readiness.Case) {
			for _, f := range all {
				f(i, c)
			}
		}
	}
	last := func(m readiness.Moment) change {
		return func(i *readiness.Item, _ *readiness.Case) { i.Last = m }
	}
	dated := func(s string) change {
		return func(_ *readiness.Item, c *readiness.Case) { c.Dated = at(s) }
	}
	const missed = "Title of must (by Fri 27 Nov 2026): not done"
	for _, r := range []struct {
		name, step string
		change     change
		says       string // empty: no ground
		next       string // when time alone may add one
	}{
		{"a must is missed", "must", state(readiness.Missed), missed, ""},
		{"a must is done", "must", done(readiness.Entry{Outcome: readiness.Done, On: friday.Day}), "", ""},
		{"a must is open until midnight", "must", state(readiness.Open), "", "2026-11-28 00:00"},
		{"until an hour", "must", and(state(readiness.Late), last(readiness.Moment{Day: friday.Day, At: at("2026-11-27 17:00")})), "", "2026-11-27 17:00"},
		{"an hour that is past already", "must", and(state(readiness.Late), last(readiness.Moment{Day: friday.Day, At: at("2026-11-27 09:00")})), "", ""},
		{"it never ends", "must", and(state(readiness.Open), last(readiness.Moment{})), "", ""},
		{"on the day of surgery itself", "must", and(state(readiness.Open), last(readiness.Moment{Day: day(t, theDay)})), "", "2026-12-01 00:00"},
		{"only after surgery", "must", and(state(readiness.Open), last(readiness.Moment{Day: day(t, "2026-12-01")})), "", ""},
		{"missed, and its last day was after surgery", "must", and(state(readiness.Missed), last(readiness.Moment{Day: day(t, "2026-12-01")})), "", ""},
		{"missed, with no last day", "must", and(state(readiness.Missed), last(readiness.Moment{})), "", ""},
		{"it does not apply", "must", and(state(readiness.Missed), func(i *readiness.Item, _ *readiness.Case) { i.Applies = readiness.No }), "", ""},
		{"nobody knows whether it applies", "must", and(state(readiness.Missed), func(i *readiness.Item, _ *readiness.Case) { i.Applies = readiness.Unknown }), "", ""},
		{"there is no date", "must", and(state(readiness.Missed), func(_ *readiness.Item, c *readiness.Case) { c.Day = 0 }), "", ""},
		{"it was too late when it was booked", "must", and(state(readiness.Missed), func(i *readiness.Item, _ *readiness.Case) { i.TooLate = true }), "", ""},
		{"the date became known after its last day", "must", and(state(readiness.Missed), dated("2026-11-28 00:00")), "", ""},
		{"the date became known a minute before", "must", and(state(readiness.Missed), dated("2026-11-27 23:59")), missed, ""},
		{"booked after its last day", "must", and(state(readiness.Missed), func(_ *readiness.Item, c *readiness.Case) { c.Booked = at("2026-11-28 00:00") }), "", ""},
		{"it failed for an earlier date", "must", and(state(readiness.Missed), func(i *readiness.Item, _ *readiness.Case) {
			i.Entry = readiness.Entry{Outcome: readiness.Failed, For: map[string]string{readiness.DetailDate: "2026-11-23"}}
		}), "", ""},
		{"it failed for this date", "must", and(state(readiness.Missed), func(i *readiness.Item, _ *readiness.Case) {
			i.Entry = readiness.Entry{Outcome: readiness.Failed, For: map[string]string{readiness.DetailDate: theDay}, Reason: "no car.", By: "A Nurse"}
		}), "Title of must (by Fri 27 Nov 2026): it could not be done: no car (said by A Nurse)", ""},
		{"a step that only should be done", "should", state(readiness.Missed), "", ""},
		{"a step that an event calls for", "called", state(readiness.Missed), "", ""},
		{"the case was cancelled", "must", and(state(readiness.Missed), func(_ *readiness.Item, c *readiness.Case) { c.Ending = readiness.Cancelled }), "", ""},

		{"a last dose is not confirmed", "stop", state(readiness.Missed), "Pill, title of stop (by Fri 27 Nov 2026): not confirmed", ""},
		{"and could not be from the first", "stop", and(state(readiness.Missed), dated("2026-11-29 09:00")), "Pill, title of stop (by Fri 27 Nov 2026): not confirmed", ""},
		{"a last dose may still be confirmed, from the first too late", "stop", and(state(readiness.Open), dated("2026-11-29 09:00")), "", "2026-11-28 00:00"},
		{"confirmed for its last day", "stop", done(readiness.Entry{Outcome: readiness.Done, On: friday.Day}), "", ""},
		{"confirmed for a day later", "stop", done(readiness.Entry{Outcome: readiness.Done, On: friday.Day.Add(1)}), "Pill, title of stop (by Fri 27 Nov 2026): later than planned", ""},
		{"a last dose is not confirmed, and there is no date", "stop", and(state(readiness.Missed), func(_ *readiness.Item, c *readiness.Case) { c.Day = 0 }), "", ""},
		{"confirmed, and there is no last day", "stop", and(done(readiness.Entry{Outcome: readiness.Done, On: friday.Day}), last(readiness.Moment{})), "", ""},
		{"confirmed without a day", "stop", done(readiness.Entry{Outcome: readiness.Done}), "", ""},
		{"the day is right, the hour is late, and only a day was asked", "stop", done(readiness.Entry{Outcome: readiness.Done, On: friday.Day, At: at("2026-11-27 22:00")}), "", ""},
		{"an hour was asked, and kept", "stop", and(done(readiness.Entry{Outcome: readiness.Done, On: friday.Day, At: at("2026-11-27 17:00")}), last(readiness.Moment{Day: friday.Day, At: at("2026-11-27 17:00")})), "", ""},
		{"an hour was asked, and not kept", "stop", and(done(readiness.Entry{Outcome: readiness.Done, On: friday.Day, At: at("2026-11-27 17:01")}), last(readiness.Moment{Day: friday.Day, At: at("2026-11-27 17:00")})), "Pill, title of stop (by Fri 27 Nov 2026 17:00 CST): later than planned", ""},
		{"an hour was asked, and only a day is known", "stop", and(done(readiness.Entry{Outcome: readiness.Done, On: friday.Day}), last(readiness.Moment{Day: friday.Day, At: at("2026-11-27 17:00")})), "", ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			p := watching(t)
			c := surgeryOn(t, cal, theDay)
			c.Medicines = []readiness.Medicine{{Key: "pill", Name: "Pill"}}
			i := readiness.Item{Key: readiness.Key{Step: r.step, Round: 1}, Step: p.Step(r.step), Applies: readiness.Yes, Last: friday}
			if r.step == "stop" {
				i.Key.Repeat = "pill"
			}
			r.change(&i, &c)
			grounds, next := readiness.ItemGrounds(&readiness.Plan{Items: []readiness.Item{i}}, &c, p, cal, now)
			if r.says == "" {
				require.Empty(t, grounds)
			} else {
				require.Len(t, grounds, 1)
				require.Equal(t, r.says, grounds[0].Says)
				require.True(t, grounds[0].Active && grounds[0].Whole && grounds[0].OfItem && !grounds[0].Withdrawn)
				key, ours := readiness.ItemOf(grounds[0].Record)
				require.True(t, ours)
				require.Equal(t, readiness.Key{Step: i.Key.Step, Repeat: i.Key.Repeat}, key)
				require.Equal(t, map[string]string{"stop": timing, "must": evidence}[r.step], grounds[0].Kind)
			}
			require.True(t, at(r.next).Equal(next), "next is %s", next)
		})
	}
}

// What the records say of doses: the last dose that stands is Friday the 27th,
// until midnight.
func TestDosesOnRecord(t *testing.T) {
	cal := chicago(t)
	friday := day(t, "2026-11-27")
	past := readiness.DoseCandidate{Applies: readiness.Yes, Fit: readiness.PastWindow}
	maybe := readiness.DoseCandidate{Applies: readiness.Unknown, Fit: readiness.PastWindow}
	within := readiness.DoseCandidate{Applies: readiness.Yes, Fit: readiness.InWindow}
	maybeWithin := readiness.DoseCandidate{Applies: readiness.Unknown, Fit: readiness.InWindow}
	soon := readiness.DoseCandidate{Applies: readiness.Yes, Fit: readiness.TooSoon}
	for _, r := range []struct {
		name, now  string
		dose       calendar.Date
		at         string
		entry      readiness.Entry
		of         string // whose doses they are; empty: pill's
		last       readiness.Moment
		undated    bool
		candidates []readiness.DoseCandidate
		record     string
		next       string
	}{
		{name: "none is known", now: "2026-11-28 09:00", candidates: []readiness.DoseCandidate{past}},
		{name: "of another medicine", now: "2026-11-28 09:00", dose: friday.Add(1), of: "other"},
		{name: "of the last day", now: "2026-11-28 09:00", dose: friday},
		{name: "a day later", now: "2026-11-28 09:00", dose: friday.Add(1), record: "item:stop/pill@2026-11-28"},
		{name: "a day later, and confirmed so", now: "2026-11-28 09:00", dose: friday.Add(1), entry: readiness.Entry{On: friday.Add(1)}, record: "item:stop/pill@2026-11-28"},
		{name: "planned for tomorrow", now: "2026-11-27 09:00", dose: friday.Add(1), next: "2026-11-28 00:00"},
		{name: "an hour late", now: "2026-11-28 09:00", dose: friday, at: "2026-11-27 18:00", last: readiness.Moment{Day: friday, At: clock(t, cal, "2026-11-27 17:00")}, record: "item:stop/pill@2026-11-27"},
		{name: "there is no last dose to compare it with", now: "2026-11-28 09:00", dose: friday.Add(1), undated: true},
		{name: "the window is over", now: "2026-11-28 00:00", dose: friday.Add(-40), candidates: []readiness.DoseCandidate{past}, record: "item:stop/pill@outside"},
		{name: "and the last dose may still be taken", now: "2026-11-27 23:59", dose: friday.Add(-40), candidates: []readiness.DoseCandidate{past}},
		{name: "a later dose was confirmed", now: "2026-11-28 09:00", dose: friday.Add(-40), entry: readiness.Entry{On: friday.Add(-12)}, candidates: []readiness.DoseCandidate{past}},
		{name: "the same dose was confirmed", now: "2026-11-28 09:00", dose: friday.Add(-40), entry: readiness.Entry{On: friday.Add(-40)}, candidates: []readiness.DoseCandidate{past}, record: "item:stop/pill@outside"},
		{name: "one rule of two is kept", now: "2026-11-28 09:00", dose: friday.Add(-40), candidates: []readiness.DoseCandidate{past, within}},
		{name: "one rule of two is kept, in the other order", now: "2026-11-28 09:00", dose: friday.Add(-40), candidates: []readiness.DoseCandidate{within, past}},
		{name: "one rule of two might be kept", now: "2026-11-28 09:00", dose: friday.Add(-40), candidates: []readiness.DoseCandidate{past, maybeWithin}, record: "item:stop/pill@outside"},
		{name: "a rule that may not apply", now: "2026-11-28 09:00", dose: friday.Add(-40), candidates: []readiness.DoseCandidate{maybe}},
		{name: "inside the window", now: "2026-11-28 09:00", dose: friday.Add(-7), candidates: []readiness.DoseCandidate{within}},
		{name: "too soon is no matter of the window's end", now: "2026-11-28 09:00", dose: friday.Add(-1), candidates: []readiness.DoseCandidate{soon}},
	} {
		t.Run(r.name, func(t *testing.T) {
			p := watching(t)
			c := surgeryOn(t, cal, theDay)
			c.Medicines = []readiness.Medicine{{Name: "free text"}, {Key: "other", Name: "Other"}, {Key: "pill", Name: "Pill"}}
			m := &c.Medicines[2]
			if r.of != "" {
				m = &c.Medicines[1]
			}
			m.Last = readiness.Moment{Day: r.dose, At: clock(t, cal, r.at)}
			i := readiness.Item{Key: readiness.Key{Step: "stop", Repeat: "pill", Round: 1}, Step: p.Step("stop"), Applies: readiness.Yes, State: readiness.StateDone, Entry: r.entry}
			switch i.Last = r.last; {
			case r.undated:
			case r.last.IsZero():
				i.Last = readiness.Moment{Day: friday}
			}
			pl := readiness.Plan{Items: []readiness.Item{i}, Medicines: []readiness.MedicineAdvice{
				{Medicine: &c.Medicines[1], Candidates: []readiness.DoseCandidate{past}}, // no matter of this item's
				{Medicine: &c.Medicines[2], Candidates: r.candidates},
			}}
			grounds, next := readiness.ItemGrounds(&pl, &c, p, cal, clock(t, cal, r.now))
			var records []string
			for _, g := range grounds {
				records = append(records, g.Record)
			}
			if r.record == "" {
				require.Empty(t, records)
			} else {
				require.Equal(t, []string{r.record}, records)
			}
			require.True(t, clock(t, cal, r.next).Equal(next), "next is %s", next)
		})
	}
}

// Evidence that has expired holds the case when fewer than three business days
// are left to do it again, today and the day of surgery not being one apart:
// before Monday 30 November come Wednesday 25 and Friday 27, and Thursday 26 is a
// holiday.
func TestExpiredEvidence(t *testing.T) {
	cal := chicago(t)
	dateAndTime := readiness.Expiry{Kind: readiness.ThisDate}
	for _, r := range []struct {
		name, now string
		change    func(was, is *readiness.Item, p *readiness.Protocol)
		ground    bool
		next      string
	}{
		{"Tuesday, three are left: from tomorrow", "2026-11-24 09:00", nil, false, "2026-11-25 00:00"},
		{"Friday before, from Wednesday on", "2026-11-20 09:00", nil, false, "2026-11-25 00:00"},
		{"Wednesday, two are left", "2026-11-25 00:00", nil, true, ""},
		{"Sunday, none is left", "2026-11-29 09:00", nil, true, ""},
		{"one is asked for, until the day before", "2026-11-27 09:00", func(_, _ *readiness.Item, p *readiness.Protocol) { p.ItemHolds[1].Left = 1 }, false, "2026-11-28 00:00"},
		{"one is asked for, and surgery is on the Friday", "2026-11-24 09:00", func(_, _ *readiness.Item, p *readiness.Protocol) { p.ItemHolds[1].Left = 1 }, false, "2026-11-28 00:00"},
		{"Wednesday, and it is done again", "2026-11-25 09:00", func(_, is *readiness.Item, _ *readiness.Protocol) { is.State = readiness.StateDone }, false, ""},
		{"Wednesday, and what was replaced is not too old", "2026-11-25 09:00", func(was, _ *readiness.Item, _ *readiness.Protocol) { was.State = readiness.StateDone }, false, ""},
		{"Wednesday, and it was for the date that moved", "2026-11-25 09:00", func(was, _ *readiness.Item, _ *readiness.Protocol) {
			s := *was.Step
			s.Expiry = dateAndTime
			was.Step = &s
		}, false, ""},
		{"Wednesday, and the rule does not ask how many are left", "2026-11-25 09:00", func(_, _ *readiness.Item, p *readiness.Protocol) { p.ItemHolds[1].Left = 0 }, false, ""},
		{"Wednesday, and it replaces nothing", "2026-11-25 09:00", func(_, is *readiness.Item, _ *readiness.Protocol) { is.Replaces = 0 }, false, ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			p := watching(t)
			c := surgeryOn(t, cal, theDay)
			c.Day = day(t, theDay)
			items := []readiness.Item{
				{Key: readiness.Key{Step: "must", Round: 1}, Step: p.Step("must"), Applies: readiness.Yes, State: readiness.Expired, Last: readiness.Moment{Day: day(t, "2026-11-10")}},
				{Key: readiness.Key{Step: "must", Round: 2}, Step: p.Step("must"), Applies: readiness.Yes, State: readiness.Open, Replaces: 1, Last: readiness.Moment{Day: c.Day.Add(30)}},
			}
			if r.change != nil {
				r.change(&items[0], &items[1], p)
			}
			grounds, next := readiness.ItemGrounds(&readiness.Plan{Items: items}, &c, p, cal, clock(t, cal, r.now))
			require.Len(t, grounds, map[bool]int{true: 1}[r.ground])
			if r.ground {
				require.Contains(t, grounds[0].Says, ": too old")
			}
			require.True(t, clock(t, cal, r.next).Equal(next), "next is %s", next)
		})
	}
}

// What was replaced is no ground itself, the same wrong thing is said once, and
// two rules on one step each hold for it.
func TestGroundsAreSaidOnce(t *testing.T) {
	cal := chicago(t)
	p := watching(t)
	now := clock(t, cal, "2026-11-28 09:00")
	c := surgeryOn(t, cal, theDay)
	missed := func(code, repeat string, round, replaces int) readiness.Item {
		return readiness.Item{Key: readiness.Key{Step: code, Repeat: repeat, Round: round}, Step: p.Step(code), Applies: readiness.Yes, State: readiness.Missed, Replaces: replaces, Last: readiness.Moment{Day: day(t, "2026-11-27")}}
	}
	kinds := func(items ...readiness.Item) (out []string) {
		grounds, _ := readiness.ItemGrounds(&readiness.Plan{Items: items}, &c, p, cal, now)
		for _, g := range grounds {
			out = append(out, g.Kind+" "+g.Record)
		}
		return out
	}
	was, is := missed("stop", "pill", 1, 0), missed("stop", "pill", 2, 1)
	is.State = readiness.StateDone
	require.Empty(t, kinds(was, is))
	require.Equal(t, []string{"timing item:stop/pill", "timing item:stop/other"}, kinds(was, missed("stop", "other", 1, 0)))

	// Today is after its last day, and the evidence on record says the same.
	was.State, was.Entry = readiness.StateDone, readiness.Entry{Outcome: readiness.Done, On: day(t, "2026-11-28")}
	c.Medicines = []readiness.Medicine{{Key: "pill", Name: "Pill", Last: readiness.Moment{Day: day(t, "2026-11-28")}}}
	require.Equal(t, []string{"timing item:stop/pill@2026-11-28"}, kinds(was))

	c.Medicines = nil
	p.ItemHolds = append(p.ItemHolds, readiness.ItemHold{Kind: "other", Steps: []string{"stop"}, Missed: "not done"})
	require.Equal(t, []string{"timing item:stop/pill", "other item:stop/pill"}, kinds(missed("stop", "pill", 1, 0)))
}

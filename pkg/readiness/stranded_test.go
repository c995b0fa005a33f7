package readiness_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// A hold that only a person releases keeps its grounds when the item is done or
// the date moves, and loses those of a medicine that never was.
func TestGroundsOfOpenHolds(t *testing.T) {
	cal := chicago(t)
	now := clock(t, cal, "2026-11-27 09:00")
	record := "item:stop/pill@2026-11-28"
	for _, r := range []struct {
		name   string
		change func(c *readiness.Case, h *readiness.Hold)
		says   string
		never  bool // withdrawn
		next   string
	}{
		{"it is settled", func(*readiness.Case, *readiness.Hold) {}, "Pill, title of stop: what was wrong is settled or the date moved, and a named person may release it", false, ""},
		{"the medicine is on no list any more", func(c *readiness.Case, _ *readiness.Hold) { c.Medicines = nil }, "Pill, title of stop: the record of the medicine is not there any more, and a named person may release it", false, ""},
		{"the medicine was entered in error", func(c *readiness.Case, _ *readiness.Hold) { c.Disowned = []string{"pill"} }, "Pill: entered in error", true, ""},
		{"another one was", func(c *readiness.Case, _ *readiness.Hold) { c.Disowned = []string{"other"} }, "Pill, title of stop: what was wrong is settled or the date moved, and a named person may release it", false, ""},
		{"of an item without a repeat", func(_ *readiness.Case, h *readiness.Hold) { h.Records = []string{"item:must/"} }, "title of must: what was wrong is settled or the date moved, and a named person may release it", false, ""},
		{"the hold has ended", func(_ *readiness.Case, h *readiness.Hold) { h.Ended = now }, "", false, ""},
		{"it ends when it is supplied", func(_ *readiness.Case, h *readiness.Hold) { h.Kind = evidence }, "", false, ""},
		{"the person came, so that it ends with the hour", func(c *readiness.Case, h *readiness.Hold) { h.Kind, c.Arrived = evidence, now }, "", false, "2026-11-30 07:30"},
		{"it was supplied", func(_ *readiness.Case, h *readiness.Hold) { h.Kind, h.Ended = evidence, now }, "", false, ""},
		{"it rests on a record of the person's", func(_ *readiness.Case, h *readiness.Hold) { h.Records = []string{"Condition/1"} }, "", false, ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			p := watching(t)
			c := surgeryOn(t, cal, theDay)
			c.Medicines = []readiness.Medicine{{Key: "pill", Name: "Pill"}}
			h := readiness.Hold{Key: "h", Kind: timing, Raised: now, Records: []string{record}}
			r.change(&c, &h)
			c.Holds = []readiness.Hold{h}
			grounds, next := readiness.ItemGrounds(&readiness.Plan{}, &c, p, cal, now)
			if r.says == "" {
				require.Empty(t, grounds)
			} else {
				require.Len(t, grounds, 1)
				require.Equal(t, []any{r.says, timing, r.never, false, true, true, h.Records[0]},
					[]any{grounds[0].Says, grounds[0].Kind, grounds[0].Withdrawn, grounds[0].Active, grounds[0].Whole, grounds[0].OfItem, grounds[0].Record})
			}
			require.True(t, clock(t, cal, r.next).Equal(next), "next is %s", next)
		})
	}

	// What stands is not said twice.
	p := watching(t)
	c := surgeryOn(t, cal, theDay)
	c.Holds = []readiness.Hold{{Key: "h", Kind: timing, Raised: now, Records: []string{"item:stop/pill", "item:stop/other"}}}
	item := readiness.Item{Key: readiness.Key{Step: "stop", Repeat: "pill", Round: 1}, Step: p.Step("stop"), Applies: readiness.Yes, State: readiness.Missed, Last: readiness.Moment{Day: day(t, "2026-11-26")}}
	grounds, _ := readiness.ItemGrounds(&readiness.Plan{Items: []readiness.Item{item}}, &c, p, cal, now)
	require.Len(t, grounds, 2)
	require.Equal(t, []string{"item:stop/pill", "item:stop/other"}, []string{grounds[0].Record, grounds[1].Record})
	require.True(t, grounds[0].Active)
	require.False(t, grounds[1].Active)
}

// What the open holds mean for the items.
func TestWhatHoldsMean(t *testing.T) {
	pill := readiness.Key{Step: "stop", Repeat: "pill"}
	hold := func(kind string, records ...string) readiness.Hold {
		return readiness.Hold{Key: kind, Kind: kind, Records: records}
	}
	ended := hold("infection", "Condition/1")
	ended.Ended = holdNow
	for _, r := range []struct {
		name   string
		holds  []readiness.Hold
		held   bool
		spared map[readiness.Key]bool
	}{
		{"none", nil, false, map[readiness.Key]bool{}},
		{"one that has ended", []readiness.Hold{ended}, false, map[readiness.Key]bool{}},
		{"an infection", []readiness.Hold{hold("infection", "Condition/1")}, true, nil},
		{"a last dose", []readiness.Hold{hold(timing, "item:stop/pill@outside")}, true, map[readiness.Key]bool{pill: true}},
		{"evidence", []readiness.Hold{hold(evidence, "item:must/")}, true, map[readiness.Key]bool{{Step: "must"}: true}},
		{"no date", []readiness.Hold{hold(readiness.KindNoDate, "Appointment/1")}, true, nil},
		{"a last dose and evidence", []readiness.Hold{hold(timing, "item:stop/pill"), hold(evidence, "item:must/")}, true, map[readiness.Key]bool{pill: true, {Step: "must"}: true}},
		{"evidence and an infection", []readiness.Hold{hold(evidence, "item:must/"), hold("infection", "Condition/1")}, true, nil},
		{"evidence, after an infection", []readiness.Hold{ended, hold(evidence, "item:must/")}, true, map[readiness.Key]bool{{Step: "must"}: true}},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := readiness.Case{Holds: r.holds}
			c.Hold(watching(t))
			require.Equal(t, []any{r.held, r.spared}, []any{c.Held, c.Spared})
		})
	}
}

// A release for the day that stands is the answer for the item that was missed.
func TestReleasedItem(t *testing.T) {
	cal := chicago(t)
	now := clock(t, cal, "2026-11-30 00:30")
	for _, r := range []struct {
		name   string
		change func(h *readiness.Hold)
		ready  bool
	}{
		{"released for this day", func(*readiness.Hold) {}, true},
		{"it ended in another way", func(h *readiness.Hold) { h.How = readiness.Withdrawn }, false},
		{"released for another day", func(h *readiness.Hold) { h.For++ }, false},
		{"of the other medicine", func(h *readiness.Hold) { h.Seen = map[string]calendar.Date{"item:stop/other": 0} }, false},
		{"of the other step", func(h *readiness.Hold) { h.Seen = map[string]calendar.Date{"item:must/pill": 0} }, false},
		{"on a record that is no item", func(h *readiness.Hold) { h.Seen = map[string]calendar.Date{"stop/pill": 0} }, false},
		{"of a kind that is supplied", func(h *readiness.Hold) { h.Kind = evidence }, false},
	} {
		t.Run(r.name, func(t *testing.T) {
			p := watching(t)
			c := surgeryOn(t, cal, theDay)
			c.Repeats = map[string][]string{"medicine": {"pill"}}
			c.Entries = entries(map[string]readiness.Entry{"must": doneOn(day(t, "2026-11-27"), c)})
			h := readiness.Hold{Key: "h", Kind: timing, How: readiness.Released, Ended: now, For: c.Day, Seen: map[string]calendar.Date{"item:stop/pill@outside": 0}}
			r.change(&h)
			c.Holds = []readiness.Hold{h}
			pl := readiness.Make(&c, p, cal, now)
			require.Equal(t, r.ready, pl.State == readiness.CaseReady, "the case is %s", pl.State)
		})
	}
}

const redatedStep, stopDayStep = "redated", "stop-day"

// stoppable has a step that is the last dose of a medicine, and the two steps
// that ask a prescriber.
func stoppable(t require.TestingT) *readiness.Protocol {
	stop := step("stop", window(days(readiness.AnchorLastDose, 0), days(readiness.AnchorLastDose, 0)))
	stop.RepeatFor, stop.PausesOnHold = "medicine", true
	redated, stopDay := step(redatedStep, readiness.Window{}), step(stopDayStep, readiness.Window{})
	redated.Trigger, stopDay.Trigger = readiness.TriggerStopped, readiness.TriggerStopDay
	for _, s := range []*readiness.Step{&redated, &stopDay} {
		s.Window = readiness.Window{Opens: points(days(readiness.AnchorRaised, 0))}
	}
	p := protocol(t, stop, step("must", before(3, 1)), redated, stopDay)
	p.ItemHolds = []readiness.ItemHold{{Kind: evidence, Missed: "not done", Supplied: true}}
	return p
}

// Who is asked whether a medicine that is stopped already is to be taken again.
// The operation stood for Monday 30 November 2026, and the last dose of the
// pill for the 26th; it is the 27th.
func TestWhoIsLeftStopped(t *testing.T) {
	cal := chicago(t)
	type situation struct {
		b    readiness.Before
		c    readiness.Case
		item *readiness.Item
		now  time.Time
	}
	moves := func(s *situation) { s.c.Day = day(t, "2027-01-04") }
	done := func(for_ string) func(*situation) {
		return func(s *situation) {
			s.item.State = readiness.StateDone
			s.item.Entry = readiness.Entry{Outcome: readiness.Done, For: map[string]string{readiness.DetailDate: for_}}
		}
	}
	hold := readiness.Hold{Key: "infection", Kind: "infection", Records: []string{"Condition/1"}}
	const stopped = "Pill was to be stopped on Thu 26 Nov 2026 for the operation of Mon 30 Nov 2026; nobody has confirmed it. "
	const moved = stopped + "The operation is now on Mon 4 Jan 2027: until then the person would be without it for 39 days from the last dose."
	const held = stopped + "The operation is still on that day, and the case is held: until then the person would be without it for 4 days from the last dose."
	for _, r := range []struct {
		name    string
		changes []func(*situation)
		why     string // empty: nobody is asked
	}{
		{"nothing changed", nil, ""},
		{"it moved, and the last dose was yesterday", []func(*situation){moves}, moved},
		{"it moved to an earlier day", []func(*situation){func(s *situation) { s.c.Day = day(t, "2026-11-28") }}, stopped + "The operation is now on Sat 28 Nov 2026: until then the person would be without it for 2 days from the last dose."},
		{"it moved to the day of the last dose", []func(*situation){func(s *situation) { s.c.Day = day(t, "2026-11-26") }}, stopped + "The operation is now on Thu 26 Nov 2026: the last dose is not before it."},
		{"it moved to the day after it", []func(*situation){func(s *situation) { s.c.Day = day(t, "2026-11-27") }}, stopped + "The operation is now on Fri 27 Nov 2026: until then the person would be without it for 1 day from the last dose."},
		{"it has no date any more", []func(*situation){func(s *situation) { s.c.Day = 0 }}, stopped + "The operation has no date any more; until when the person is without it is not known."},
		{"it had no date before", []func(*situation){moves, func(s *situation) { s.b.Day = 0 }}, ""},
		{"it was called off", []func(*situation){func(s *situation) { s.c.Ending = readiness.Cancelled }}, stopped + "The operation was called off (cancelled); until when the person is without it is not known."},
		{"it was called off before, and its day is changed", []func(*situation){moves, func(s *situation) { s.c.Ending, s.b.Ended = readiness.Cancelled, true }}, ""},
		{"it moved, and the last dose is today: until midnight", []func(*situation){moves, func(s *situation) { s.item.Due.Day++ }}, ""},
		{"it moved, and the last dose was today", []func(*situation){moves, func(s *situation) { s.item.Due.Day++; s.now = clock(t, cal, "2026-11-28 00:00") }}, "Pill was to be stopped on Fri 27 Nov 2026 for the operation of Mon 30 Nov 2026; nobody has confirmed it. The operation is now on Mon 4 Jan 2027: until then the person would be without it for 38 days from the last dose."},
		{"it moved, and the last dose has no day", []func(*situation){moves, func(s *situation) { s.item.Due = readiness.Moment{} }}, ""},
		{"it moved, and the medicine did not apply", []func(*situation){moves, func(s *situation) { s.item.Applies = readiness.No }}, ""},
		{"it moved, and nobody was told: the sign-off was waited for", []func(*situation){moves, func(s *situation) { s.item.Waits = []string{"sign"} }}, ""},
		{"it moved, and the item was waived", []func(*situation){moves, func(s *situation) { s.item.State = readiness.StateWaived }}, ""},
		{"it moved, and the item was not needed", []func(*situation){moves, func(s *situation) { s.item.State = readiness.Needless }}, ""},
		{"it moved, and the last dose was confirmed for that day", []func(*situation){moves, done("2026-11-30"), func(s *situation) { s.item.Due = readiness.Moment{} }}, "Pill is stopped already for the operation of Mon 30 Nov 2026; nobody has said on which day the last dose was. The operation is now on Mon 4 Jan 2027; for how long the person is without it is not known."},
		{"and its day is told", []func(*situation){moves, done("2026-11-30"), func(s *situation) { s.item.Entry.On = day(t, "2026-11-25") }}, "Pill is stopped already for the operation of Mon 30 Nov 2026: the last dose is recorded for Wed 25 Nov 2026. The operation is now on Mon 4 Jan 2027: until then the person would be without it for 40 days from the last dose."},
		{"it moved, and the last dose was confirmed for an earlier booking", []func(*situation){moves, done("2026-11-02")}, ""},
		{"it moved, and the item is no last dose", []func(*situation){moves, func(s *situation) {
			other := *s.item.Step
			other.Window = before(3, 1)
			s.item.Step = &other
		}}, ""},
		{"it moved, and the item is of no medicine", []func(*situation){moves, func(s *situation) { s.item.Key.Repeat = "" }}, ""},
		{"it moved, and the person is in already", []func(*situation){moves, func(s *situation) { s.c.Arrived = s.now }}, ""},
		{"it moved, and the person has left", []func(*situation){moves, func(s *situation) { s.c.Left = s.now }}, ""},
		{"it is held", []func(*situation){func(s *situation) { s.c.Holds = []readiness.Hold{hold} }}, held},
		{"it was held before", []func(*situation){func(s *situation) { s.c.Holds, s.b.Holds = []readiness.Hold{hold}, []readiness.Hold{hold} }}, ""},
		{"it was held before, and that hold ended", []func(*situation){func(s *situation) {
			was := hold
			was.Ended = s.now
			s.c.Holds, s.b.Holds = []readiness.Hold{hold}, []readiness.Hold{was}
		}}, held},
		{"another hold was open before", []func(*situation){func(s *situation) {
			was := hold
			was.Key = "teeth"
			s.c.Holds, s.b.Holds = []readiness.Hold{hold}, []readiness.Hold{was}
		}}, held},
		{"the hold has ended", []func(*situation){func(s *situation) {
			is := hold
			is.Ended = s.now
			s.c.Holds = []readiness.Hold{is}
		}}, ""},
		{"the hold is about this very item", []func(*situation){func(s *situation) {
			s.c.Holds = []readiness.Hold{{Key: timing, Kind: timing, Records: []string{"item:stop/pill"}}}
		}}, ""},
		{"the hold is about this item and another", []func(*situation){func(s *situation) {
			s.c.Holds = []readiness.Hold{{Key: timing, Kind: timing, Records: []string{"item:stop/pill", "item:stop/other"}}}
		}}, held},
		{"the hold is about the same medicine's other step", []func(*situation){func(s *situation) {
			s.c.Holds = []readiness.Hold{{Key: timing, Kind: timing, Records: []string{"item:must/pill"}}}
		}}, held},
		{"the hold rests on nothing yet", []func(*situation){func(s *situation) { s.c.Holds = []readiness.Hold{{Key: "infection", Kind: "infection"}} }}, held},
		{"the medicine is on no list any more", []func(*situation){moves, func(s *situation) { s.c.Medicines = nil }}, moved},
	} {
		t.Run(r.name, func(t *testing.T) {
			p := stoppable(t)
			s := situation{c: surgeryOn(t, cal, theDay), now: clock(t, cal, "2026-11-27 09:00")}
			s.c.Medicines = []readiness.Medicine{{Key: "pill", Name: "Pill"}}
			s.b = readiness.Before{Day: s.c.Day, Items: []readiness.Item{{
				Key: readiness.Key{Step: "stop", Repeat: "pill", Round: 1}, Step: p.Step("stop"), State: readiness.Late, Applies: readiness.Yes,
				Due: readiness.Moment{Day: day(t, "2026-11-26")},
			}}}
			s.item = &s.b.Items[0]
			for _, f := range r.changes {
				f(&s)
			}
			if s.item.Entry.Outcome != readiness.NoOutcome {
				s.c.Entries = map[readiness.Key]readiness.Entry{s.item.Key: s.item.Entry}
			}
			planned := s.item.Due
			out, next := readiness.Stranded(s.b, &s.c, &readiness.Plan{}, p, cal, s.now)
			require.True(t, next.IsZero())
			if r.why == "" {
				require.Empty(t, out)
				return
			}
			require.Equal(t, []readiness.Raised{{Trigger: readiness.TriggerStopped, Key: "pill@1", At: s.now, Why: r.why, For: s.b.Day, Dose: planned, Name: "Pill"}}, out)
		})
	}
}

// The prescriber is asked once until they answer, and again for the next change.
func TestAskedOnceUntilAnswered(t *testing.T) {
	cal := chicago(t)
	now := clock(t, cal, "2026-11-27 09:00")
	p := stoppable(t)
	moved := surgeryOn(t, cal, "2027-01-04")
	moved.Medicines = []readiness.Medicine{{Key: "pill", Name: "Pill"}}
	was := &readiness.Raised{At: now.Add(-time.Hour), Why: "as it was"}
	dose := func(round, replaces int) readiness.Item {
		return readiness.Item{Key: readiness.Key{Step: "stop", Repeat: "pill", Round: round}, Step: p.Step("stop"), State: readiness.Late, Applies: readiness.Yes, Due: readiness.Moment{Day: day(t, "2026-11-26")}, Replaces: replaces}
	}
	asked := func(code, repeat string, round int, state readiness.ItemState) readiness.Item {
		return readiness.Item{Key: readiness.Key{Step: code, Repeat: repeat, Round: round}, Step: p.Step(code), State: state, Applies: readiness.Yes, Raised: was}
	}
	unraised := asked(redatedStep, "pill@1", 1, readiness.Open)
	unraised.Raised = nil
	unknown := asked(redatedStep, "pill@1", 1, readiness.Open)
	unknown.Key.Step = "of an older protocol"
	for _, r := range []struct {
		name  string
		items []readiness.Item
		moves bool
		keys  []string
	}{
		{"for the first time", []readiness.Item{dose(1, 0)}, true, []string{"pill@1"}},
		{"and no answer yet", []readiness.Item{dose(1, 0), asked(redatedStep, "pill@1", 1, readiness.Open)}, true, []string{"pill@1"}},
		{"answered, and moved again", []readiness.Item{dose(1, 0), asked(redatedStep, "pill@1", 1, readiness.StateDone)}, true, []string{"pill@1", "pill@2"}},
		{"answered, and nothing moved", []readiness.Item{dose(1, 0), asked(redatedStep, "pill@1", 1, readiness.StateDone)}, false, []string{"pill@1"}},
		{"the second is open, whichever comes first", []readiness.Item{asked(redatedStep, "pill@2", 1, readiness.Open), asked(redatedStep, "pill@1", 1, readiness.StateDone)}, true, []string{"pill@2", "pill@1"}},
		{"two answered", []readiness.Item{asked(redatedStep, "pill@1", 1, readiness.StateDone), asked(redatedStep, "pill@2", 1, readiness.StateDone)}, true, []string{"pill@1", "pill@2", "pill@3"}},
		{"of another medicine", []readiness.Item{dose(1, 0), asked(redatedStep, "other@1", 1, readiness.Open)}, true, []string{"other@1", "pill@1"}},
		{"a further round is no further question", []readiness.Item{asked(redatedStep, "pill@1", 1, readiness.Open), asked(redatedStep, "pill@1", 2, readiness.Open)}, true, []string{"pill@1"}},
		{"the dose is in its second round", []readiness.Item{dose(1, 0), dose(2, 1)}, true, []string{"pill@1"}},
		{"a stop day was asked about, which is another question", []readiness.Item{dose(1, 0), asked(stopDayStep, "pill@2026-11-26", 1, readiness.Open)}, true, []string{"pill@2026-11-26", "pill@1"}},
		{"a step that no event raises", []readiness.Item{asked("must", "", 1, readiness.Open)}, false, nil},
		{"nothing says when it was raised", []readiness.Item{unraised}, false, nil},
		{"a step that the protocol does not have any more", []readiness.Item{unknown}, false, nil},
	} {
		t.Run(r.name, func(t *testing.T) {
			b := readiness.Before{Day: moved.Day, Items: r.items}
			if r.moves {
				b.Day = day(t, theDay)
			}
			out, _ := readiness.Stranded(b, &moved, &readiness.Plan{}, p, cal, now)
			var keys []string
			for _, o := range out {
				keys = append(keys, o.Key)
			}
			require.Equal(t, r.keys, keys)
		})
	}
	again, _ := readiness.Stranded(readiness.Before{Day: day(t, theDay), Items: []readiness.Item{asked(redatedStep, "pill@1", 1, readiness.StateDone)}}, &moved, &readiness.Plan{}, p, cal, now)
	require.Equal(t, "as it was", again[0].Why)
	require.Equal(t, readiness.TriggerStopped, again[0].Trigger)
	require.Equal(t, "Pill was stopped, or to be stopped, for an earlier date. The operation is now on Mon 4 Jan 2027; for how long the person is without it is not known. The prescriber has answered an earlier question about it.", again[1].Why)
}

// The day of a last dose comes while the case is held: the prescriber is asked
// then, and not before.
func TestStopDayWhileHeld(t *testing.T) {
	cal := chicago(t)
	for _, r := range []struct {
		name, now string
		change    func(c *readiness.Case, i *readiness.Item, b *readiness.Before)
		key       string
		next      string
	}{
		{"the day before", "2026-11-25 23:59", nil, "", "2026-11-26 00:00"},
		{"the day begins", "2026-11-26 00:00", nil, "pill@2026-11-26", ""},
		{"the day is past", "2026-11-28 09:00", nil, "pill@2026-11-26", ""},
		{"it was missed", "2026-11-28 09:00", func(_ *readiness.Case, i *readiness.Item, _ *readiness.Before) { i.State = readiness.Missed }, "pill@2026-11-26", ""},
		{"it is done", "2026-11-26 09:00", func(_ *readiness.Case, i *readiness.Item, _ *readiness.Before) { i.State = readiness.StateDone }, "", ""},
		{"it does not apply", "2026-11-26 09:00", func(_ *readiness.Case, i *readiness.Item, _ *readiness.Before) { i.Applies = readiness.No }, "", ""},
		{"it has no day", "2026-11-26 09:00", func(_ *readiness.Case, i *readiness.Item, _ *readiness.Before) { i.Due = readiness.Moment{} }, "", ""},
		{"the case is not held", "2026-11-26 09:00", func(c *readiness.Case, _ *readiness.Item, _ *readiness.Before) { c.Held = false }, "", ""},
		{"the hold spares it", "2026-11-26 09:00", func(c *readiness.Case, i *readiness.Item, _ *readiness.Before) {
			c.Spared = map[readiness.Key]bool{{Step: "stop", Repeat: "pill"}: true}
		}, "", ""},
		{"the hold spares another", "2026-11-26 09:00", func(c *readiness.Case, i *readiness.Item, _ *readiness.Before) {
			c.Spared = map[readiness.Key]bool{{Step: "stop", Repeat: "other"}: true}
		}, "pill@2026-11-26", ""},
		{"no hold pauses the step", "2026-11-26 09:00", func(_ *readiness.Case, i *readiness.Item, _ *readiness.Before) {
			s := *i.Step
			s.PausesOnHold = false
			i.Step = &s
		}, "", ""},
		{"the step is no last dose", "2026-11-26 09:00", func(_ *readiness.Case, i *readiness.Item, _ *readiness.Before) {
			s := *i.Step
			s.Window = before(3, 1)
			i.Step = &s
		}, "", ""},
		{"the person is in already", "2026-11-26 09:00", func(c *readiness.Case, _ *readiness.Item, _ *readiness.Before) { c.Arrived = c.Start }, "", ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			p := stoppable(t)
			now := clock(t, cal, r.now)
			c := surgeryOn(t, cal, theDay)
			c.Held = true
			c.Medicines = []readiness.Medicine{{Key: "pill", Name: "Pill"}}
			i := readiness.Item{Key: readiness.Key{Step: "stop", Repeat: "pill", Round: 1}, Step: p.Step("stop"), State: readiness.Paused, Applies: readiness.Yes, Due: readiness.Moment{Day: day(t, "2026-11-26")}}
			b := readiness.Before{Day: c.Day}
			if r.change != nil {
				r.change(&c, &i, &b)
			}
			pl := readiness.Plan{Items: []readiness.Item{i}}
			out, next := readiness.Stranded(b, &c, &pl, p, cal, now)
			require.True(t, clock(t, cal, r.next).Equal(next), "next is %s", next)
			if r.key == "" {
				require.Empty(t, out)
				return
			}
			require.Equal(t, []readiness.Raised{{Trigger: readiness.TriggerStopDay, Key: r.key, At: now, Name: "Pill", Why: "Pill: the planned last dose is Thu 26 Nov 2026, and the case is held."}}, out)

			// It is not asked twice, nor on top of the question what to do with the
			// medicine that is stopped.
			for repeat, want := range map[string]int{r.key: 1, "pill@2026-11-20": 2} {
				b.Items = []readiness.Item{{Key: readiness.Key{Step: stopDayStep, Repeat: repeat, Round: 1}, Step: p.Step(stopDayStep), State: readiness.Open, Raised: &out[0]}}
				again, _ := readiness.Stranded(b, &c, &pl, p, cal, now)
				require.Len(t, again, want)
			}
			b.Items = []readiness.Item{{Key: readiness.Key{Step: redatedStep, Repeat: "pill@1", Round: 1}, Step: p.Step(redatedStep), State: readiness.Open, Raised: &out[0]}}
			again, _ := readiness.Stranded(b, &c, &pl, p, cal, now)
			require.Len(t, again, 1)
			require.Equal(t, "pill@1", again[0].Key)
		})
	}

	// Of several days the next is told.
	p := stoppable(t)
	c := surgeryOn(t, cal, theDay)
	c.Held = true
	var items []readiness.Item
	for _, on := range []string{"2026-11-26", "2026-11-24", "2026-11-28"} {
		items = append(items, readiness.Item{Key: readiness.Key{Step: "stop", Repeat: on, Round: 1}, Step: p.Step("stop"), State: readiness.Paused, Applies: readiness.Yes, Due: readiness.Moment{Day: day(t, on)}})
	}
	out, next := readiness.Stranded(readiness.Before{Day: c.Day}, &c, &readiness.Plan{Items: items}, p, cal, clock(t, cal, "2026-11-20 09:00"))
	require.Empty(t, out)
	require.True(t, clock(t, cal, "2026-11-24 00:00").Equal(next))
	out, _ = readiness.Stranded(readiness.Before{Day: c.Day}, &c, &readiness.Plan{Items: items}, p, cal, clock(t, cal, "2026-11-26 09:00"))
	require.Len(t, out, 2)
	require.Equal(t, "2026-11-26: the planned last dose is Thu 26 Nov 2026, and the case is held.", out[0].Why, "a medicine that is on no list is named by its key")
}

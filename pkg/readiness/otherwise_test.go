package readiness_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// A last dose is recorded that nobody signed: is it still a ground? The last dose
// that the rules give is on Friday 27 November 2026.
func TestRecordedAndNotSigned(t *testing.T) {
	cal := chicago(t)
	saturday := "2026-11-28 00:00"
	done := func(c *readiness.Case, step, on string) {
		c.Entries[ofPill(step, 1)] = doneOn(day(t, on), *c)
	}
	for _, r := range []struct {
		name, now string
		change    func(c *readiness.Case, p *readiness.Protocol)
		says      []string
		next      string
	}{
		{"not recorded either", saturday, nil, []string{"not confirmed"}, ""},
		{"recorded, and the day has ended", saturday, func(c *readiness.Case, _ *readiness.Protocol) { done(c, "last", "2026-11-27") }, []string{"not signed"}, ""},
		{"recorded, until midnight", "2026-11-27 23:59", func(c *readiness.Case, _ *readiness.Protocol) { done(c, "last", "2026-11-27") }, nil, saturday},
		{"recorded for the day after", saturday, func(c *readiness.Case, _ *readiness.Protocol) { done(c, "last", "2026-11-28") }, []string{"later than planned", "not signed"}, ""},
		{"recorded and signed", saturday, func(c *readiness.Case, _ *readiness.Protocol) {
			done(c, "last", "2026-11-27")
			done(c, "sign", "2026-11-20")
		}, nil, ""},
		{"recorded, and the signature failed", saturday, func(c *readiness.Case, _ *readiness.Protocol) {
			done(c, "last", "2026-11-27")
			c.Entries[ofPill("sign", 1)] = readiness.Entry{Outcome: readiness.Failed, For: c.Snapshot()}
		}, []string{"not signed"}, ""},
		{"the rule says nothing of it", saturday, func(c *readiness.Case, p *readiness.Protocol) {
			done(c, "last", "2026-11-27")
			p.ItemHolds[0].Unsigned = ""
		}, nil, ""},
		{"of a step that is no last dose", saturday, func(c *readiness.Case, p *readiness.Protocol) {
			p.Step("last").Window.Due = points(days(readiness.AnchorSurgery, -3))
			done(c, "last", "2026-11-27")
		}, nil, ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			p, c := decidable(t), onPill(t, cal)
			p.ItemHolds[0].Unsigned = "not signed"
			if r.change != nil {
				r.change(&c, p)
			}
			now := clock(t, cal, r.now)
			grounds, next := readiness.ItemGrounds(readiness.Make(&c, p, cal, now), &c, p, cal, now)
			var says []string
			for _, g := range grounds {
				says = append(says, g.Says[len("Pill, title of last (by Fri 27 Nov 2026): "):])
			}
			require.Equal(t, r.says, says)
			require.True(t, clock(t, cal, r.next).Equal(next), "next is %s", next)
			for _, g := range grounds {
				if g.Says == "Pill, title of last (by Fri 27 Nov 2026): not signed" {
					require.Equal(t, "item:last/pill", g.Record, "the ground of the same last dose, so that recording it ends nothing")
				}
			}
		})
	}
}

// asking is the protocol of decidable with the question what to do with a
// medicine that is stopped.
func asking(t *testing.T) *readiness.Protocol {
	p := decidable(t)
	ask := step("ask", readiness.Window{Opens: points(days(readiness.AnchorRaised, 0))})
	ask.Trigger = readiness.TriggerStopped
	out := protocol(t, append(p.Steps, ask)...)
	out.UndatedDecision, out.EarlyDose, out.EarlyDoseMark = 14, 2, "common-practice"
	return out
}

// Is a last dose that is recorded asked about? It is signed, or advised, for Fri
// 27 November; two days before it are no question.
func TestALastDoseTakenFarTooEarly(t *testing.T) {
	cal := chicago(t)
	now := clock(t, cal, "2026-11-27 12:00")
	taken := func(on string) func(*readiness.Case, *readiness.Protocol) {
		return func(c *readiness.Case, _ *readiness.Protocol) {
			c.Entries[ofPill("last", 1)] = doneOn(day(t, on), *c)
		}
	}
	sign := func(f func(*readiness.Entry)) func(*readiness.Case, *readiness.Protocol) {
		return func(c *readiness.Case, _ *readiness.Protocol) {
			e := doneOn(day(t, "2026-11-10"), *c)
			f(&e)
			c.Entries[ofPill("sign", 1)] = e
		}
	}
	every := func(days any) func(*readiness.Case, *readiness.Protocol) {
		return func(c *readiness.Case, _ *readiness.Protocol) {
			c.Medicines[0].Facts = map[string]any{readiness.FactDoseInterval: days}
		}
	}
	type changes = []func(*readiness.Case, *readiness.Protocol)
	early := func(on, count, margin string) string {
		return "Pill: the last dose is recorded for " + on + ", " + count + " days before the one that stands (Fri 27 Nov 2026): until surgery the person is without it for longer than was meant (asked from more than " + margin + " days on; common practice, no source). Whether it is bridged or taken again must be decided."
	}
	for _, r := range []struct {
		name    string
		changes changes
		key     string // empty: nobody is asked
		why     string
	}{
		{"on its day", changes{taken("2026-11-27")}, "", ""},
		{"two days before", changes{taken("2026-11-25")}, "", ""},
		{"three days before", changes{taken("2026-11-24")}, "pill@taken-2026-11-24", early("Tue 24 Nov 2026", "3", "2")},
		{"forty days before surgery", changes{taken("2026-10-21")}, "pill@taken-2026-10-21", early("Wed 21 Oct 2026", "37", "2")},
		{"signed as advised, three days before", changes{taken("2026-11-24"), sign(func(*readiness.Entry) {})}, "pill@taken-2026-11-24", early("Tue 24 Nov 2026", "3", "2")},
		{"on the earlier day that was signed", changes{taken("2026-11-24"), sign(func(e *readiness.Entry) { e.Signed.Day = day(t, "2026-11-24") })}, "", ""},
		{"a weekly one, a week before", changes{taken("2026-11-20"), every(7.0)}, "", ""},
		{"a weekly one, eight days before", changes{taken("2026-11-19"), every(7.0)}, "pill@taken-2026-11-19", early("Thu 19 Nov 2026", "8", "7")},
		{"twice a day, three days before", changes{taken("2026-11-24"), every(0.5)}, "pill@taken-2026-11-24", early("Tue 24 Nov 2026", "3", "2")},
		{"every three and a half days, four before", changes{taken("2026-11-23"), every(3.5)}, "", ""},
		{"the protocol has no margin", changes{taken("2026-10-21"), func(_ *readiness.Case, p *readiness.Protocol) { p.EarlyDose = 0 }}, "", ""},
		{"no last dose stands", changes{taken("2026-10-21"), func(c *readiness.Case, _ *readiness.Protocol) { c.Medicines[0].Rules = nil }}, "pill@taken-2026-10-21", "Pill: the last dose is recorded for Wed 21 Oct 2026, and no prescriber has decided on one. What the person takes now must be decided."},
		{"not recorded as taken", changes{taken("2026-10-21"), func(c *readiness.Case, _ *readiness.Protocol) {
			c.Entries[ofPill("last", 1)] = readiness.Entry{Outcome: readiness.Failed, On: day(t, "2026-10-21"), For: c.Snapshot()}
		}}, "", ""},
		{"for an earlier date of surgery", changes{taken("2026-10-21"), func(c *readiness.Case, _ *readiness.Protocol) {
			c.Entries[ofPill("last", 1)].For[readiness.DetailDate] = "2026-11-23"
		}}, "", ""},
		{"the case was called off", changes{taken("2026-10-21"), func(c *readiness.Case, _ *readiness.Protocol) { c.Ending = readiness.Cancelled }}, "", ""},
		{"the person is in already", changes{taken("2026-10-21"), func(c *readiness.Case, _ *readiness.Protocol) { c.Arrived = now }}, "", ""},
		{"of a step that is no last dose", changes{func(c *readiness.Case, p *readiness.Protocol) {
			c.Entries[readiness.Key{Step: "list", Round: 1}] = doneOn(day(t, "2026-10-21"), *c)
		}}, "", ""},
		{"signed to go on, though it was taken on its day", changes{taken("2026-11-27"), sign(func(e *readiness.Entry) { e.Decided, e.By, e.Reason = readiness.DecidedGoOn, "Dr Example", "a valve" })}, "pill@taken-2026-11-27",
			"Pill: the last dose is recorded for Fri 27 Nov 2026, and it goes on as usual before surgery, as Dr Example signed: a valve. What the person takes now must be decided."},
	} {
		t.Run(r.name, func(t *testing.T) {
			p, c := asking(t), onPill(t, cal)
			for _, f := range r.changes {
				f(&c, p)
			}
			b := readiness.Before{Day: c.Day}
			ask := func(at time.Time) []readiness.Raised {
				out, _ := readiness.Stranded(b, &c, readiness.Make(&c, p, cal, at), p, cal, at)
				return out
			}
			out := ask(now)
			if r.key == "" {
				require.Empty(t, out)
				return
			}
			require.Equal(t, []readiness.Raised{{Trigger: readiness.TriggerStopped, Key: r.key, At: now, Why: r.why, For: c.Day, Dose: readiness.Moment{Day: c.Entries[ofPill("last", 1)].On}, Name: "Pill"}}, out)

			// It is asked once, whether it is answered or not; and for a corrected day
			// once more, when the first question is answered.
			for _, state := range []readiness.ItemState{readiness.Open, readiness.StateDone} {
				b.Items = []readiness.Item{{Key: readiness.Key{Step: "ask", Repeat: r.key, Round: 1}, Step: p.Step("ask"), State: state, Applies: readiness.Yes, Raised: &out[0]}}
				require.Equal(t, out, ask(now.Add(time.Hour)), state)
			}
			require.Equal(t, readiness.StateDone, lastStates(readiness.Make(&c, p, cal, now))["last"], "the record stands, also before it was signed")
			e := c.Entries[ofPill("last", 1)]
			e.On = calendar.Date(int(e.On) - 10)
			c.Entries[ofPill("last", 1)] = e
			require.Len(t, ask(now), 2)
			b.Items[0].State = readiness.Open
			require.Len(t, ask(now), 1)
		})
	}
}

package readiness_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// Does an undecided last dose hold the case, and from when? Surgery is on Monday
// 30 November 2026; Thursday the 26th is a holiday. Every row is asked a minute
// before and when it begins to hold.
func TestAnUndecidedMedicineHolds(t *testing.T) {
	cal := chicago(t)
	compile := medicineConditions(t)
	rule := func(does readiness.MedicineAction, whole int) *readiness.MedicineRule {
		r := &readiness.MedicineRule{Title: "Rule", Does: does, Decides: "the expert"}
		if whole > 0 {
			r.Hold = held(whole, readiness.Days)
		}
		return r
	}
	doubtful := rule(readiness.MedicineHold, 5)
	doubtful.Condition = compile("slow")
	type change func(c *readiness.Case, p *readiness.Protocol)
	rules := func(list ...*readiness.MedicineRule) change {
		return func(c *readiness.Case, _ *readiness.Protocol) {
			c.Medicines[0].Rules = list
			c.Details[readiness.DetailLastDose("pill")] = "no date"
		}
	}
	entry := func(step string, f func(*readiness.Entry)) change {
		return func(c *readiness.Case, _ *readiness.Protocol) {
			e := doneOn(day(t, "2026-11-16"), *c)
			f(&e)
			c.Entries[ofPill(step, 1)] = e
		}
	}
	all := func(list ...change) change {
		return func(c *readiness.Case, p *readiness.Protocol) {
			for _, f := range list {
				f(c, p)
			}
		}
	}
	signDay := func(on int) change {
		return func(_ *readiness.Case, p *readiness.Protocol) {
			last := days(readiness.AnchorSurgery, on)
			p.Step("sign").Last = &last
		}
	}
	outcome := func(o readiness.Outcome) func(*readiness.Entry) {
		return func(e *readiness.Entry) { e.Outcome = o }
	}
	for _, r := range []struct {
		name   string
		change change
		from   string // empty: never before the operation
	}{
		{"a fact is missing: the earliest is Tue 24 November", rules(doubtful), "2026-11-25 00:00"},
		{"a choice: the earliest if it is held", rules(rule(readiness.MedicineChoice, 5)), "2026-11-25 00:00"},
		{"a specialist, and no day may come out: the last business day", rules(rule(readiness.MedicineSpecialist, 0)), "2026-11-27 00:00"},
		{"and the signature ends before that", all(rules(rule(readiness.MedicineSpecialist, 0)), signDay(-7)), "2026-11-23 00:00"},
		{"another step of the medicine ends sooner, which is no matter", all(rules(rule(readiness.MedicineSpecialist, 0)), func(_ *readiness.Case, p *readiness.Protocol) {
			last := days(readiness.AnchorSurgery, -20)
			p.Step("restart").Last = &last
		}), "2026-11-27 00:00"},
		{"the earliest is after the last business day", rules(rule(readiness.MedicineChoice, 1)), "2026-11-27 00:00"},
		{"the day of the last dose is known", nil, ""},
		{"signed with a day", all(rules(rule(readiness.MedicineSpecialist, 0)), entry("sign", func(e *readiness.Entry) { e.Signed.Day = day(t, "2026-11-28") })), ""},
		{"signed that it goes on", all(rules(doubtful), entry("sign", func(e *readiness.Entry) { e.Decided = readiness.DecidedGoOn })), ""},
		{"signed that it is not taken", all(rules(doubtful), entry("sign", func(e *readiness.Entry) { e.Decided = readiness.DecidedNotTaken })), ""},
		{"signed without a day, where none is advised", all(rules(doubtful), entry("sign", func(*readiness.Entry) {})), "2026-11-25 00:00"},
		{"signed to go on, for another date", all(rules(doubtful), entry("sign", func(e *readiness.Entry) {
			e.Decided, e.For = readiness.DecidedGoOn, map[string]string{readiness.DetailDate: "2026-11-23"}
		})), "2026-11-25 00:00"},
		{"the signature failed", all(rules(doubtful), entry("sign", outcome(readiness.Failed))), "2026-11-25 00:00"},
		{"somebody says that the last dose does not apply", all(rules(doubtful), entry("last", outcome(readiness.NotNeeded))), "2026-11-25 00:00"},
		{"somebody says that it applies", all(rules(doubtful), entry("last", outcome(readiness.Applies))), "2026-11-25 00:00"},
		{"somebody says that the last dose was taken", all(rules(doubtful), entry("last", outcome(readiness.Done))), "2026-11-25 00:00"},
		{"the rule says nothing of it", all(rules(doubtful), func(_ *readiness.Case, p *readiness.Protocol) { p.ItemHolds[0].Undecided = "" }), ""},
		{"no rule watches it", all(rules(doubtful), func(_ *readiness.Case, p *readiness.Protocol) { p.ItemHolds[0].Steps = []string{"list"} }), ""},
		{"the operation has no date", all(rules(doubtful), func(c *readiness.Case, _ *readiness.Protocol) { c.Day = 0 }), ""},
		{"the case was called off", all(rules(doubtful), func(c *readiness.Case, _ *readiness.Protocol) { c.Ending = readiness.Cancelled }), ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			p, c := decidable(t), onPill(t, cal)
			p.ItemHolds[0].Undecided = "undecided"
			if r.change != nil {
				r.change(&c, p)
			}
			at := func(when string) ([]readiness.Ground, string) {
				now := clock(t, cal, when)
				grounds, next := readiness.ItemGrounds(readiness.Make(&c, p, cal, now), &c, p, cal, now)
				var out []readiness.Ground
				for _, g := range grounds {
					if g.Record == "item:last/pill@undecided" {
						out = append(out, g)
					}
				}
				if next.IsZero() {
					return out, ""
				}
				return out, next.Format("2006-01-02 15:04")
			}
			if r.from == "" {
				out, _ := at("2026-11-30 07:00")
				require.Empty(t, out)
				return
			}
			out, next := at("2026-11-02 09:00")
			require.Empty(t, out)
			require.Equal(t, r.from, next, "the tick finds it")
			out, _ = at(r.from)
			require.Equal(t, []readiness.Ground{{Kind: timing, Record: "item:last/pill@undecided", Active: true, Whole: true, OfItem: true, Says: "Pill, title of last: undecided"}}, out)
			of, ours := readiness.ItemOf(out[0].Record)
			require.True(t, ours)
			require.Equal(t, readiness.Key{Step: "last", Repeat: "pill"}, of)
		})
	}
}

// A release for what nobody had decided says nothing of a last dose that is
// signed afterwards and that nobody confirms.
func TestReleasedUndecidedAndThenNotConfirmed(t *testing.T) {
	cal := chicago(t)
	p, c := decidable(t), onPill(t, cal)
	p.ItemHolds[0].Undecided = "undecided"
	h := []readiness.Hold{{Key: timing, Kind: timing, Ended: clock(t, cal, "2026-11-25 10:00"), How: readiness.Released, For: c.Day,
		Records: []string{"item:last/pill@undecided"}, Seen: map[string]calendar.Date{"item:last/pill@undecided": 0}}}
	now := clock(t, cal, "2026-11-28 09:00")
	grounds, _ := readiness.ItemGrounds(readiness.Make(&c, p, cal, now), &c, p, cal, now)
	require.Len(t, grounds, 1)
	c.Entries[readiness.Key{Step: "release", Repeat: timing, Round: 1}] = readiness.Entry{Outcome: readiness.Done}
	require.Len(t, readiness.Holds(h, grounds, &c, p, now), 2)
}

package readiness_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// Who was told of a day that does not stand any more is told once, whatever
// becomes of the day until somebody does it.
func TestTold(t *testing.T) {
	cal := chicago(t)
	now := clock(t, cal, "2026-11-12 10:00")
	tell := step("tell", readiness.Window{})
	tell.Trigger = readiness.TriggerTold
	p := protocol(t, tell, step("must", before(3, 1)))
	const old, next = "2026-11-30", "2026-12-14"
	raised := func(key, why string) readiness.Raised {
		return readiness.Raised{Trigger: readiness.TriggerTold, Key: key, At: now, Why: why}
	}
	asked := func(key string, state readiness.ItemState) readiness.Item {
		return readiness.Item{
			Key: readiness.Key{Step: "tell", Repeat: key, Round: 1}, State: state,
			Raised: &readiness.Raised{Key: key, At: now, Why: "as it was"},
		}
	}
	kept := raised(old+"#1", "as it was")
	moved := raised(old+"#1", "So far the person was told Mon 30 Nov 2026; the operation is now on Mon 14 Dec 2026.")
	for _, r := range []struct {
		name   string
		change func(b *readiness.Before, c *readiness.Case)
		begun  bool
		out    []readiness.Raised
	}{
		{"another day", func(*readiness.Before, *readiness.Case) {}, false, []readiness.Raised{moved}},
		{"the same day", func(_ *readiness.Before, c *readiness.Case) { c.Day = day(t, old) }, false, nil},
		{"no day", func(_ *readiness.Before, c *readiness.Case) { c.Day = 0 }, false,
			[]readiness.Raised{raised(old+"#1", "So far the person was told Mon 30 Nov 2026; the operation has no day now.")}},
		{"called off", func(_ *readiness.Before, c *readiness.Case) { c.Ending = readiness.Cancelled }, false,
			[]readiness.Raised{raised(old+"#1", "So far the person was told Mon 30 Nov 2026; the operation is called off.")}},
		{"they did not come", func(_ *readiness.Before, c *readiness.Case) { c.Ending = readiness.NoShow }, false, nil},
		{"they came", func(*readiness.Before, *readiness.Case) {}, true, nil},
		{"the first day", func(b *readiness.Before, _ *readiness.Case) { b.Day = 0 }, false, nil},
		{"called off, and on again", func(b *readiness.Before, _ *readiness.Case) { b.Ended = true }, false,
			[]readiness.Raised{raised("called-off#1", "So far the person was told that it is called off; the operation is now on Mon 14 Dec 2026.")}},

		{"known since today only", func(b *readiness.Before, _ *readiness.Case) { b.Dated = clock(t, cal, "2026-11-12 00:00") }, false, nil},
		{"and a calendar was handed out", func(b *readiness.Before, _ *readiness.Case) {
			b.Dated, b.Handed = now, true
		}, false, []readiness.Raised{moved}},
		{"and somebody spoke with them", func(b *readiness.Before, _ *readiness.Case) {
			b.Dated, b.Items = now, []readiness.Item{{Key: readiness.Key{Step: "must", Round: 1}, Entry: readiness.Entry{Outcome: readiness.Done}}}
		}, false, []readiness.Raised{moved}},
		{"and a record shows something", func(b *readiness.Before, _ *readiness.Case) {
			b.Dated, b.Items = now, []readiness.Item{{Key: readiness.Key{Step: "must", Round: 1}, Entry: readiness.Entry{Outcome: readiness.Done, Record: "Encounter/1"}}}
		}, false, nil},

		{"moved twice", func(b *readiness.Before, _ *readiness.Case) {
			b.Day, b.Items = day(t, "2026-12-07"), []readiness.Item{asked(old+"#1", readiness.Late)}
		}, false, []readiness.Raised{moved}},
		{"and back", func(b *readiness.Before, c *readiness.Case) {
			b.Day, c.Day, b.Items = day(t, "2026-12-07"), day(t, old), []readiness.Item{asked(old+"#1", readiness.Open)}
		}, false, []readiness.Raised{raised(old+"#1", "So far the person was told Mon 30 Nov 2026; in between it was otherwise, and now it is so again. Make sure that nobody told them otherwise.")}},
		{"nothing moved since", func(b *readiness.Before, _ *readiness.Case) {
			b.Day, b.Items = day(t, next), []readiness.Item{asked(old+"#1", readiness.Open)}
		}, false, []readiness.Raised{moved}},
		{"told, and moved again", func(b *readiness.Before, _ *readiness.Case) {
			b.Day, b.Items = day(t, "2026-12-07"), []readiness.Item{asked(old+"#1", readiness.StateDone)}
		}, false, []readiness.Raised{kept, raised("2026-12-07#2", "So far the person was told Mon 7 Dec 2026; the operation is now on Mon 14 Dec 2026.")}},
		{"not reached, and moved again", func(b *readiness.Before, _ *readiness.Case) {
			b.Day, b.Items = day(t, "2026-12-07"), []readiness.Item{asked(old+"#1", readiness.Missed)}
		}, false, []readiness.Raised{kept, raised(old+"#2", moved.Why)}},
		{"told that there is no day, and then one", func(b *readiness.Before, _ *readiness.Case) {
			b.Day, b.Items = 0, []readiness.Item{asked(old+"#1", readiness.StateDone)}
		}, false, []readiness.Raised{kept, raised("no-day#2", "So far the person was told that there is no day; the operation is now on Mon 14 Dec 2026.")}},
		{"they came before anybody told them", func(b *readiness.Before, _ *readiness.Case) {
			b.Day, b.Items = day(t, next), []readiness.Item{asked(old+"#1", readiness.Open)}
		}, true, nil},
		{"what ended so is not asked again", func(b *readiness.Before, _ *readiness.Case) {
			b.Day, b.Items = day(t, next), []readiness.Item{asked(old+"#1", readiness.Needless)}
		}, false, nil},
	} {
		t.Run(r.name, func(t *testing.T) {
			b := readiness.Before{Day: day(t, old), Dated: clock(t, cal, "2026-11-11 23:59")}
			c := surgeryOn(t, cal, next)
			r.change(&b, &c)
			require.Equal(t, r.out, readiness.Told(b, &c, p, r.begun, cal, now))
		})
	}
}

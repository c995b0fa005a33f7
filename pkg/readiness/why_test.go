package readiness_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// The sentences that stand on every Task: a coordinator reads them.
func TestWhy(t *testing.T) {
	cal := chicago(t)
	raised := readiness.AnchorRaised
	last := func(p readiness.Point) func(*readiness.Step) { return func(s *readiness.Step) { s.Last = &p } }
	expires := func(s readiness.Step, e readiness.Expiry) readiness.Step {
		s.Expiry = e
		return s
	}
	nothing := func(*readiness.Case) {}
	booked := func(at string) func(*readiness.Case) {
		return func(c *readiness.Case) { c.Booked = clock(t, cal, at) }
	}
	raise := func(c *readiness.Case) {
		c.Raised = []readiness.Raised{{Trigger: "event", Key: "k", At: clock(t, cal, "2026-11-20 08:00")}}
	}
	triggered := func(w readiness.Window) readiness.Step {
		return with(byStaff(w), func(s *readiness.Step) { s.Trigger = "event" })
	}
	fixed := func(s *readiness.Step) { s.Fixed = true }
	for _, r := range []struct {
		name   string
		step   readiness.Step
		change func(*readiness.Case)
		want   string
	}{
		{"days", step("s", before(42, 14)), nothing,
			"Opens Mon 19 Oct 2026 (42 days before surgery); due Mon 16 Nov 2026 (14 days before surgery); of no use after Sun 29 Nov 2026."},
		{"one day, and last day equal to due", step("s", before(2, 1)), nothing,
			"Opens Sat 28 Nov 2026 (2 days before surgery); due Sun 29 Nov 2026 (1 day before surgery)."},
		{"the day of surgery", step("s", before(7, 0)), nothing,
			"Opens Mon 23 Nov 2026 (7 days before surgery); due Mon 30 Nov 2026 (the day of surgery)."},
		{"staff, moved off a Sunday", byStaff(before(20, 8)), nothing,
			"Opens Tue 10 Nov 2026 (20 days before surgery); due Fri 20 Nov 2026 (8 days before surgery; on a closed day, the business day before); of no use after Sun 29 Nov 2026."},
		{"staff, one day", byStaff(readiness.Window{Opens: points(hours(surgery, 0), days(surgery, 0)), Due: points(days(surgery, 0))}), nothing,
			"Opens Mon 30 Nov 2026 07:30 CST (the start of anaesthesia or the day of surgery, whichever is later); due Mon 30 Nov 2026 (the day of surgery)."},
		{"staff, from the booking", byStaff(window(days(booking, 0), business(booking, 3))), nothing,
			"Opens Mon 3 Aug 2026 (the day of booking); due Thu 6 Aug 2026 (3 business days after booking); of no use after Sun 29 Nov 2026."},
		{"an afternoon", byStaff(window(oclock(business(surgery, -1), 12, 0), oclock(business(surgery, -1), 17, 0))), nothing,
			"Opens Fri 27 Nov 2026 12:00 CST (at 12:00, 1 business day before surgery); due Fri 27 Nov 2026 17:00 CST (at 17:00, 1 business day before surgery); of no use after Sun 29 Nov 2026."},
		{"hours", with(with(step("s", window(hours(surgery, -24), hours(surgery, -2))), fixed), last(hours(surgery, 0))), nothing,
			"Opens Sun 29 Nov 2026 07:30 CST (24 hours before the start of anaesthesia); due Mon 30 Nov 2026 05:30 CST (2 hours before the start of anaesthesia); of no use after Mon 30 Nov 2026 07:30 CST."},
		{"one hour, and minutes", step("s", window(point(surgery, -90, readiness.Minutes), hours(surgery, -1))), nothing,
			"Opens Mon 30 Nov 2026 06:00 CST (90 minutes before the start of anaesthesia); due Mon 30 Nov 2026 06:30 CST (1 hour before the start of anaesthesia)."},
		{"until the start", step("s", window(days(surgery, 0), hours(surgery, 0))), nothing,
			"Opens Mon 30 Nov 2026 (the day of surgery); due Mon 30 Nov 2026 07:30 CST (the start of anaesthesia)."},
		{"months", step("s", window(months(surgery, 1), months(surgery, 12))), nothing,
			"Opens Wed 30 Dec 2026 (1 month after surgery); due Tue 30 Nov 2027 (12 months after surgery)."},
		{"discharge", byStaff(window(days(discharge, 0), business(discharge, 1))), nothing,
			"Opens Tue 1 Dec 2026 (the day of discharge); due Wed 2 Dec 2026 (1 business day after discharge)."},
		{"hours after discharge", step("s", window(hours(discharge, 0), hours(discharge, 48))), nothing,
			"Opens Tue 1 Dec 2026 11:00 CST (discharge); due Thu 3 Dec 2026 11:00 CST (48 hours after discharge)."},
		{"raised", triggered(window(days(raised, 0), business(raised, 1))), raise,
			"Opens Fri 20 Nov 2026 (the day it was raised); due Mon 23 Nov 2026 (1 business day after it was raised)."},
		{"raised, in hours", triggered(window(hours(raised, 0), hours(raised, 4))), raise,
			"Opens Fri 20 Nov 2026 08:00 CST (the moment it was raised); due Fri 20 Nov 2026 12:00 CST (4 hours after it was raised)."},
		{"two openings, the earlier", step("s", readiness.Window{OpensEarliest: true, Opens: points(days(surgery, -3), business(surgery, -1)), Due: points(days(surgery, -1))}), nothing,
			"Opens Fri 27 Nov 2026 (3 days before surgery or 1 business day before surgery, whichever is earlier); due Sun 29 Nov 2026 (1 day before surgery)."},
		{"two openings, the later; two dues", step("s", readiness.Window{Opens: points(days(booking, 0), days(surgery, -30)), Due: points(days(surgery, -7), days(booking, 110))}), nothing,
			"Opens Sat 31 Oct 2026 (the day of booking or 30 days before surgery, whichever is later); due Sat 21 Nov 2026 (7 days before surgery or 110 days after booking, whichever is earlier); of no use after Sun 29 Nov 2026."},
		{"waits for one", step("s", readiness.Window{Opens: points(days("one", 0)), Due: points(days(surgery, -7))}), nothing,
			"Opens when “Title of one” is done; due Mon 23 Nov 2026 (7 days before surgery); of no use after Sun 29 Nov 2026."},
		{"waits for two", step("s", readiness.Window{Opens: points(days("one", 0), days("two", 0)), Due: points(days(surgery, -7))}), nothing,
			"Opens when “Title of one” and “Title of two” are done; due Mon 23 Nov 2026 (7 days before surgery); of no use after Sun 29 Nov 2026."},
		{"follows one that is done", step("s", readiness.Window{Opens: points(days("one", 2)), Due: points(days(surgery, -7))}),
			func(c *readiness.Case) {
				c.Entries = entries(map[string]readiness.Entry{"one": doneOn(day(t, "2026-11-10"), *c)})
			},
			"Opens Thu 12 Nov 2026 (2 days after “Title of one” is done); due Mon 23 Nov 2026 (7 days before surgery); of no use after Sun 29 Nov 2026."},
		{"before another is done", step("s", readiness.Window{Due: points(business("one", -3))}),
			nothing, "Due 3 business days before “Title of one” is done, which is not known yet; of no use after Sun 29 Nov 2026; do it by Tue 24 Nov 2026, so that “Title of one” can still follow."},
		{"counts for days", expires(step("s", before(2, 1)), readiness.Expiry{Kind: readiness.ExpiresAfter, Days: 30}), nothing,
			"Opens Sat 28 Nov 2026 (2 days before surgery); due Sun 29 Nov 2026 (1 day before surgery); counts for 30 days up to the day of surgery."},
		{"counts for one day", expires(step("s", before(2, 1)), readiness.Expiry{Kind: readiness.ExpiresAfter, Days: 1}), nothing,
			"Opens Sat 28 Nov 2026 (2 days before surgery); due Sun 29 Nov 2026 (1 day before surgery); counts for 1 day up to the day of surgery."},
		{"counts for this date", expires(step("s", before(2, 1)), readiness.Expiry{Kind: readiness.ThisDate}), nothing,
			"Opens Sat 28 Nov 2026 (2 days before surgery); due Sun 29 Nov 2026 (1 day before surgery); counts for this date only."},
		{"counts for this time", expires(step("s", window(hours(surgery, -24), hours(surgery, -2))), readiness.Expiry{Kind: readiness.ThisDate}), nothing,
			"Opens Sun 29 Nov 2026 07:30 CST (24 hours before the start of anaesthesia); due Mon 30 Nov 2026 05:30 CST (2 hours before the start of anaesthesia); counts for this date and time only."},
		{"own end, voided by details", expires(step("s", before(2, 1)), readiness.Expiry{Kind: readiness.OwnEndDate, VoidedBy: []string{"side", "stay"}}), nothing,
			"Opens Sat 28 Nov 2026 (2 days before surgery); due Sun 29 Nov 2026 (1 day before surgery); counts until the end date that was recorded with it; must be done again when the side or the stay changes."},
		{"compressed", step("s", before(42, 14)), booked("2026-11-18 09:00"),
			"Opens Mon 19 Oct 2026 (42 days before surgery); due Mon 16 Nov 2026 (14 days before surgery); of no use after Sun 29 Nov 2026; booked later than it should have been done: do it as soon as possible."},
		{"too late, the patient's", with(step("s", before(15, 15)), fixed), booked("2026-11-18 09:00"),
			"Opens Sun 15 Nov 2026 (15 days before surgery); due Sun 15 Nov 2026 (15 days before surgery); its day had passed when the operation was booked and it cannot be shortened: ask the surgeon or the prescriber."},
		{"too late, of staff", with(byStaff(before(15, 15)), fixed), booked("2026-11-18 09:00"),
			"Opens Sun 15 Nov 2026 (15 days before surgery); due Sun 15 Nov 2026 (15 days before surgery); its day had passed when the operation was booked and it cannot be shortened: ask the nurse."},
		{"in doubt", with(step("s", before(2, 1)), func(s *readiness.Step) { s.Condition = condition(t, "pets && asks") }), nothing,
			"Opens Sat 28 Nov 2026 (2 days before surgery); due Sun 29 Nov 2026 (1 day before surgery); not yet asked for, because it must be known whether the payer asks, and whether there are pets."},
		{"no start known", step("s", window(hours(surgery, -24), hours(surgery, -2))), func(c *readiness.Case) { c.Start = clock(t, cal, "") },
			"Due 2 hours before the start of anaesthesia, which is not known yet."},
		{"no date", step("s", before(42, 14)), moved0, "Due 14 days before surgery, which is not known yet."},
		{"no due", step("s", readiness.Window{Opens: points(days(surgery, 0))}), nothing, "Opens Mon 30 Nov 2026 (the day of surgery)."},
		{"nothing to say", triggered(readiness.Window{}), raise, ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := surgeryOn(t, cal, theDay)
			r.change(&c)
			p := protocol(t, r.step, step("one", before(90, 20)), step("two", before(90, 20)))
			i := item(t, readiness.Make(&c, p, cal, clock(t, cal, "2026-11-20 09:00")), "s")
			require.Equal(t, r.want, p.Why(&i))
		})
	}
}

// A stored item may outlive its step: what is left of its dates is told.
func TestWhyOfAStepThatIsGone(t *testing.T) {
	p := protocol(t)
	i := readiness.Item{Step: &readiness.Step{Code: "gone"}, Applies: readiness.Yes, Waits: []string{"other"}, Due: readiness.Moment{Day: day(t, theDay)}}
	require.Equal(t, "Opens when “other” is done; due Mon 30 Nov 2026.", p.Why(&i))
}

func TestMomentWords(t *testing.T) {
	cal := chicago(t)
	require.Equal(t, "no date", readiness.Moment{}.Words())
	require.Equal(t, "Mon 30 Nov 2026", readiness.Moment{Day: day(t, theDay)}.Words())
	require.Equal(t, "Mon 30 Nov 2026 07:30 CST", readiness.Moment{Day: day(t, theDay), At: clock(t, cal, theDay+" 07:30")}.Words())
}

package readiness_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// How a value that comes from outside was checked.
const (
	published  = "published"   // read in a primary text or an official page
	secondary  = "secondary"   // read in a page that quotes the source
	fromMemory = "from memory" // not checked
)

const (
	fullDays  = "2023 ACC/AHA/ACCP/HRS atrial fibrillation guideline, Table 18 footnote: full days without a dose before the day of surgery"
	chest     = "CHEST 2022 perioperative antithrombotic guideline, Chest 2022;162:e207-e243, high bleeding risk"
	pause     = "PAUSE protocol, JAMA Intern Med 2019;179:1469-1478, high bleeding risk"
	acr       = "2022 ACR/AAHKS guideline: a medicine withheld 3 days, surgery on day 4 after the last dose"
	fasting   = "ASA preoperative fasting guideline, Anesthesiology 2017;126:376-393"
	global    = "CMS MLN907166, global surgery booklet: the day before, the day of surgery and 90 days after, 92 in all"
	infection = "NHSN surgical site infection window: the day of surgery is day 1"
	episode   = "CMS episode models: the day of discharge is day 1"
	care      = "CMS transitional care management, MLN908628: 2 business days after discharge"
	drawn     = "AABB Standards 5.14.3.2, a hospital laboratory's catalogue: day of draw is day 0, good through day 3"
)

// To hold a medicine for so many days is to take the last dose one day earlier
// than that before surgery. The days were counted by hand, for surgery on Monday
// 30 November 2026 and on Monday 4 January 2027; which medicine has which number
// is no matter of these rules, but of the protocol.
func TestPublishedHolds(t *testing.T) {
	cal := chicago(t)
	for _, r := range []struct {
		what         string
		hold         int
		onS, onS2    string
		source, mark string
	}{
		{"vitamin K antagonist", 5, "2026-11-24", "2026-12-29", chest, secondary},
		{"factor Xa inhibitor", 2, "2026-11-27", "2027-01-01", fullDays, secondary},
		{"direct thrombin inhibitor, good kidneys", 2, "2026-11-27", "2027-01-01", pause, published},
		{"direct thrombin inhibitor, clearance 30 to under 50 mL/min", 4, "2026-11-25", "2026-12-30", pause, published},
		{"antiplatelet held 5 days", 5, "2026-11-24", "2026-12-29", chest, secondary},
		{"antiplatelet held 3 days", 3, "2026-11-26", "2026-12-31", chest, secondary},
		{"antiplatelet held 7 days", 7, "2026-11-22", "2026-12-27", chest, secondary},
		{"low-dose antiplatelet, if it is interrupted", 7, "2026-11-22", "2026-12-27", chest, fromMemory},
		{"antirheumatic withheld 3 days", 3, "2026-11-26", "2026-12-31", acr, published},
	} {
		t.Run(r.what, func(t *testing.T) {
			stop := step("stop", before(r.hold+1, r.hold+1))
			stop.Fixed = true
			for surgery, want := range map[string]string{"2026-11-30": r.onS, "2027-01-04": r.onS2} {
				c := surgeryOn(t, cal, surgery)
				i := item(t, readiness.Make(&c, protocol(t, stop), cal, c.Booked), "stop")
				require.Equal(t, []string{want, want, want}, []string{show(i.Opens), show(i.Due), show(i.Last)}, "%s (%s)", r.source, r.mark)
				free := 0
				for d := i.Due.Day.Add(1); d < c.Day; d = d.Add(1) {
					free++
				}
				require.Equal(t, r.hold, free, "whole days without a dose")
			}
		})
	}
}

// The published worked example: a medicine taken twice a day and held one day,
// last taken at 8 pm, surgery at 8 am: 36 hours since the last dose. Over a change
// of clocks it is an hour more or less, while the days stay what they are.
func TestPublishedHoursSinceTheLastDose(t *testing.T) {
	for _, r := range []struct {
		zone, surgery string
		want          time.Duration
		source, mark  string
	}{
		{"America/Chicago", "2026-11-30", 36 * time.Hour, fullDays, secondary},
		{"America/Chicago", "2026-11-02", 37 * time.Hour, fullDays + "; clocks go back on 1 Nov 2026 (computed)", secondary},
		{"America/Chicago", "2026-03-09", 35 * time.Hour, fullDays + "; clocks go forward on 8 Mar 2026 (computed)", secondary},
	} {
		t.Run(r.zone+" "+r.surgery, func(t *testing.T) {
			cal := facility(t, r.zone, "none")
			dose := oclock(days(surgery0, -2), 20, 0)
			stop := step("stop", window(dose, dose))
			stop.Fixed = true
			c := surgeryOn(t, cal, r.surgery)
			c.Booked, c.Start = clock(t, cal, "2026-01-05 09:00"), clock(t, cal, r.surgery+" 08:00")
			i := item(t, readiness.Make(&c, protocol(t, stop), cal, c.Booked), "stop")
			require.Equal(t, r.want, c.Start.Sub(i.Due.At), "%s (%s)", r.source, r.mark)
		})
	}
}

// Whether the first and the last day count differs between authorities.
func TestPublishedSpans(t *testing.T) {
	surgery := func(n int) readiness.Point { return days(surgery0, n) }
	home := func(n int) readiness.Point { return days(readiness.AnchorDischarge, n) }
	for _, r := range []struct {
		what, day, stay string
		opens, due      readiness.Point
		first, last     string
		count           int // days in all, both ends included
		source, mark    string
	}{
		{"global surgery", "2021-02-19", "", surgery(-1), surgery(90), "2021-02-18", "2021-05-20", 92, global + "; its example", secondary},
		{"global surgery from 8 March", "2021-03-08", "", surgery(-1), surgery(90), "2021-03-07", "2021-06-06", 92, global + "; its second example, the year invented", secondary},
		{"global surgery on S", "2026-11-30", "", surgery(-1), surgery(90), "2026-11-29", "2027-02-28", 92, global, secondary},
		{"infection window of 90 days", "2026-11-30", "", surgery(0), surgery(89), "2026-11-30", "2027-02-27", 90, infection, fromMemory},
		{"30 days from discharge", "2026-11-30", "overnight", home(0), home(29), "2026-12-01", "2026-12-30", 30, episode, fromMemory},
		{"call after discharge over Christmas", "2026-12-23", "overnight", home(0), business(readiness.AnchorDischarge, 2), "2026-12-24", "2026-12-29", 6, care, secondary},
		{"call after discharge on a Friday", "2026-12-03", "overnight", home(0), business(readiness.AnchorDischarge, 2), "2026-12-04", "2026-12-08", 5, care, secondary},
		{"blood sample", "2026-11-30", "", surgery(-3), surgery(0), "2026-11-27", "2026-11-30", 4, drawn, published},
	} {
		t.Run(r.what, func(t *testing.T) {
			cal := chicago(t)
			c := surgeryOn(t, cal, r.day)
			c.Booked, c.Stay = clock(t, cal, "2021-01-04 09:00"), r.stay
			i := item(t, readiness.Make(&c, protocol(t, step("span", window(r.opens, r.due))), cal, c.Booked), "span")
			require.Equal(t, []string{r.first, r.last}, []string{i.Opens.Day.String(), i.Due.Day.String()}, "%s (%s)", r.source, r.mark)
			require.Equal(t, r.count, i.Due.Day.Sub(i.Opens.Day)+1, "%s (%s)", r.source, r.mark)
		})
	}
}

// Hour rules run back from the start of anaesthesia, as elapsed time: another
// start moves them, another hour of the day is another day.
func TestPublishedFasting(t *testing.T) {
	cal := chicago(t)
	for _, r := range []struct {
		start                     string
		clear, light, fatty, mark string
	}{
		{"2026-11-30 07:30", "2026-11-30T05:30:00-06:00", "2026-11-30T01:30:00-06:00", "2026-11-29T23:30:00-06:00", secondary},
		{"2026-11-30 13:00", "2026-11-30T11:00:00-06:00", "2026-11-30T07:00:00-06:00", "2026-11-30T05:00:00-06:00", secondary},
		// Clocks go back at 02:00 on 1 Nov 2026 (computed): eight hours before 07:30 is half past midnight.
		{"2026-11-01 07:30", "2026-11-01T05:30:00-06:00", "2026-11-01T01:30:00-06:00", "2026-11-01T00:30:00-05:00", secondary},
		// Clocks go forward at 02:00 on 8 Mar 2026 (computed).
		{"2026-03-08 07:30", "2026-03-08T05:30:00-05:00", "2026-03-08T00:30:00-06:00", "2026-03-07T22:30:00-06:00", secondary},
	} {
		t.Run(r.start, func(t *testing.T) {
			var steps []readiness.Step
			for _, h := range []struct {
				code string
				n    int
			}{{"clear", 2}, {"light", 6}, {"fatty", 8}} {
				steps = append(steps, step(h.code, readiness.Window{Due: points(hours(surgery0, -h.n))}))
			}
			start := clock(t, cal, r.start)
			c := readiness.Case{Booked: clock(t, cal, "2026-01-05 09:00"), Day: cal.DateOf(start), Start: start}
			pl := readiness.Make(&c, protocol(t, steps...), cal, c.Booked)
			got := []string{show(item(t, pl, "clear").Due), show(item(t, pl, "light").Due), show(item(t, pl, "fatty").Due)}
			require.Equal(t, []string{r.clear, r.light, r.fatty}, got, "%s (%s)", fasting, r.mark)
		})
	}
}

// A history and physical counts for 30 days up to admission, and an older one
// must be done anew (42 CFR 482.22(c)(5)(i), CMS memo S&C-08-12, published); the
// earliest day of a new one for the other date was counted by hand (computed).
func TestPublishedEvaluation(t *testing.T) {
	cal := chicago(t)
	visit := step("visit", before(30, 7))
	visit.Expiry = readiness.Expiry{Kind: readiness.ExpiresAfter, Days: 30}
	for _, r := range []struct {
		done, surgery string
		counts        bool
		opens         string
	}{
		{"2026-11-05", "2026-11-30", true, "2026-10-31"},
		{"2026-11-05", "2027-01-04", false, "2026-12-05"},
		{"2026-10-31", "2026-11-30", true, "2026-10-31"},
		{"2026-10-30", "2026-11-30", false, "2026-10-31"},
	} {
		t.Run(r.done+" for "+r.surgery, func(t *testing.T) {
			c := surgeryOn(t, cal, r.surgery)
			done := day(t, r.done)
			c.Entries = entries(map[string]readiness.Entry{"visit": doneOn(done, c)})
			pl := readiness.Make(&c, protocol(t, visit), cal, clock(t, cal, "2026-11-20 09:00"))
			last := pl.Items[len(pl.Items)-1]
			require.Equal(t, r.counts, last.State == readiness.StateDone)
			require.Equal(t, r.opens, show(last.Opens))
			require.Equal(t, r.counts, len(pl.Items) == 1, "else a new one is asked for")
		})
	}
}

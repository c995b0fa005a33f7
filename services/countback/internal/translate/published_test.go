package translate

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// How sure a published value is.
const (
	published  = "published" // read in a primary text, an official page or an abstract
	secondary  = "secondary" // read only in a page that quotes it
	fromMemory = "from memory"
	practice   = "common practice, no source"
)

// The dates of this file were written out by hand, on a calendar, from the
// values of the sources named; none is computed by the code under test.
// S is Monday 2026-11-30, S2 Monday 2027-01-04, both with anaesthesia at 07:30.
const (
	onS  = "2026-11-30 07:30"
	onS2 = "2027-01-04 07:30"
)

// facilities of the table, by the name of their holidays.
func facilities(t *testing.T) map[string]Facility {
	return map[string]Facility{
		"us-federal": chicago(t),
		"england":    facilityIn(t, "Europe/London", "england"),
	}
}

// allFacts settles every doubt of the default protocol with yes.
func allFacts(p *Protocol) map[string]any {
	out := map[string]any{}
	for _, f := range p.Facts {
		if f.Type == "boolean" && f.Default == nil {
			out[f.Name] = true
		}
	}
	out["joint"], out["side"], out["extent"] = "hip", "left", "total"
	out["long_term_blood_thinner"] = false
	return out
}

func TestPublishedWindows(t *testing.T) {
	p := defaultProtocol(t)
	const (
		counting  = "days counted backwards from the day of surgery"
		evaluated = "42 CFR 482.22(c)(5)(i); CMS memo S&C-08-12 of 2008-02-08"
		fasting   = "ASA preoperative fasting guideline, Anesthesiology 2017;126:376-393"
		outcome   = "CMS outcome measure for hip and knee replacement"
		callRule  = "business day before surgery by the facility's calendar (5 U.S.C. 6103 for the US; England's bank holidays)"
		care      = "CMS transitional care management, MLN908628: 2 business days after discharge"
		carriers  = "Rao et al., Clin Orthop Relat Res 2008;466:1343-1348: five days before surgery"
		drawn     = "AABB Standards 5.14.3.2, a hospital laboratory's catalogue: day of draw is day 0, good through day 3"
	)
	for _, r := range []struct {
		step, start, stay, holidays string
		opens, due, last            string // "-": not looked at
		source, mark                string
	}{
		{"joint-class", onS, "", "", "2026-10-19", "2026-11-16", "2026-11-29", counting, practice},
		{"medicine-review", onS, "", "", "2026-10-19", "2026-11-09", "2026-11-29", counting, practice},
		{"medicine-review", onS2, "", "", "-", "2026-12-14", "2027-01-03", counting, practice},
		{"infection-check-2", onS, "", "", "2026-11-16", "2026-11-20", "-", counting, practice},
		{"supplement-stop", onS, "", "", "2026-11-15", "2026-11-15", "2026-11-15", "two full weeks without a dose before surgery: last one on D-15 (consensus on supplements, Mayo Clin Proc 2021;96:1342-1355)", fromMemory},

		{"medical-evaluation", onS, "", "", "2026-10-31", "2026-11-23", "2026-11-30 07:30", evaluated, published},
		{"medical-evaluation", onS2, "", "", "2026-12-05", "2026-12-28", "2027-01-04 07:30", evaluated, published},
		{"anaesthesia-assessment", onS, "", "", "2026-10-31", "2026-11-23", "2026-11-29", "thirty days before surgery", fromMemory},
		{"laboratory-tests", onS, "", "", "2026-10-31", "2026-11-16", "2026-11-28", counting, practice},
		{"evaluation-update", onS, "", "", "2026-11-30", "2026-11-30 07:30", "2026-11-30 07:30", "42 CFR 482.22(c)(5)(ii): after admission, before surgery", published},
		{"preanaesthesia-evaluation", onS, "", "", "2026-11-28 07:30", "2026-11-30 07:30", "2026-11-30 07:30", "42 CFR 482.52(b)(1): within 48 hours", fromMemory},

		{"type-and-screen", onS, "", "", "2026-11-27", "2026-11-30", "2026-11-30", drawn, published},
		{"type-and-screen", onS2, "", "", "2027-01-01", "2027-01-04", "2027-01-04", drawn, published},
		{"nasal-screen", onS, "", "", "2026-10-31", "2026-11-20", "2026-11-23", carriers, published},
		{"nasal-decolonise", onS, "", "", "2026-11-25", "2026-11-29", "2026-11-29", carriers, published},

		{"stop-clear-fluids", onS, "", "", "-", "2026-11-30 05:30", "2026-11-30 07:30", fasting, secondary},
		{"stop-light-meal", onS, "", "", "-", "2026-11-30 01:30", "2026-11-30 07:30", fasting, secondary},
		{"stop-solids", onS, "", "", "-", "2026-11-29 23:30", "2026-11-30 07:30", fasting, secondary},
		{"stop-clear-fluids", "2026-11-30 13:00", "", "", "-", "2026-11-30 11:00", "2026-11-30 13:00", fasting, secondary},
		{"stop-light-meal", "2026-11-30 13:00", "", "", "-", "2026-11-30 07:00", "2026-11-30 13:00", fasting, secondary},
		{"stop-solids", "2026-11-30 13:00", "", "", "-", "2026-11-30 05:00", "2026-11-30 13:00", fasting, secondary},

		{"antiseptic-wash-1", onS, "", "", "2026-11-28", "2026-11-28", "2026-11-28", "three washes; the evidence is for two (Edmiston, JAMA Surg 2015)", practice},
		{"antiseptic-wash-2", onS, "", "", "2026-11-29", "2026-11-29", "2026-11-29", "CDC 2017, JAMA Surg 2017;152:784-791: at least the night before", published},
		{"antiseptic-wash-3", onS, "", "", "2026-11-30", "2026-11-30", "2026-11-30", "three washes; the evidence is for two (Edmiston, JAMA Surg 2015)", practice},
		{"clean-linen", onS, "", "", "2026-11-29", "2026-11-29", "2026-11-29", "with the wash of the night before", practice},

		{"arrival-call", onS, "", "us-federal", "2026-11-27 12:00", "2026-11-27 17:00", "2026-11-29", callRule, practice},
		{"arrival-call", onS, "", "england", "2026-11-27 12:00", "2026-11-27 17:00", "2026-11-29", callRule, practice},
		{"arrival-call", "2026-07-06 07:30", "", "us-federal", "2026-07-02 12:00", "2026-07-02 17:00", "2026-07-05", callRule, practice},
		{"arrival-call", "2026-07-06 07:30", "", "england", "2026-07-03 12:00", "2026-07-03 17:00", "2026-07-05", callRule, practice},
		{"arrival-call", "2026-12-29 07:30", "", "us-federal", "2026-12-28 12:00", "2026-12-28 17:00", "2026-12-28", callRule, practice},
		{"arrival-call", "2026-12-29 07:30", "", "england", "2026-12-24 12:00", "2026-12-24 17:00", "2026-12-28", callRule, practice},
		{"infection-check-3", onS, "", "us-federal", "2026-11-27", "2026-11-27", "2026-11-29", "the earlier of three days and one business day before", practice},
		{"infection-check-3", "2026-12-29 07:30", "", "england", "2026-12-24", "2026-12-24", "2026-12-28", "the earlier of three days and one business day before", practice},

		{"baseline-questionnaire", onS, "", "", "2026-09-01", "-", "2026-11-30", outcome, fromMemory},
		{"baseline-questionnaire", onS2, "", "", "2026-10-06", "-", "2027-01-04", outcome, fromMemory},
		{"one-year-questionnaire", onS, "", "", "2027-09-26", "-", "2028-01-29", outcome, fromMemory},
		{"one-year-questionnaire", onS2, "", "", "2027-10-31", "-", "2028-03-04", outcome, fromMemory},
		{"ninety-day-check", onS, "", "", "2027-02-28", "-", "", "D+90; NHSN counts the day of surgery as day 1", fromMemory},
		{"thirty-day-check", onS, "overnight", "", "2026-12-31", "-", "", "30 days after discharge (CMS-1808-F); which day is day 1 from memory", fromMemory},
		{"wound-check", onS, "", "", "2026-12-10", "2026-12-14", "", "10 to 14 days after surgery", fromMemory},
		{"clinic-visit", onS, "", "", "2027-01-04", "-", "", "five to seven weeks after surgery", fromMemory},

		{"discharge-call", onS, "overnight", "us-federal", "2026-12-01", "2026-12-03", "", care, secondary},
		{"discharge-call", onS, "same-day", "us-federal", "2026-11-30", "2026-12-02", "", care, secondary},
		{"discharge-call", "2026-12-23 07:30", "overnight", "us-federal", "2026-12-24", "2026-12-29", "", care, secondary},
		{"discharge-call", "2026-12-23 07:30", "overnight", "england", "2026-12-24", "2026-12-30", "", care, secondary},
	} {
		if r.holidays == "" {
			r.holidays = "us-federal"
		}
		t.Run(r.step+" "+r.start+" "+r.holidays+" "+r.mark, func(t *testing.T) {
			f := facilities(t)[r.holidays]
			c := f.hipOn(t, r.start)
			c.Booked = f.clock(t, "2026-06-15 09:00")
			c.Stay, c.Facts = r.stay, allFacts(p)
			i := stepItem(t, readiness.Make(&c, p.Protocol, f.Calendar, f.clock(t, "2026-06-15 10:00")), r.step)
			require.Equal(t, readiness.Yes, i.Applies)
			for _, m := range []struct {
				what, want string
				got        readiness.Moment
			}{{"opens", r.opens, i.Opens}, {"due", r.due, i.Due}, {"last", r.last, i.Last}} {
				if m.want != "-" {
					require.Equal(t, m.want, byHand(m.got), "%s: %s (%s)", m.what, r.source, r.mark)
				}
			}
		})
	}
}

// byHand writes a moment as the table above does.
func byHand(m readiness.Moment) string {
	switch {
	case m.IsZero():
		return ""
	case m.At.IsZero():
		return m.Day.String()
	}
	return m.At.Format("2006-01-02 15:04")
}

// How old finished work may be. The ages were counted by hand.
func TestPublishedAges(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	const (
		evaluated = "42 CFR 482.22(c)(5)(i); CMS memo S&C-08-12: no more than 30 days before"
		outcome   = "CMS outcome measure: 90 to 0 days before"
		drawn     = "AABB Standards 5.14.3.2: day of draw is day 0, good through day 3"
	)
	for _, r := range []struct {
		step, doneOn, start string
		counts              bool
		source, mark        string
	}{
		{"medical-evaluation", "2026-11-05", onS, true, evaluated, published},  // 25 days
		{"medical-evaluation", "2026-10-31", onS, true, evaluated, published},  // 30 days
		{"medical-evaluation", "2026-10-30", onS, false, evaluated, published}, // 31 days
		{"medical-evaluation", "2026-11-05", onS2, false, evaluated, published},
		{"medical-evaluation", "2026-12-05", onS2, true, evaluated, published},
		{"medical-evaluation", "2026-12-04", onS2, false, evaluated, published},
		// The published example: done at 3 pm for a procedure at 9 am the next day,
		// an update is still required after arrival.
		{"evaluation-update", "2026-11-29", onS, false, "Joint Commission FAQ on history and physical: an update after arrival", published},
		{"evaluation-update", "2026-11-30", onS, true, "Joint Commission FAQ on history and physical: an update after arrival", published},
		{"baseline-questionnaire", "2026-10-05", onS, true, outcome, fromMemory},   // 56 days
		{"baseline-questionnaire", "2026-10-05", onS2, false, outcome, fromMemory}, // 91 days
		{"baseline-questionnaire", "2026-10-06", onS2, true, outcome, fromMemory},
		{"type-and-screen", "2026-11-27", onS, true, drawn, published},
		{"type-and-screen", "2026-11-26", onS, false, drawn, published},
		{"arrival-call", "2026-11-27", onS, true, "told for this date and time", practice},
		{"arrival-call", "2026-11-27", "2026-11-30 06:30", false, "an earlier start after the person was told: a new call", practice},
		{"ride-home", "2026-11-20", onS2, false, "arranged for that date", practice},
		{"home-safety", "2026-11-20", onS2, true, "still true", practice},
	} {
		t.Run(r.step+" "+r.doneOn+" for "+r.start, func(t *testing.T) {
			then := f.hipOn(t, onS)
			c := f.hipOn(t, r.start)
			c.Facts = allFacts(p)
			c.Entries = map[readiness.Key]readiness.Entry{
				{Step: r.step, Round: 1}: {Outcome: readiness.Done, On: date(t, r.doneOn), For: then.Snapshot()},
			}
			pl := readiness.Make(&c, p.Protocol, f.Calendar, f.clock(t, "2026-11-27 18:00"))
			first := stepItem(t, pl, r.step)
			if r.counts {
				require.Equal(t, readiness.StateDone, first.State, "%s (%s)", r.source, r.mark)
				return
			}
			require.Equal(t, readiness.Expired, first.State, "%s (%s)", r.source, r.mark)
			var rounds int
			for _, i := range pl.Items {
				if i.Key.Step == r.step {
					rounds++
				}
			}
			require.Equal(t, 2, rounds, "it is asked for again")
		})
	}
}

// Rules that are often believed and are wrong.
func TestCommonMistakes(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	c := f.hipOn(t, onS)
	pl := readiness.Make(&c, p.Protocol, f.Calendar, f.clock(t, "2026-10-02 09:00"))

	// Before 2007 the evaluation had to be within 7 days (law and trade notes,
	// secondary); its due day is no such limit.
	evaluation := stepItem(t, pl, "medical-evaluation")
	require.Equal(t, 30, evaluation.Step.Expiry.Days)
	require.Equal(t, "2026-11-30 07:30", byHand(evaluation.Last))

	// Clear fluids for adults are two hours; one hour is for children (European
	// guideline 2022, from memory). Calendar days are no hours: a sample counts
	// three days, not 72 hours (laboratory catalogue, published).
	require.Equal(t, "2026-11-30 05:30", byHand(stepItem(t, pl, "stop-clear-fluids").Due))
	require.True(t, stepItem(t, pl, "type-and-screen").Opens.At.IsZero())

	// The call is on the business day before, which is not the day before.
	require.NotEqual(t, "2026-11-29", stepItem(t, pl, "arrival-call").Due.Day.String())
}

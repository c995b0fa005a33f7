package readiness_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// Facts and rules of this file are invented; published ones are tested where the
// protocol is read.
func medicineConditions(t *testing.T) func(string) *readiness.Condition {
	facts := []readiness.Fact{
		{Name: "slow", Type: "boolean", Question: "whether it is slow"},
		{Name: "needle", Type: "boolean", Question: "whether there is a needle"},
		{Name: "graft", Type: "boolean", Question: "whether there is a graft"},
		{Name: readiness.FactClearance, Type: "number", Question: "what the clearance is"},
		{Name: readiness.FactLowDose, Type: "boolean", Question: "whether it is low", Default: false},
	}
	list, err := readiness.NewConditions(facts)
	require.NoError(t, err)
	return func(text string) *readiness.Condition {
		c, err := list.Compile(text, text)
		require.NoError(t, err)
		return c
	}
}

func held(n int, unit readiness.Unit) *readiness.Offset { return &readiness.Offset{N: n, Unit: unit} }

// onMonday is a case on Monday 2026-11-30 at 08:00 in Chicago.
func onMonday(t *testing.T, facts map[string]any) (*readiness.Case, *calendar.Calendar) {
	cal := chicago(t)
	return &readiness.Case{Day: day(t, "2026-11-30"), Start: clock(t, cal, "2026-11-30 08:00"), Facts: facts}, cal
}

// Is a medicine safe to date? Two rules that may give a last dose, and a
// specialist's rule, each of which applies, is in doubt, or does not apply: every
// row. "-" is no date: what is in doubt and could be stricter, or a specialist,
// takes the date away.
func TestIsAMedicineSafeToDate(t *testing.T) {
	compile := medicineConditions(t)
	rules := []*readiness.MedicineRule{
		{Code: "days", Does: readiness.MedicineHold, Hold: held(2, readiness.Days), Condition: compile("slow")},
		{Code: "hours", Does: readiness.MedicineHold, Hold: held(96*60, readiness.Minutes), Condition: compile("needle")},
		{Code: "expert", Does: readiness.MedicineSpecialist, Decides: "the expert", Condition: compile("graft")},
	}
	const d, h, no = "2026-11-27", "2026-11-26 08:00", "-"
	for _, r := range []struct{ slow, needle, graft, last string }{
		{"yes", "yes", "no", h}, {"yes", "yes", "?", h}, {"yes", "yes", "yes", no},
		{"yes", "no", "no", d}, {"yes", "no", "?", d}, {"yes", "no", "yes", no},
		{"yes", "?", "no", no}, {"yes", "?", "?", no}, {"yes", "?", "yes", no},
		{"no", "yes", "no", h}, {"no", "yes", "?", h}, {"no", "yes", "yes", no},
		{"no", "no", "no", no}, {"no", "no", "?", no}, {"no", "no", "yes", no},
		{"no", "?", "no", no}, {"no", "?", "?", no}, {"no", "?", "yes", no},
		{"?", "yes", "no", h}, {"?", "yes", "?", h}, {"?", "yes", "yes", no}, // what is in doubt is laxer
		{"?", "no", "no", no}, {"?", "no", "?", no}, {"?", "no", "yes", no},
		{"?", "?", "no", no}, {"?", "?", "?", no}, {"?", "?", "yes", no},
	} {
		t.Run(r.slow+" "+r.needle+" "+r.graft, func(t *testing.T) {
			facts := map[string]any{}
			for name, v := range map[string]string{"slow": r.slow, "needle": r.needle, "graft": r.graft} {
				if v != "?" {
					facts[name] = v == "yes"
				}
			}
			c, cal := onMonday(t, facts)
			a := readiness.Advise(&readiness.Medicine{Key: "m", Name: "M", Rules: rules}, c, cal)
			got := no
			switch {
			case a.Last.IsZero():
				require.True(t, len(a.Needs) > 0 || a.Decides != "", "no date without a reason")
				require.Nil(t, a.By)
			case a.Last.At.IsZero():
				got = a.Last.Day.String()
			default:
				got = a.Last.At.Format("2006-01-02 15:04")
			}
			require.Equal(t, r.last, got)
			require.Equal(t, r.graft == "?", len(a.Asks) == 1, "a specialist's rule in doubt is asked about")
			require.True(t, a.Asked())
			if r.graft == "yes" {
				require.Equal(t, "the expert", a.Decides)
			}
		})
	}
}

// Hours need an hour, days do not; until it is known the earliest day that may
// come out is told, and no date is given.
func TestHoursNeedAStart(t *testing.T) {
	c, cal := onMonday(t, nil)
	c.Start = clock(t, cal, "")
	for minutes, earliest := range map[int]string{24 * 60: "2026-11-29", 36 * 60: "2026-11-28", 72 * 60: "2026-11-27"} {
		m := readiness.Medicine{Key: "m", Name: "M", Rules: []*readiness.MedicineRule{{Does: readiness.MedicineHold, Hold: held(minutes, readiness.Minutes)}}}
		a := readiness.Advise(&m, c, cal)
		require.Zero(t, a.Last)
		require.Equal(t, []string{"at what time the anaesthesia is to start"}, a.Needs)
		require.Equal(t, earliest, a.Earliest.Day.String())
	}
}

// Hours are elapsed time across a change of clocks: 72 hours before 08:00 on
// Monday 2 November 2026 is 09:00 by the clock on Friday, because the night of
// 1 November has an hour more. Whole days never move.
func TestHoursAcrossAChangeOfClocks(t *testing.T) {
	cal := chicago(t)
	c := &readiness.Case{Day: day(t, "2026-11-02"), Start: clock(t, cal, "2026-11-02 08:00")}
	m := readiness.Medicine{Key: "m", Name: "M", Rules: []*readiness.MedicineRule{{Does: readiness.MedicineHold, Hold: held(72*60, readiness.Minutes)}}}
	require.Equal(t, "2026-10-30 09:00", readiness.Advise(&m, c, cal).Last.At.Format("2006-01-02 15:04"))
	m.Rules[0].Hold = held(2, readiness.Days)
	require.Equal(t, "2026-10-30", readiness.Advise(&m, c, cal).Last.Day.String())
}

// No date for the operation gives no last dose, asks nothing of the kidneys and
// invents no reason.
func TestNoDateNoLastDose(t *testing.T) {
	m := readiness.Medicine{Key: "m", Name: "M", Rules: []*readiness.MedicineRule{{Does: readiness.MedicineHold, Hold: held(2, readiness.Days)}}}
	a := readiness.Advise(&m, &readiness.Case{Kidney: &readiness.Kidney{}}, chicago(t))
	require.Zero(t, a.Last)
	require.Empty(t, a.Needs)
	require.Empty(t, a.Decides)
	require.Equal(t, "M: no date for the operation, so no last dose.", a.Headline())
}

// An invented protocol with the four kinds of step for a medicine: due days,
// waiting, and what is asked for the earliest safe date.
func TestStepsOfAMedicine(t *testing.T) {
	compile := medicineConditions(t)
	sign := step("sign", readiness.Window{Due: points(business(readiness.AnchorEarliestDose, -3))})
	sign.RepeatFor, sign.Performers, sign.Expiry.Kind, sign.Named = "medicine", nurse, readiness.ThisDate, true
	last := step("last", readiness.Window{Opens: points(days("sign", 0)), Due: points(days(readiness.AnchorLastDose, 0))})
	last.RepeatFor, last.Fixed, last.Expiry.Kind = "medicine", true, readiness.ThisDate
	list := step("list", before(42, 21))
	list.ListsMedicines = true
	p := protocol(t, list, sign, last)
	p.UndatedDecision, p.Horizon = 14, 60

	c, cal := onMonday(t, map[string]any{})
	c.Booked = clock(t, cal, "2026-10-01 09:00")
	c.Repeats = map[string][]string{"medicine": {"m"}}
	c.Medicines = []readiness.Medicine{{Key: "m", Name: "M", Rules: []*readiness.MedicineRule{
		{Title: "Two days", Does: readiness.MedicineHold, Hold: held(5, readiness.Days), Condition: compile("slow")},
	}}}
	now := clock(t, cal, "2026-11-10 09:00")
	pl := readiness.Make(c, p, cal, now)
	i := item(t, pl, "last")
	require.Equal(t, readiness.Unknown, i.Applies)
	require.Equal(t, []string{"whether it is slow"}, i.Needs)
	require.Zero(t, i.Due)
	require.Equal(t, readiness.Yes, item(t, pl, "sign").Applies, "somebody has to decide")
	require.Equal(t, "2026-11-29", i.Last.Day.String(), "undecided the day before, nobody is ready")
	require.Equal(t, "2026-11-19", item(t, pl, "sign").Due.Day.String(), "three business days before Tue 24 November")
	require.NotEqual(t, readiness.CaseReady, pl.State)

	c.Facts["slow"] = false
	pl = readiness.Make(c, p, cal, now)
	require.Equal(t, []string{"which last dose is decided by the prescriber, because no rule here fits this person"}, item(t, pl, "last").Needs)
	require.Equal(t, "2026-11-10", item(t, pl, "sign").Due.Day.String(), "no date comes out: three business days before D-14, Veterans Day being one that is closed")

	c.Facts["slow"] = true
	pl = readiness.Make(c, p, cal, now)
	i = item(t, pl, "last")
	require.Equal(t, readiness.Yes, i.Applies)
	require.Equal(t, "2026-11-24", i.Due.Day.String())
	require.Equal(t, readiness.Upcoming, i.State, "nobody has signed")
	require.True(t, strings.HasPrefix(item(t, pl, "list").Advice[0], "On record: M."))

	// The day on which it should have been stopped is past, and nobody stopped it:
	// the first day that can be met leaves room for the days without a dose again.
	late := clock(t, cal, "2026-11-25 09:00")
	pl = readiness.Make(c, p, cal, late)
	require.Equal(t, readiness.CaseInfeasible, pl.State)
	c.Entries = map[readiness.Key]readiness.Entry{{Step: "list", Round: 1}: doneOn(day(t, "2026-11-02"), *c)}
	safe := readiness.Earliest(c, p, cal, late)
	require.Equal(t, "2026-12-01", safe.Day.String(), "last dose today, five whole days, the sixth")
}

// Is what was signed later than the rules give? Surgery is on Monday 30 November
// 2026; the rules give the last dose on Friday 27th where they give one.
func TestIsASignatureLaterThanTheRulesGive(t *testing.T) {
	compile := medicineConditions(t)
	hold := &readiness.MedicineRule{Code: "days", Does: readiness.MedicineHold, Hold: held(2, readiness.Days)}
	doubt := &readiness.MedicineRule{Code: "more", Does: readiness.MedicineHold, Hold: held(4, readiness.Days), Condition: compile("slow")}
	expert := &readiness.MedicineRule{Code: "expert", Does: readiness.MedicineSpecialist, Decides: "the expert"}
	choice := &readiness.MedicineRule{Code: "choice", Does: readiness.MedicineChoice, Decides: "the prescriber", Hold: held(1, readiness.Days)}
	usual := &readiness.MedicineRule{Code: "usual", Does: readiness.MedicineContinue}
	type rules = []*readiness.MedicineRule
	for _, r := range []struct {
		name    string
		rules   rules
		decided readiness.Decision
		signed  string
		later   string // than this; empty: it is not
	}{
		{"as the rules give it", rules{hold}, readiness.DecidedLastDose, "2026-11-27", ""},
		{"earlier", rules{hold}, readiness.DecidedLastDose, "2026-11-26", ""},
		{"a day later", rules{hold}, readiness.DecidedLastDose, "2026-11-28", "2026-11-27"},
		{"a plain signature", rules{hold}, readiness.DecidedLastDose, "", ""},
		{"it goes on", rules{hold}, readiness.DecidedGoOn, "", "2026-11-27"},
		{"it is not taken", rules{hold}, readiness.DecidedNotTaken, "", ""},
		{"it goes on, while a fact is missing", rules{hold, doubt}, readiness.DecidedGoOn, "", "2026-11-25"},
		{"a day, while a fact is missing", rules{hold, doubt}, readiness.DecidedLastDose, "2026-11-26", "2026-11-25"},
		{"it goes on, and a specialist decides", rules{hold, expert}, readiness.DecidedGoOn, "", ""},
		{"it goes on, and it is the prescriber's choice", rules{choice}, readiness.DecidedGoOn, "", ""},
		{"later than it would be held by choice", rules{choice}, readiness.DecidedLastDose, "2026-11-29", "2026-11-28"},
		{"it goes on, as the rules say", rules{usual}, readiness.DecidedGoOn, "", ""},
		{"no rule knows it", nil, readiness.DecidedGoOn, "", ""},
		{"a day, and no rule knows it", nil, readiness.DecidedLastDose, "2026-11-29", ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			c, cal := onMonday(t, nil)
			a := readiness.Advise(&readiness.Medicine{Key: "pill", Name: "Pill", Rules: r.rules}, c, cal)
			var signed readiness.Moment
			if r.signed != "" {
				signed.Day = day(t, r.signed)
			}
			require.Equal(t, r.later, a.LaterThan(signed, r.decided).Day.String())
		})
	}
}

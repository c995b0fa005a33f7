package readiness_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// Surgery in a window after the last dose, counted by hand: in days, and in
// months, which end where the shorter month ends. Invented rules; the published
// windows are tested where the protocol is read.
func TestWindowAfterTheLastDose(t *testing.T) {
	days := func(n int) *readiness.Offset { return held(n, readiness.Days) }
	months := func(n int) *readiness.Offset { return held(n, readiness.Months) }
	for _, r := range []struct {
		name, surgery string
		from, to      *readiness.Offset
		dose          string
		first, last   string
		fit           readiness.Fit
	}{
		{"the first day of the third week", "2026-11-30", days(15), days(21), "2026-11-15", "2026-11-09", "2026-11-15", readiness.InWindow},
		{"a day before it", "2026-11-30", days(15), days(21), "2026-11-16", "2026-11-09", "2026-11-15", readiness.TooSoon},
		{"its last day", "2026-11-30", days(15), days(21), "2026-11-09", "2026-11-09", "2026-11-15", readiness.InWindow},
		{"a day after it", "2026-11-30", days(15), days(21), "2026-11-08", "2026-11-09", "2026-11-15", readiness.PastWindow},
		{"no end", "2026-11-30", days(15), nil, "2020-01-01", "", "2026-11-15", readiness.InWindow},
		{"no end, a day too soon", "2026-11-30", days(15), nil, "2026-11-16", "", "2026-11-15", readiness.TooSoon},
		{"four months", "2026-11-30", months(4), months(5), "2026-07-30", "2026-06-30", "2026-07-31", readiness.InWindow},
		{"four months from the 31st are over on the 30th", "2026-11-30", months(4), months(5), "2026-07-31", "2026-06-30", "2026-07-31", readiness.InWindow},
		{"and from the first of the next month are not", "2026-11-30", months(4), months(5), "2026-08-01", "2026-06-30", "2026-07-31", readiness.TooSoon},
		{"five months", "2026-11-30", months(4), months(5), "2026-06-30", "2026-06-30", "2026-07-31", readiness.InWindow},
		{"five months and a day", "2026-11-30", months(4), months(5), "2026-06-29", "2026-06-30", "2026-07-31", readiness.PastWindow},
		{"to the end of February", "2027-02-28", months(6), months(7), "2026-08-31", "2026-07-28", "2026-08-31", readiness.InWindow},
		{"the last of a month of 31 days", "2026-10-31", months(1), months(2), "2026-09-30", "2026-08-31", "2026-09-30", readiness.InWindow},
	} {
		t.Run(r.name, func(t *testing.T) {
			cal := chicago(t)
			c := surgeryOn(t, cal, r.surgery)
			rule := &readiness.MedicineRule{Code: "w", Does: readiness.MedicineWindow, From: r.from, To: r.to}
			m := readiness.Medicine{Key: "m", Name: "M", Rules: []*readiness.MedicineRule{rule}, Last: readiness.Moment{Day: day(t, r.dose)}}
			a := readiness.Advise(&m, &c, cal)
			require.Len(t, a.Candidates, 1)
			d := a.Candidates[0]
			require.Equal(t, []string{r.first, r.last}, []string{show(d.First), show(d.Last)})
			require.Equal(t, r.fit, d.Fit)
			require.Equal(t, r.last, show(a.Last))
			require.Empty(t, a.Needs)

			m.Last = readiness.Moment{}
			a = readiness.Advise(&m, &c, cal)
			require.Equal(t, readiness.NoFit, a.Candidates[0].Fit)
			require.Equal(t, []string{"when the last dose of this medicine was given"}, a.Needs)
			require.Zero(t, a.Last)
			require.Equal(t, r.last, show(a.Earliest))
		})
	}
}

// What rules of each kind, and several together, come to for surgery on Monday
// 30 November 2026 at eight.
func TestWhatRulesComeTo(t *testing.T) {
	compile := medicineConditions(t)
	hold := func(n int) *readiness.MedicineRule {
		return &readiness.MedicineRule{Code: "hold", Does: readiness.MedicineHold, Hold: held(n, readiness.Days)}
	}
	does := func(what readiness.MedicineAction) *readiness.MedicineRule {
		return &readiness.MedicineRule{Code: string(what), Does: what, Decides: "somebody"}
	}
	when := func(text string, r *readiness.MedicineRule) *readiness.MedicineRule {
		r.Condition = compile(text)
		return r
	}
	low := func(limit float64, r *readiness.MedicineRule) *readiness.MedicineRule {
		r.LowDose = limit
		return when("low_dose", r)
	}
	for _, r := range []struct {
		name      string
		rules     []*readiness.MedicineRule
		dose      float64
		last      string
		continues bool
		decides   string
		needs     []string
		asks      []string
		earliest  string
		asked     bool
		given     int // rules that may apply
	}{
		{name: "no rule knows it", decides: "a prescriber, because no rule here knows it", asked: true},
		{name: "taken as usual", rules: []*readiness.MedicineRule{does(readiness.MedicineContinue)}, continues: true, given: 1},
		{name: "never stopped", rules: []*readiness.MedicineRule{does(readiness.MedicineNeverStop)}, continues: true, given: 1},
		{name: "taken as usual, and another rule stops it", rules: []*readiness.MedicineRule{does(readiness.MedicineContinue), hold(2)}, last: "2026-11-27", earliest: "2026-11-27", asked: true, given: 2},
		{name: "the other way round", rules: []*readiness.MedicineRule{hold(2), does(readiness.MedicineContinue)}, last: "2026-11-27", earliest: "2026-11-27", asked: true, given: 2},
		{name: "taken as usual, and somebody decides", rules: []*readiness.MedicineRule{does(readiness.MedicineContinue), does(readiness.MedicineChoice)}, decides: "somebody", asked: true, given: 2},
		{name: "taken as usual unless a specialist's case", rules: []*readiness.MedicineRule{does(readiness.MedicineContinue), when("graft", does(readiness.MedicineSpecialist))}, decides: "the prescriber, because no rule here fits this person", asks: []string{"whether there is a graft"}, asked: true, given: 2},
		{name: "the stricter of two, which comes last", rules: []*readiness.MedicineRule{hold(2), hold(3)}, last: "2026-11-26", earliest: "2026-11-26", asked: true, given: 2},
		{name: "the stricter of two, which comes first", rules: []*readiness.MedicineRule{hold(3), hold(2)}, last: "2026-11-26", earliest: "2026-11-26", asked: true, given: 2},
		{name: "one in doubt, which would be stricter", rules: []*readiness.MedicineRule{hold(2), when("slow", hold(3))}, needs: []string{"whether it is slow"}, earliest: "2026-11-26", asked: true, given: 2},
		{name: "one in doubt, which is as strict", rules: []*readiness.MedicineRule{hold(2), when("slow", hold(2))}, last: "2026-11-27", earliest: "2026-11-27", asked: true, given: 2},
		{name: "two in doubt about one thing", rules: []*readiness.MedicineRule{when("slow", hold(2)), when("slow", hold(3))}, needs: []string{"whether it is slow"}, earliest: "2026-11-26", asked: true, given: 2},
		{name: "a rule without an end of its own", rules: []*readiness.MedicineRule{does(readiness.MedicineHold)}, decides: "the prescriber, because no rule here fits this person", asked: true, given: 1},

		{name: "a low dose, below its limit", rules: []*readiness.MedicineRule{low(100, hold(7))}, dose: 81, last: "2026-11-22", earliest: "2026-11-22", asked: true, given: 1},
		{name: "a low dose, at its limit", rules: []*readiness.MedicineRule{low(100, hold(7))}, dose: 100, last: "2026-11-22", earliest: "2026-11-22", asked: true, given: 1},
		{name: "above it", rules: []*readiness.MedicineRule{low(100, hold(7))}, dose: 100.5, decides: "the prescriber, because no rule here fits this person", asked: true},
		{name: "a dose that nobody knows is no low one", rules: []*readiness.MedicineRule{low(100, hold(7))}, decides: "the prescriber, because no rule here fits this person", asked: true},
		{name: "a rule without a limit", rules: []*readiness.MedicineRule{low(0, hold(7))}, dose: 1, decides: "the prescriber, because no rule here fits this person", asked: true},
	} {
		t.Run(r.name, func(t *testing.T) {
			c, cal := onMonday(t, nil)
			a := readiness.Advise(&readiness.Medicine{Key: "m", Name: "M", Dose: r.dose, Rules: r.rules}, c, cal)
			require.Equal(t, []any{r.last, r.continues, r.decides, r.earliest, r.asked, r.given},
				[]any{show(a.Last), a.Continues, a.Decides, show(a.Earliest), a.Asked(), len(a.Candidates)})
			require.Equal(t, r.needs, a.Needs)
			require.Equal(t, r.asks, a.Asks)
		})
	}
}

// The clearance of the day of surgery goes before what a record says of it, and
// where it cannot be computed the question for it becomes what it needs.
func TestClearanceInRules(t *testing.T) {
	compile := medicineConditions(t)
	rules := []*readiness.MedicineRule{
		{Code: "good", Does: readiness.MedicineHold, Hold: held(2, readiness.Days), Condition: compile("creatinine_clearance > 50.0")},
		{Code: "poor", Does: readiness.MedicineHold, Hold: held(4, readiness.Days), Condition: compile("creatinine_clearance <= 50.0 && slow")},
	}
	kidney := func(creatinine float64) *readiness.Kidney {
		on := day(t, "2026-11-20")
		return &readiness.Kidney{
			Creatinine: readiness.Reading{Value: creatinine, On: on, MaxAge: 90}, Weight: readiness.Reading{Value: 72, On: on, MaxAge: 90},
			Born: day(t, "1956-11-30"), Sex: readiness.Male,
		}
	}
	noWeight := kidney(1.4)
	noWeight.Weight.On = 0
	for _, r := range []struct {
		name      string
		facts     map[string]any
		own       map[string]any
		kidney    *readiness.Kidney
		last      string
		clearance float64
		needs     []string
	}{
		{"70 years, 72 kg, 1 mg/dL: 70 mL/min", map[string]any{"slow": true}, nil, kidney(1), "2026-11-27", 70, nil},
		{"1.4 mg/dL: exactly 50 mL/min, the stricter side", map[string]any{"slow": true}, nil, kidney(1.4), "2026-11-25", 50, nil},
		{"what is known of the medicine goes before the case's facts", map[string]any{"slow": false}, map[string]any{"slow": true}, kidney(1.4), "2026-11-25", 50, nil},
		{"nothing known but the kidneys", nil, map[string]any{"slow": true}, kidney(1.4), "2026-11-25", 50, nil},
		{"a figure on record gives way to the one computed", map[string]any{"slow": true, readiness.FactClearance: 90.0}, nil, kidney(1.4), "2026-11-25", 50, nil},
		{"and to none, where it cannot be computed", map[string]any{"slow": true, readiness.FactClearance: 90.0}, nil, noWeight, "", 0, []string{"what the weight is"}},
		{"what it needs stands among the other questions", nil, nil, noWeight, "", 0, []string{"what the weight is", "whether it is slow"}},
		{"nothing is known of the kidneys", map[string]any{"slow": true}, nil, nil, "", 0, []string{"what the clearance is"}},
	} {
		t.Run(r.name, func(t *testing.T) {
			c, cal := onMonday(t, r.facts)
			c.Kidney = r.kidney
			a := readiness.Advise(&readiness.Medicine{Key: "m", Name: "M", Facts: r.own, Rules: rules}, c, cal)
			require.Equal(t, []any{r.last, r.clearance}, []any{show(a.Last), a.Clearance})
			require.Equal(t, r.needs, a.Needs)
		})
	}
	// A medicine whose rules ask nothing of the kidneys says nothing of them.
	c, cal := onMonday(t, map[string]any{"slow": true})
	c.Kidney = kidney(1)
	a := readiness.Advise(&readiness.Medicine{Key: "m", Rules: []*readiness.MedicineRule{{Does: readiness.MedicineHold, Hold: held(2, readiness.Days), Condition: compile("slow")}}}, c, cal)
	require.Zero(t, a.Clearance)
}

// signable has a last dose that a prescriber signs, and a list of medicines.
func signable(t *testing.T) *readiness.Protocol {
	sign := step("sign", readiness.Window{Due: points(business(readiness.AnchorEarliestDose, -3))})
	sign.RepeatFor, sign.Performers, sign.Expiry.Kind, sign.Named = "medicine", nurse, readiness.ThisDate, true
	last := step("last", readiness.Window{Opens: points(days("sign", 0)), Due: points(days(readiness.AnchorLastDose, 0))})
	last.RepeatFor, last.Fixed, last.Expiry.Kind = "medicine", true, readiness.ThisDate
	list, wash := step("list", before(42, 21)), step("wash", before(3, 1))
	list.ListsMedicines, wash.RepeatFor = true, "wash"
	p := protocol(t, list, sign, last, wash)
	p.UndatedDecision, p.Horizon, p.MedicineNotice = 14, 60, "A notice."
	return p
}

// What a prescriber signed for the date that stands goes before the rules, the
// latest round of it; what was signed for another date, or when the rules gave
// another last dose, does not.
func TestSignedLastDose(t *testing.T) {
	cal := chicago(t)
	of := readiness.DetailLastDose("m")
	base := func() readiness.Entry {
		return readiness.Entry{
			Outcome: readiness.Done, Signed: readiness.Moment{Day: day(t, "2026-11-25")},
			For: map[string]string{readiness.DetailDate: "2026-11-30", of: "2026-11-27"},
		}
	}
	change := func(f func(*readiness.Entry)) readiness.Entry {
		e := base()
		f(&e)
		return e
	}
	key := func(repeat string, round int) readiness.Key {
		return readiness.Key{Step: "sign", Repeat: repeat, Round: round}
	}
	for _, r := range []struct {
		name    string
		entries map[readiness.Key]readiness.Entry
		due     string
	}{
		{"nobody signed", nil, "2026-11-27"},
		{"signed", map[readiness.Key]readiness.Entry{key("m", 1): base()}, "2026-11-25"},
		{"of another medicine", map[readiness.Key]readiness.Entry{key("other", 1): base()}, "2026-11-27"},
		{"not done", map[readiness.Key]readiness.Entry{key("m", 1): change(func(e *readiness.Entry) { e.Outcome = readiness.Failed })}, "2026-11-27"},
		{"done as advised", map[readiness.Key]readiness.Entry{key("m", 1): change(func(e *readiness.Entry) { e.Signed = readiness.Moment{} })}, "2026-11-27"},
		{"for another date", map[readiness.Key]readiness.Entry{key("m", 1): change(func(e *readiness.Entry) { e.For[readiness.DetailDate] = "2026-11-23" })}, "2026-11-27"},
		{"when the rules gave another", map[readiness.Key]readiness.Entry{key("m", 1): change(func(e *readiness.Entry) { e.For[of] = "2026-11-26" })}, "2026-11-27"},
		{"twice, the second counts", map[readiness.Key]readiness.Entry{
			key("m", 1): base(), key("m", 2): change(func(e *readiness.Entry) { e.Signed.Day = day(t, "2026-11-24") }),
		}, "2026-11-24"},
		{"twice, and what the third round says is that it failed", map[readiness.Key]readiness.Entry{
			key("m", 1): base(), key("m", 2): base(),
			key("m", 3): change(func(e *readiness.Entry) { e.Signed.Day, e.Outcome = day(t, "2026-11-23"), readiness.Failed }),
		}, "2026-11-27"},
		{"twice, and nobody answered the third round", map[readiness.Key]readiness.Entry{
			key("m", 1): base(), key("m", 2): base(), key("m", 3): {},
		}, "2026-11-25"},
		{"on a step that signs nothing", map[readiness.Key]readiness.Entry{{Step: "last", Repeat: "m", Round: 1}: base()}, "2026-11-27"},
		{"on a step that the protocol has no more", map[readiness.Key]readiness.Entry{{Step: "gone", Repeat: "m", Round: 1}: base()}, "2026-11-27"},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := surgeryOn(t, cal, theDay)
			c.Repeats = map[string][]string{"medicine": {"m"}}
			c.Details[of] = "2026-11-27"
			c.Medicines = []readiness.Medicine{{Key: "m", Name: "M", Rules: []*readiness.MedicineRule{{Title: "Two days", Does: readiness.MedicineHold, Hold: held(2, readiness.Days)}}}}
			c.Entries = r.entries
			i := item(t, readiness.Make(&c, signable(t), cal, clock(t, cal, "2026-11-10 09:00")), "last")
			require.Equal(t, r.due, show(i.Due))
			signed := r.due != "2026-11-27"
			require.Equal(t, signed, len(i.Advice) > 0 && i.Advice[0] == "M: last dose by "+i.Due.Words()+", as a named prescriber signed. The rules say:", "%q", i.Advice)
			require.Equal(t, "A notice.", i.Advice[len(i.Advice)-1])
		})
	}

	// An hour is told by the facility's clock, and a later dose than the rules
	// give is told as one.
	c := surgeryOn(t, cal, theDay)
	c.Repeats = map[string][]string{"medicine": {"m"}}
	c.Details[of] = "2026-11-27"
	c.Medicines = []readiness.Medicine{{Key: "m", Name: "M", Rules: []*readiness.MedicineRule{{Title: "Two days", Does: readiness.MedicineHold, Hold: held(2, readiness.Days)}}}}
	late := clock(t, cal, "2026-11-28 18:00")
	c.Entries = map[readiness.Key]readiness.Entry{key("m", 1): change(func(e *readiness.Entry) {
		e.Signed = readiness.Moment{Day: calendar.NewDate(2026, 11, 28), At: late.UTC()}
	})}
	i := item(t, readiness.Make(&c, signable(t), cal, clock(t, cal, "2026-11-10 09:00")), "last")
	require.Equal(t, "M: last dose by Sat 28 Nov 2026 18:00 CST, as a named prescriber signed, which is later than the rules give. The rules say:", i.Advice[0])
	c.Medicines[0].Rules[0].Hold = held(1, readiness.Days) // by the 28th
	c.Details[of] = "2026-11-27"
	i = item(t, readiness.Make(&c, signable(t), cal, clock(t, cal, "2026-11-10 09:00")), "last")
	require.Equal(t, "M: last dose by Sat 28 Nov 2026 18:00 CST, as a named prescriber signed. The rules say:", i.Advice[0])
	c.Medicines[0].Rules = []*readiness.MedicineRule{{Title: "Somebody", Does: readiness.MedicineChoice, Decides: "somebody"}}
	i = item(t, readiness.Make(&c, signable(t), cal, clock(t, cal, "2026-11-10 09:00")), "last")
	require.Equal(t, "M: last dose by Sat 28 Nov 2026 18:00 CST, as a named prescriber signed. The rules say:", i.Advice[0], "no date of the rules is no earlier one")
}

// The list of medicines names those that no rule knows as well, and what was
// confirmed for another last dose is asked again.
func TestListOfMedicines(t *testing.T) {
	cal := chicago(t)
	rule := []*readiness.MedicineRule{{Title: "Two days", Does: readiness.MedicineHold, Hold: held(2, readiness.Days)}}
	for _, r := range []struct {
		name      string
		medicines []readiness.Medicine
		advice    []string
	}{
		{"none", nil, nil},
		{"one that is known", []readiness.Medicine{{Key: "m", Name: "M", Rules: rule}}, []string{"On record: M.", "M: last dose by Fri 27 Nov 2026."}},
		{"one that is not", []readiness.Medicine{{Name: "Leaves"}}, []string{"No rule here knows: Leaves; a prescriber decides on each.", "Leaves: no rule here knows it; a prescriber decides: it goes on, has a last dose on a day, or is not taken."}},
		{"one that is not, though a step repeats for it", []readiness.Medicine{{Key: "m", Name: "Leaves"}}, []string{"No rule here knows: Leaves; a prescriber decides on each.", "Leaves: no rule here knows it; a prescriber decides: it goes on, has a last dose on a day, or is not taken."}},
		{"both", []readiness.Medicine{{Name: "Leaves"}, {Key: "m", Name: "M", Rules: rule}}, []string{"On record: M. No rule here knows: Leaves; a prescriber decides on each.", "Leaves: no rule here knows it; a prescriber decides: it goes on, has a last dose on a day, or is not taken.", "M: last dose by Fri 27 Nov 2026."}},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := surgeryOn(t, cal, theDay)
			c.Medicines = r.medicines
			c.Repeats = map[string][]string{"medicine": {"m"}, "wash": {"w"}}
			pl := readiness.Make(&c, signable(t), cal, clock(t, cal, "2026-11-10 09:00"))
			require.Empty(t, item(t, pl, "wash").Advice)
			want := r.advice
			if want != nil {
				want = append(want, readiness.MedicineCaution, "A notice.")
			}
			require.Equal(t, want, item(t, pl, "list").Advice)
			i := item(t, pl, "last")
			switch last := len(r.medicines) - 1; {
			case last < 0 || r.medicines[last].Key == "":
				require.Empty(t, i.Advice, "the item of a medicine that is not listed")
			case len(r.medicines[last].Rules) == 0:
				require.Equal(t, "Leaves: no rule here knows it; a prescriber decides: it goes on, has a last dose on a day, or is not taken.", i.Advice[0])
				require.Equal(t, readiness.Unknown, i.Applies)
				require.Equal(t, []string{"whether it goes on, has a last dose, or is not taken, which is decided by a prescriber, because no rule here knows it"}, i.Needs)
			}
		})
	}
	p := signable(t)
	p.MedicineNotice = ""
	c := surgeryOn(t, cal, theDay)
	c.Medicines, c.Repeats = []readiness.Medicine{{Key: "m", Name: "M", Rules: rule}}, map[string][]string{"medicine": {"m"}}
	pl := readiness.Make(&c, p, cal, clock(t, cal, "2026-11-10 09:00"))
	require.Equal(t, readiness.MedicineCaution, item(t, pl, "list").Advice[2])
	require.Len(t, item(t, pl, "list").Advice, 3)

	of := readiness.DetailLastDose("m")
	for was, state := range map[string]readiness.ItemState{"2026-11-27": readiness.StateDone, "2026-11-26": readiness.Expired, "": readiness.StateDone} {
		c.Details[of] = "2026-11-27"
		e := readiness.Entry{Outcome: readiness.Done, On: day(t, "2026-11-27"), For: map[string]string{readiness.DetailDate: "2026-11-30"}}
		if was != "" {
			e.For[of] = was
		}
		c.Entries = map[readiness.Key]readiness.Entry{{Step: "last", Repeat: "m", Round: 1}: e, {Step: "list", Round: 1}: {Outcome: readiness.Done, On: day(t, "2026-11-09"), For: map[string]string{readiness.DetailDate: "2026-11-30", readiness.DetailLastDose(""): "2026-11-01"}}}
		pl := readiness.Make(&c, p, cal, clock(t, cal, "2026-11-28 09:00"))
		var first *readiness.Item
		for n := range pl.Items {
			if i := &pl.Items[n]; i.Key.Step == "last" && i.Key.Round == 1 {
				first = i
			}
		}
		require.Equal(t, state, first.State, "it was %q", was)
		require.Equal(t, readiness.StateDone, item(t, pl, "list").State, "of a step that is no dose")
	}
}

// The hold is to be cleared before the first thing that it pauses and that is
// still to come since it was raised. Surgery is on Monday 30 November 2026, the
// hold was raised on Wednesday the 11th.
func TestFirstThingThatAHoldPauses(t *testing.T) {
	cal := chicago(t)
	compile := medicineConditions(t)
	for _, r := range []struct {
		name   string
		change func(p map[string]*readiness.Step, c *readiness.Case)
		due    string
	}{
		{"what opens first", nil, "2026-11-13"},
		{"what opened before the hold is past", func(p map[string]*readiness.Step, _ *readiness.Case) { p["first"].Window = before(20, 1) }, "2026-11-20"},
		{"what opens on the day of the hold", func(p map[string]*readiness.Step, _ *readiness.Case) { p["first"].Window = before(19, 1) }, "2026-11-11"},
		{"what it does not pause", func(p map[string]*readiness.Step, _ *readiness.Case) { p["first"].PausesOnHold = false }, "2026-11-20"},
		{"what does not apply", func(p map[string]*readiness.Step, c *readiness.Case) {
			p["first"].Condition, c.Facts = compile("slow"), map[string]any{"slow": false}
		}, "2026-11-20"},
		{"what may apply", func(p map[string]*readiness.Step, _ *readiness.Case) { p["first"].Condition = compile("slow") }, "2026-11-13"},
		{"what repeats for nothing", func(p map[string]*readiness.Step, _ *readiness.Case) { p["first"].RepeatFor = "wash" }, "2026-11-20"},
		{"what repeats", func(p map[string]*readiness.Step, c *readiness.Case) {
			p["first"].RepeatFor, c.Repeats = "wash", map[string][]string{"wash": {"a", "b"}}
		}, "2026-11-13"},
		{"what the hold itself asks for", func(_ map[string]*readiness.Step, c *readiness.Case) {
			c.Holds[1].Records = []string{"item:first/"}
		}, "2026-11-20"},
		{"a hold that nothing is known of", func(_ map[string]*readiness.Step, c *readiness.Case) { c.Holds = c.Holds[:1] }, ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			release := step("release", readiness.Window{Opens: points(days(readiness.AnchorRaised, 0)), Due: points(business(readiness.AnchorPaused, -1))})
			release.Trigger, release.Performers = readiness.TriggerHold, nurse
			second, first, third := step("second", before(9, 1)), step("first", before(16, 1)), step("third", before(9, 2))
			steps := []readiness.Step{second, first, third, release}
			c := surgeryOn(t, cal, theDay)
			raised := clock(t, cal, "2026-11-11 09:00")
			c.Held = true
			c.Holds = []readiness.Hold{{Key: "other", Kind: "other", Raised: raised, Records: []string{"item:second/"}}, {Key: "h", Kind: "infection", Raised: raised, Records: []string{"Condition/1"}}}
			c.Raised = []readiness.Raised{{Trigger: readiness.TriggerHold, Key: "h", At: raised}}
			byCode := map[string]*readiness.Step{}
			for n := range steps {
				steps[n].PausesOnHold = steps[n].Trigger == ""
				byCode[steps[n].Code] = &steps[n]
			}
			if r.change != nil {
				r.change(byCode, &c)
			}
			pl := readiness.Make(&c, protocol(t, steps...), cal, raised)
			require.Equal(t, r.due, show(item(t, pl, "release").Due))
		})
	}
}

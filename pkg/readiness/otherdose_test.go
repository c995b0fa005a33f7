package readiness_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

// signedFor is a plan of a case with one medicine whose dose the prescriber says,
// or not, and one signature.
func signedFor(t *testing.T, setsDose bool, e readiness.Entry) *readiness.Plan {
	cal := chicago(t)
	c := onPill(t, cal)
	c.Medicines[0].Rules = []*readiness.MedicineRule{{Title: "Said", Does: readiness.MedicineChoice, Decides: "the prescriber", SetsDose: setsDose}}
	c.Details[readiness.DetailLastDose("pill")] = ""
	made := doneOn(day(t, "2026-11-16"), c)
	made.Decided, made.By, made.Reason, made.Words = e.Decided, "Dr Example", e.Reason, e.Words
	c.Entries[ofPill("sign", 1)] = made
	return readiness.Make(&c, decidable(t), cal, cal.At(day(t, "2026-11-20"), 9, 0))
}

// A signature that a medicine goes on as usual does not count where the dose is the
// prescriber's to say, also one from before the rule said so: it is asked for again.
// Another dose counts, and leaves nothing of the medicine to be stopped.
func TestADoseThatThePrescriberSays(t *testing.T) {
	goOn := readiness.Entry{Decided: readiness.DecidedGoOn, Reason: "80 percent of it"}
	pl := signedFor(t, false, goOn)
	require.Equal(t, readiness.Needless, lastStates(pl)["last"])
	pl = signedFor(t, true, goOn)
	require.NotEqual(t, readiness.StateDone, lastStates(pl)["sign"])
	require.NotEqual(t, readiness.Needless, lastStates(pl)["last"])
	for _, i := range pl.Items {
		if i.Key == ofPill("sign", 1) {
			require.Equal(t, readiness.Expired, i.State)
		}
		if i.Key == ofPill("sign", 2) {
			require.Contains(t, i.Because, "the dose around surgery is the prescriber's to say")
		}
	}
	pl = signedFor(t, true, readiness.Entry{Decided: readiness.DecidedOtherDose, Words: "Half of it."})
	require.Equal(t, readiness.StateDone, lastStates(pl)["sign"])
	for _, i := range pl.Items {
		if i.Key.Step == "last" || i.Key.Step == "restart" {
			require.Equal(t, readiness.Needless, i.State)
			require.Equal(t, "Pill is taken in another dose, as Dr Example signed, in these words for the person: “Half of it.”", i.Decided)
		}
	}
}

// A rule that may fit while a fact is missing leaves the dose to the prescriber, too.
func TestWhoSaysTheDose(t *testing.T) {
	conditions, err := readiness.NewConditions([]readiness.Fact{{Name: "diabetes", Type: "boolean", Question: "whether there is diabetes"}})
	require.NoError(t, err)
	only, err := conditions.Compile("diabetes", "")
	require.NoError(t, err)
	for want, facts := range map[bool][]map[string]any{true: {nil, {"diabetes": true}}, false: {{"diabetes": false}}} {
		for _, f := range facts {
			c := readiness.Case{Facts: f, Medicines: []readiness.Medicine{{Key: "m", Rules: []*readiness.MedicineRule{{Condition: only, SetsDose: true}}}, {Key: "n", Rules: []*readiness.MedicineRule{{}}}}}
			require.Equal(t, want, c.SetsDose("m"))
			require.False(t, c.SetsDose("n"))
			require.False(t, c.SetsDose(""))
		}
	}
}

// What is signed to be taken in another dose is later than a last dose that the
// rules give, as what goes on is; another wording is another signature.
func TestAnotherDoseAgainstTheRules(t *testing.T) {
	a := readiness.MedicineAdvice{Medicine: &readiness.Medicine{Name: "Pill"}, Last: readiness.Moment{Day: day(t, "2026-11-27")}}
	require.Equal(t, a.Last, a.LaterThan(readiness.Moment{}, readiness.DecidedOtherDose))
	require.Contains(t, a.LaterWords(readiness.Moment{}, readiness.DecidedOtherDose, readiness.Moment{Day: day(t, "2026-11-30")}), "it is signed that it is taken in another dose, the rules give Fri 27 Nov 2026")
	one, two := readiness.Entry{Decided: readiness.DecidedOtherDose, Words: "Half."}, readiness.Entry{Decided: readiness.DecidedOtherDose, Words: "None."}
	require.NotEqual(t, one.SignedAs(1), two.SignedAs(1))
}

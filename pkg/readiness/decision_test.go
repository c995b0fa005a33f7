package readiness_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// decidable is a protocol with everything that repeats for a medicine: the
// signature, the last dose, what is confirmed, and the restart.
func decidable(t *testing.T) *readiness.Protocol {
	sign := step("sign", readiness.Window{Due: points(business(readiness.AnchorEarliestDose, -3))})
	sign.RepeatFor, sign.Performers, sign.Expiry.Kind, sign.Named = "medicine", nurse, readiness.ThisDate, true
	last := step("last", readiness.Window{Opens: points(days("sign", 0)), Due: points(days(readiness.AnchorLastDose, 0))})
	last.RepeatFor, last.Fixed, last.Expiry.Kind, last.PausesOnHold = "medicine", true, readiness.ThisDate, true
	restart := step("restart", window(hours(readiness.AnchorSurgery, 0), days(readiness.AnchorDischarge, 0)))
	restart.RepeatFor, restart.Need = "medicine", readiness.MustToLeave
	list := step("list", before(42, 21))
	list.ListsMedicines = true
	release := step("release", readiness.Window{})
	release.Trigger = readiness.TriggerHold
	p := protocol(t, list, sign, last, restart, release)
	p.UndatedDecision, p.Horizon = 14, 60
	p.ItemHolds = []readiness.ItemHold{{Kind: timing, Steps: []string{"last"}, Missed: "not confirmed", Later: "later than planned"}}
	return p
}

// onPill is a case with one medicine that has its last dose on Fri 27 November.
func onPill(t *testing.T, cal *calendar.Calendar) readiness.Case {
	c := surgeryOn(t, cal, theDay)
	c.Repeats = map[string][]string{"medicine": {"pill"}}
	c.Details[readiness.DetailLastDose("pill")] = "Fri 27 Nov 2026"
	c.Medicines = []readiness.Medicine{{Key: "pill", Name: "Pill", Rules: []*readiness.MedicineRule{{Title: "Two days", Does: readiness.MedicineHold, Hold: held(2, readiness.Days)}}}}
	c.Entries = map[readiness.Key]readiness.Entry{}
	return c
}

func ofPill(step string, round int) readiness.Key {
	return readiness.Key{Step: step, Repeat: "pill", Round: round}
}

// lastStates are the states of the last round of each step.
func lastStates(pl *readiness.Plan) map[string]readiness.ItemState {
	out := map[string]readiness.ItemState{}
	for _, i := range pl.Items {
		out[i.Key.Step] = i.State
	}
	return out
}

// What a decision makes of the items of its medicine, and whether its timing may
// still hold the case: every row is asked on the Saturday after the day of the
// last dose that the rules give.
func TestWhatADecisionLeavesToDo(t *testing.T) {
	cal := chicago(t)
	const on, off = readiness.Upcoming, readiness.Needless
	signed := func(d readiness.Decision, f ...func(*readiness.Entry)) map[readiness.Key]readiness.Entry {
		c := onPill(t, cal)
		e := doneOn(day(t, "2026-11-16"), c)
		e.Decided, e.By, e.Reason = d, "Dr Example", "a valve"
		for _, change := range f {
			change(&e)
		}
		return map[readiness.Key]readiness.Entry{ofPill("sign", 1): e}
	}
	with := func(m map[readiness.Key]readiness.Entry, step string, e readiness.Entry) map[readiness.Key]readiness.Entry {
		m[ofPill(step, 1)] = e
		return m
	}
	taken := func(on string) readiness.Entry { return doneOn(day(t, on), onPill(t, cal)) }
	failed := taken("2026-11-20")
	failed.Outcome = readiness.Failed
	otherDay := func(e *readiness.Entry) { e.For[readiness.DetailDate] = "2026-11-23" }
	otherAdvice := func(e *readiness.Entry) { e.For[readiness.DetailLastDose("pill")] = "Mon 23 Nov 2026" }
	goOn, none := readiness.DecidedGoOn, readiness.DecidedNotTaken
	for _, r := range []struct {
		name                string
		entries             map[readiness.Key]readiness.Entry
		sign, last, restart readiness.ItemState
		holds               bool
	}{
		{"nobody signed", nil, readiness.Late, readiness.Missed, on, true},
		{"signed as advised, not confirmed", signed(readiness.DecidedLastDose), readiness.StateDone, readiness.Missed, on, true},
		{"it goes on", signed(goOn), readiness.StateDone, off, off, false},
		{"it is not taken", signed(none), readiness.StateDone, off, off, false},
		{"it goes on, for another date", signed(goOn, otherDay), readiness.Late, readiness.Missed, on, true},
		{"it goes on, when the rules gave another day", signed(goOn, otherAdvice), readiness.Late, readiness.Missed, on, true},
		{"it goes on, and the signature failed", signed(goOn, func(e *readiness.Entry) { e.Outcome = readiness.Failed }), readiness.Missed, readiness.Missed, on, true},
		{"it goes on, and the signature was taken back", signed(goOn, func(e *readiness.Entry) { e.Outcome = readiness.NoOutcome }), readiness.Late, readiness.Missed, on, true},
		{"it goes on, and the last dose failed before", with(signed(goOn), "last", failed), readiness.StateDone, off, off, false},
		{"it goes on, and a person said that it applies", with(signed(goOn), "last", readiness.Entry{Outcome: readiness.Applies}), readiness.StateDone, off, off, false},
		{"it goes on, and the last dose was taken already", with(signed(goOn), "last", taken("2026-11-20")), readiness.StateDone, readiness.StateDone, on, false},
		{"on a step that signs nothing", map[readiness.Key]readiness.Entry{ofPill("restart", 1): {Outcome: readiness.Waived, Decided: goOn}}, readiness.Late, readiness.Missed, readiness.StateWaived, true},
	} {
		t.Run(r.name, func(t *testing.T) {
			p, c := decidable(t), onPill(t, cal)
			c.Entries = r.entries
			now := clock(t, cal, "2026-11-28 09:00")
			pl := readiness.Make(&c, p, cal, now)
			got := lastStates(pl)
			require.Equal(t, []readiness.ItemState{r.sign, r.last, r.restart}, []readiness.ItemState{got["sign"], got["last"], got["restart"]})
			grounds, _ := readiness.ItemGrounds(pl, &c, p, cal, now)
			require.Equal(t, r.holds, len(grounds) > 0)
		})
	}
}

// The plan says in plain words who signed and why, on each item and on the list.
func TestADecisionInWords(t *testing.T) {
	cal := chicago(t)
	for _, r := range []struct {
		decided     readiness.Decision
		by, why     string
		says, lists string
	}{
		{readiness.DecidedGoOn, "Dr Example", "a valve.", "Pill goes on as usual before surgery, as Dr Example signed: a valve.", "Pill: goes on as usual before surgery, as Dr Example signed: a valve."},
		{readiness.DecidedNotTaken, "", "", "Pill is not taken, as a named prescriber signed.", "Pill: is not taken, as a named prescriber signed."},
	} {
		p, c := decidable(t), onPill(t, cal)
		e := doneOn(day(t, "2026-11-16"), c)
		e.Decided, e.By, e.Reason = r.decided, r.by, r.why
		c.Entries[ofPill("sign", 1)] = e
		pl := readiness.Make(&c, p, cal, clock(t, cal, "2026-11-17 09:00"))
		require.Equal(t, r.says, item(t, pl, "last").Decided)
		require.Empty(t, item(t, pl, "sign").Decided)
		require.Equal(t, r.lists+" The rules say:", item(t, pl, "sign").Advice[0])
		require.Contains(t, item(t, pl, "list").Advice, r.lists)
	}
}

// Which step signs for a medicine, and which is its last dose.
func TestWhichStepSigns(t *testing.T) {
	for _, r := range []struct {
		name         string
		named        bool
		repeat       string
		anchor       string
		signs, takes bool
	}{
		{"with a name, for a medicine, by its earliest last dose", true, "medicine", readiness.AnchorEarliestDose, true, false},
		{"without a name", false, "medicine", readiness.AnchorEarliestDose, false, false},
		{"for no medicine", true, "", readiness.AnchorEarliestDose, false, false},
		{"by the last dose itself", true, "medicine", readiness.AnchorLastDose, false, true},
		{"by a last dose, for no medicine", false, "", readiness.AnchorLastDose, false, false},
		{"by surgery", true, "medicine", readiness.AnchorSurgery, false, false},
	} {
		s := step("s", readiness.Window{Due: points(days(r.anchor, 0))})
		s.Named, s.RepeatFor = r.named, r.repeat
		require.Equal(t, []bool{r.signs, r.takes}, []bool{s.SignsLastDose(), s.TakesLastDose()}, r.name)
	}
}

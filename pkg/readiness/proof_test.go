package readiness_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// shown plans one step for surgery on theDay with records that show it was done.
func shown(t *testing.T, st readiness.Step, entries map[readiness.Key]readiness.Entry, days ...string) []readiness.Item {
	cal := chicago(t)
	c := surgeryOn(t, cal, theDay)
	c.Booked = clock(t, cal, "2026-10-06 10:00")
	c.Entries = entries
	for _, d := range days {
		c.Proofs = proofsOf(c.Proofs, st.Code, d, day(t, d))
	}
	return readiness.Make(&c, protocol(t, st), cal, clock(t, cal, "2026-11-20 09:00")).Items
}

func proofsOf(have map[readiness.Key][]readiness.Proof, step, name string, on calendar.Date) map[readiness.Key][]readiness.Proof {
	if have == nil {
		have = map[readiness.Key][]readiness.Proof{}
	}
	key := readiness.Key{Step: step}
	have[key] = append(have[key], readiness.Proof{Record: "Observation/" + name, On: on})
	return have
}

// What records show, for surgery on Monday 30 November 2026, booked on 6 October
// and looked at on 20 November. A result of 31 October is 30 days old on the day
// of surgery.
func TestProofs(t *testing.T) {
	thirty := with(step("s", before(42, 7)), func(s *readiness.Step) { s.Expiry = readiness.Expiry{Kind: readiness.ExpiresAfter, Days: 30} })
	thisDate := with(step("s", before(14, 10)), func(s *readiness.Step) { s.Expiry = readiness.Expiry{Kind: readiness.ThisDate} })
	never := step("s", before(42, 14))
	after := step("s", window(days(readiness.AnchorSurgery, 10), days(readiness.AnchorSurgery, 14)))
	for _, r := range []struct {
		name   string
		step   readiness.Step
		days   []string
		states []readiness.ItemState
		record string // of the first round
	}{
		{"none", thirty, nil, []readiness.ItemState{readiness.Open}, ""},
		{"30 days old on the day", thirty, []string{"2026-10-31"}, []readiness.ItemState{readiness.StateDone}, "2026-10-31"},
		{"31 days old: shown as what must be done again", thirty, []string{"2026-10-30"}, []readiness.ItemState{readiness.Expired, readiness.Open}, "2026-10-30"},
		{"could have counted when it was booked", thirty, []string{"2026-09-06"}, []readiness.ItemState{readiness.Expired, readiness.Open}, "2026-09-06"},
		{"could never have counted", thirty, []string{"2026-09-05"}, []readiness.ItemState{readiness.Open}, ""},
		{"the newest that counts", thirty, []string{"2026-11-03", "2026-11-12", "2026-11-05"}, []readiness.ItemState{readiness.StateDone}, "2026-11-12"},
		{"too old, and done again", thirty, []string{"2026-11-12", "2026-10-01"}, []readiness.ItemState{readiness.Expired, readiness.StateDone}, "2026-10-01"},
		{"of tomorrow: not yet", thirty, []string{"2026-11-21"}, []readiness.ItemState{readiness.Open}, ""},
		{"today", thirty, []string{"2026-11-20"}, []readiness.ItemState{readiness.StateDone}, "2026-11-20"},
		{"in the window of this date", thisDate, []string{"2026-11-16"}, []readiness.ItemState{readiness.StateDone}, "2026-11-16"},
		{"before the window of this date", thisDate, []string{"2026-11-15"}, []readiness.ItemState{readiness.Expired, readiness.Due}, "2026-11-15"},
		{"years ago, and it never expires", never, []string{"2019-05-02"}, []readiness.ItemState{readiness.StateDone}, "2019-05-02"},
		{"before the operation, of what follows it", after, []string{"2026-11-19"}, []readiness.ItemState{readiness.Expired, readiness.Upcoming}, "2026-11-19"},
	} {
		t.Run(r.name, func(t *testing.T) {
			items := shown(t, r.step, nil, r.days...)
			var states []readiness.ItemState
			for _, i := range items {
				states = append(states, i.State)
			}
			require.Equal(t, r.states, states)
			record := ""
			if r.record != "" {
				record = "Observation/" + r.record
			}
			require.Equal(t, record, items[0].Entry.Record)
			if r.states[0] == readiness.Expired {
				require.NotEmpty(t, items[1].Because)
				require.Equal(t, 1, items[1].Replaces)
				require.NotEqual(t, record, items[1].Entry.Record, "shown once")
			}
		})
	}
}

// What a person says goes before what a record shows.
func TestProofAgainstAPersonsWord(t *testing.T) {
	st := step("s", before(42, 14))
	key := readiness.Key{Step: "s", Round: 1}
	for _, r := range []struct {
		name   string
		entry  readiness.Entry
		state  readiness.ItemState
		record string
	}{
		{"done on another day", readiness.Entry{Outcome: readiness.Done, On: day(t, "2026-11-10")}, readiness.StateDone, ""},
		{"could not be done", readiness.Entry{Outcome: readiness.Failed, Reason: "ill"}, readiness.Missed, ""},
		{"waived", readiness.Entry{Outcome: readiness.Waived, Reason: "has done it twice"}, readiness.StateWaived, ""},
		{"it applies: still to be done, and a record shows it", readiness.Entry{Outcome: readiness.Applies}, readiness.StateDone, "Observation/2026-11-03"},
		{"the record is not accepted", readiness.Entry{Against: "Observation/2026-11-03"}, readiness.Late, ""},
	} {
		t.Run(r.name, func(t *testing.T) {
			items := shown(t, st, map[readiness.Key]readiness.Entry{key: r.entry}, "2026-11-03")
			require.Len(t, items, 1)
			require.Equal(t, r.state, items[0].State)
			require.Equal(t, r.record, items[0].Entry.Record)
		})
	}
	t.Run("a newer record stands beside one that is not accepted", func(t *testing.T) {
		items := shown(t, st, map[readiness.Key]readiness.Entry{key: {Against: "Observation/2026-11-12"}}, "2026-11-03", "2026-11-12")
		require.Equal(t, "Observation/2026-11-03", items[0].Entry.Record)
	})
	t.Run("what a person did for an earlier date is asked again, and a record answers", func(t *testing.T) {
		again := with(st, func(s *readiness.Step) { s.Expiry = readiness.Expiry{Kind: readiness.ExpiresAfter, Days: 30} })
		old := readiness.Entry{Outcome: readiness.Done, On: day(t, "2026-10-20")}
		items := shown(t, again, map[readiness.Key]readiness.Entry{key: old}, "2026-11-12")
		require.Len(t, items, 2)
		require.Equal(t, readiness.Expired, items[0].State)
		require.Equal(t, readiness.StateDone, items[1].State)
		require.Equal(t, "Observation/2026-11-12", items[1].Entry.Record)
	})
}

// A form that is filled in for each of several checks says nothing of the check
// whose window it lies before.
func TestProofInItsWindowOnly(t *testing.T) {
	cal := chicago(t)
	st := with(step("s", before(14, 10)), func(s *readiness.Step) { s.Expiry = readiness.Expiry{Kind: readiness.ThisDate} })
	for _, r := range []struct {
		name   string
		days   []string
		states []readiness.ItemState
	}{
		{"before the window", []string{"2026-11-15"}, []readiness.ItemState{readiness.Due}},
		{"on its first day", []string{"2026-11-16"}, []readiness.ItemState{readiness.StateDone}},
		{"before it and in it", []string{"2026-11-15", "2026-11-18"}, []readiness.ItemState{readiness.StateDone}},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := surgeryOn(t, cal, theDay)
			c.Booked = clock(t, cal, "2026-10-06 10:00")
			key := readiness.Key{Step: "s"}
			c.Proofs = map[readiness.Key][]readiness.Proof{}
			for _, d := range r.days {
				c.Proofs[key] = append(c.Proofs[key], readiness.Proof{Record: "QuestionnaireResponse/" + d, On: day(t, d), InTime: true})
			}
			var states []readiness.ItemState
			for _, i := range readiness.Make(&c, protocol(t, st), cal, clock(t, cal, "2026-11-20 09:00")).Items {
				states = append(states, i.State)
			}
			require.Equal(t, r.states, states)
		})
	}
}

// A record of a day that is still to come says nothing before that day, and the
// plan is made again when it comes.
func TestRecordOfADayToCome(t *testing.T) {
	cal := chicago(t)
	c := surgeryOn(t, cal, "2026-11-30")
	c.Proofs = map[readiness.Key][]readiness.Proof{{Step: "visit"}: {{Record: "Encounter/e", On: day(t, "2026-11-12")}}}
	p := protocol(t, step("visit", before(30, 7)))
	pl := readiness.Make(&c, p, cal, clock(t, cal, "2026-11-11 09:00"))
	require.Equal(t, readiness.Open, item(t, pl, "visit").State)
	require.Equal(t, clock(t, cal, "2026-11-12 00:00"), pl.NextChange)
	pl = readiness.Make(&c, p, cal, pl.NextChange)
	require.Equal(t, readiness.StateDone, item(t, pl, "visit").State)
}

// What a person found out about a condition is not forgotten because a record
// shows that the step was done.
func TestRecordOfAStepFoundToApply(t *testing.T) {
	cal := chicago(t)
	visit := step("visit", before(30, 7))
	visit.Condition = condition(t, "pets")
	c := surgeryOn(t, cal, "2026-11-30")
	c.Entries = entries(map[string]readiness.Entry{"visit": {Outcome: readiness.Applies}})
	c.Proofs = map[readiness.Key][]readiness.Proof{{Step: "visit"}: {{Record: "Encounter/e", On: day(t, "2026-11-10")}}}
	i := item(t, readiness.Make(&c, protocol(t, visit), cal, clock(t, cal, "2026-11-11 09:00")), "visit")
	require.Equal(t, readiness.StateDone, i.State)
	require.Equal(t, readiness.Yes, i.Applies)
	require.Empty(t, i.Needs)
}

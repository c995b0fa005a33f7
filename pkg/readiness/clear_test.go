package readiness_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/calendar"
	"example.org/countback/pkg/readiness"
)

// What a hold says once its record has changed, with surgery on 30 November 2026
// and today the 20th: never that something stands in the way which does not any
// more, and always that a person still has to release it. Oral surgery with 21
// days before and three months after: American Academy of Orthopaedic Surgeons,
// November 2024 (secondary); fourteen days after an illness like a cold: common
// practice, no source.
func TestWordsFollowTheRecord(t *testing.T) {
	d := calendar.NewDate
	surgery, today := d(2026, 11, 30), d(2026, 11, 20)
	tooth := func(day calendar.Date) readiness.Ground {
		return readiness.Ground{Says: "oral surgery", Day: day, After: readiness.Offset{N: 21}, NotBefore: readiness.Offset{N: 3, Unit: readiness.Months}}
	}
	cold := func(day calendar.Date) readiness.Ground {
		return readiness.Ground{Says: "a cold", Day: day, After: readiness.Offset{N: 14}}
	}
	const may = ", and a named person may release the hold"
	for _, r := range []struct {
		name   string
		ground readiness.Ground
		clear  calendar.Date // first day of surgery
		words  string
	}{
		{"moved to the day before three months after", tooth(d(2027, 2, 27)), d(2027, 3, 20), "oral surgery planned for Sat 27 Feb 2027: surgery from Sat 20 Mar 2027, or it waits until 3 months after surgery"},
		{"moved to three months after", tooth(d(2027, 2, 28)), surgery, "oral surgery planned for Sun 28 Feb 2027: it waits until 3 months after surgery on Mon 30 Nov 2026" + may},
		{"moved to the day of surgery", tooth(surgery), d(2026, 12, 21), "oral surgery planned for Mon 30 Nov 2026: surgery from Mon 21 Dec 2026, or it waits until 3 months after surgery"},
		{"moved to the day before surgery", tooth(d(2026, 11, 29)), d(2026, 12, 20), "oral surgery planned for Sun 29 Nov 2026: surgery from Sun 20 Dec 2026, or it waits until 3 months after surgery"},
		{"done 20 days before", tooth(d(2026, 11, 10)), d(2026, 12, 1), "oral surgery of Tue 10 Nov 2026: surgery from Tue 1 Dec 2026 (21 days)"},
		{"done 21 days before", tooth(d(2026, 11, 9)), surgery, "oral surgery of Mon 9 Nov 2026: surgery from Mon 30 Nov 2026 (21 days); that is clear of surgery on Mon 30 Nov 2026" + may},
		{"to come, and in time", readiness.Ground{Says: "minor work", Day: d(2026, 11, 29), After: readiness.Offset{N: 1}, NotBefore: readiness.Offset{N: 3, Unit: readiness.Months}}, surgery, "minor work planned for Sun 29 Nov 2026: if it is done then, surgery may be from Mon 30 Nov 2026; that is clear of surgery on Mon 30 Nov 2026" + may},
		{"on the day of surgery, with no days to keep", readiness.Ground{Says: "a look", Day: surgery, NotBefore: readiness.Offset{N: 1}}, surgery, "a look planned for Mon 30 Nov 2026: if it is done then, surgery may be from Mon 30 Nov 2026; that is clear of surgery on Mon 30 Nov 2026" + may},
		{"over today, and in time", readiness.Ground{Says: "a fever", Day: today, After: readiness.Offset{N: 7}}, d(2026, 11, 27), "a fever of Fri 20 Nov 2026: surgery from Fri 27 Nov 2026 (7 days); that is clear of surgery on Mon 30 Nov 2026" + may},
		{"over 13 days before", cold(d(2026, 11, 17)), d(2026, 12, 1), "a cold of Tue 17 Nov 2026: surgery from Tue 1 Dec 2026 (14 days)"},
		{"over 14 days before", cold(d(2026, 11, 16)), surgery, "a cold of Mon 16 Nov 2026: surgery from Mon 30 Nov 2026 (14 days); that is clear of surgery on Mon 30 Nov 2026" + may},
		{"it goes on", readiness.Ground{Says: "a cold", Active: true}, 0, "a cold, and nobody has said when it is over: from when surgery may be cannot be computed"},
		{"withdrawn", readiness.Ground{Says: "a cold", Withdrawn: true, Day: d(2026, 11, 2)}, 0, "a cold, which was withdrawn"},
	} {
		t.Run(r.name, func(t *testing.T) {
			r.ground.Kind, r.ground.Record = "k", "a"
			h := readiness.Hold{Kind: "k", Records: []string{"a"}}
			grounds := []readiness.Ground{r.ground}
			require.Equal(t, r.words, h.Words(grounds, surgery, today))
			require.Equal(t, r.clear, h.Clear(grounds, surgery))
			c, p := readiness.Case{Day: surgery}, holdProtocol(t)
			h.Key, h.Raised = "k", holdNow
			if !r.ground.Withdrawn {
				require.True(t, readiness.Holds([]readiness.Hold{h}, grounds, &c, p, holdNow)[0].Open(), "only a person releases it")
			}
		})
	}
	require.Contains(t, (&readiness.Hold{Kind: "k", Records: []string{"a"}}).Words(nil, surgery, today), "called off", "a visit that is cancelled")
	require.Equal(t, "oral surgery planned for Sun 28 Feb 2027: surgery from Sun 21 Mar 2027, or it waits until 3 months after surgery",
		(&readiness.Hold{Kind: "k", Records: []string{"a"}}).Words([]readiness.Ground{func() readiness.Ground { g := tooth(d(2027, 2, 28)); g.Kind, g.Record = "k", "a"; return g }()}, 0, today), "no day of surgery")
}

// What an open hold lets wait. By this project's protocol medicine-timing and
// evidence-missing pause nothing that clears them: the item itself may be done,
// and all else that pauses waits, as the arrival call and the fasting do.
func TestWhatAHoldOnAnItemPauses(t *testing.T) {
	for _, r := range []struct {
		name    string
		records []string
		paused  map[string]bool
	}{
		{"evidence is missing: its own step", []string{"item:evidence/"}, map[string]bool{"evidence": false, "arrival": true, "fasting": true}},
		{"a step that clears and one that does not", []string{"item:arrival/"}, map[string]bool{"evidence": true, "arrival": false, "fasting": true}},
		{"an illness beside it: nothing clears that", []string{"item:evidence/", "Condition/1"}, map[string]bool{"evidence": true, "arrival": true, "fasting": true}},
	} {
		for _, kind := range []string{"evidence", "timing"} {
			t.Run(r.name+", "+kind, func(t *testing.T) {
				cal := chicago(t)
				steps := []readiness.Step{step("goes-on", before(3, 1))}
				for code := range r.paused {
					s := step(code, before(3, 1))
					s.PausesOnHold = true
					steps = append(steps, s)
				}
				p := protocol(t, steps...)
				p.ItemHolds = []readiness.ItemHold{{Kind: "evidence", Missed: "not done", Supplied: true}, {Kind: "timing", Missed: "not done"}}
				c := surgeryOn(t, cal, theDay)
				c.Holds = []readiness.Hold{{Key: kind, Kind: kind, Raised: holdNow, Records: r.records}}
				c.Hold(p)
				pl := readiness.Make(&c, p, cal, clock(t, cal, "2026-11-20 09:00"))
				for n := range pl.Items {
					i := &pl.Items[n]
					require.Equal(t, r.paused[i.Key.Step], i.State == readiness.Paused, i.Key.Step)
				}
				require.Equal(t, readiness.CaseHeld, pl.State)
			})
		}
	}
}

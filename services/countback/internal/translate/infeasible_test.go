package translate

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/readiness"
)

func words(f Facility, p *Protocol, c *readiness.Case, t *testing.T, now string) string {
	pl := readiness.Make(c, p.Protocol, f.Calendar, f.clock(t, now))
	var out []string
	for _, r := range pl.Infeasible {
		out = append(out, infeasible(pl, r, p))
	}
	return strings.Join(out, "\n")
}

// Surgery is on Mon 30 Nov 2026, or on Tue 1 Dec where it says so. The days are counted by hand.
func TestWordsOfWhatCannotBeMet(t *testing.T) {
	f := chicago(t)
	point := func(anchor string, n int) []readiness.Point {
		return []readiness.Point{{Anchor: anchor, Offset: readiness.Offset{N: n}}}
	}
	surgery := readiness.AnchorSurgery
	patient := []readiness.Performer{{Role: "patient", Kind: readiness.Patient}}
	step := func(code, title string, opens, due []readiness.Point) readiness.Step {
		return readiness.Step{Code: code, Title: title, Performers: patient, Need: readiness.Must, Window: readiness.Window{Opens: opens, Due: due}}
	}
	swab := step("swab", "Swab", point(surgery, -30), point(surgery, -10))
	treat := step("treat", "Treatment", point("swab", 14), point(surgery, -1))
	check := step("check", "Check", point("treat", 1), point(surgery, -1))
	ask := step("ask", "Questions", point(surgery, -30), point(surgery, -2))
	same := step("same", "Answers", point("ask", 0), point(surgery, -3))
	last := point(surgery, -2)[0]
	same.Last = &last
	visit := step("visit", "Visit", []readiness.Point{{Anchor: surgery, Offset: readiness.Offset{N: -1, Unit: readiness.BusinessDays}}}, point(surgery, -1))
	report := step("report", "Report", point("visit", 1), point(surgery, -1))
	for _, r := range []struct {
		name, now string
		steps     []readiness.Step
		want      string
	}{
		{"its own last day", "2026-11-30 06:00", []readiness.Step{swab},
			"“Swab” can no longer be done in time: its last day was Sun 29 Nov 2026 (the day before surgery); Mon 30 Nov 2026 is 1 day too late."},
		{"one follows 14 days later", "2026-11-17 09:00", []readiness.Step{treat, swab},
			"“Swab” had to be done by Sun 15 Nov 2026, so that “Treatment” could follow by Sun 29 Nov 2026 (1 day before surgery), 14 days later; Tue 17 Nov 2026 is 2 days too late."},
		{"a chain", "2026-11-15 00:00", []readiness.Step{check, treat, swab},
			"“Swab” had to be done by Sat 14 Nov 2026, so that “Treatment” and then “Check” could follow by Sun 29 Nov 2026 (1 day before surgery), 15 days later; Sun 15 Nov 2026 is 1 day too late."},
		{"on the same day", "2026-11-29 09:00", []readiness.Step{ask, same},
			"“Questions” had to be done by Sat 28 Nov 2026, so that “Answers” could follow by Sat 28 Nov 2026 (2 days before surgery); Sun 29 Nov 2026 is 1 day too late."},
		{"it opens too late by itself, before a Tuesday", "2026-11-17 09:00", []readiness.Step{visit, report},
			"“Visit” had to be done by Sun 29 Nov 2026, so that “Report” could follow by Mon 30 Nov 2026 (1 day before surgery), 1 day later; it cannot be done before Mon 30 Nov 2026, 1 day too late."},
	} {
		t.Run(r.name, func(t *testing.T) {
			inner, err := readiness.NewProtocol(readiness.Protocol{Steps: r.steps})
			require.NoError(t, err)
			c := f.hipOn(t, onS)
			if strings.HasSuffix(r.name, "Tuesday") {
				c = f.hipOn(t, "2026-12-01 07:30")
			}
			require.Equal(t, r.want, words(f, &Protocol{Protocol: inner}, &c, t, r.now))
		})
	}
}

// Warfarin's last dose for Wed 2 Dec 2026 is on Thu 26 Nov, after which five days
// are free of it: the list of medicines has to be done by then.
func TestWordsOfAMedicineInTheWay(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	b := only(t, p, f, appointment(t, "a", "2026-12-02", hipService), statement(t, "m", rx("11289", "Warfarin")))
	b.Case.Booked = f.clock(t, "2026-11-23 10:00")
	require.Contains(t, words(f, p, &b.Case, t, "2026-11-30 09:00"),
		"“List of all medicines” had to be done by Thu 26 Nov 2026, so that “Prescriber signs the plan for a medicine” and then “Last dose of a medicine” could follow by Thu 26 Nov 2026 (Warfarin: last dose by Thu 26 Nov 2026); Mon 30 Nov 2026 is 4 days too late.")
	pl := readiness.Make(&b.Case, p.Protocol, f.Calendar, f.clock(t, "2026-11-23 12:00"))
	soon := strings.Join(f.summary(PlanView{Booking: &b, Plan: pl}, p), "\n")
	require.Contains(t, soon, "Surgery needs by Wed 25 Nov 2026 “List of all medicines”; by Mon 30 Nov 2026 “Blood tests before surgery”;", "the nurse is not there on Thanksgiving Day")
}

// What was first asked after the operation was not needed for it, and is told apart.
func TestWordsOnceTheOperationHasBegun(t *testing.T) {
	f := chicago(t)
	raised := []readiness.Point{{Anchor: readiness.AnchorRaised}}
	nurse := []readiness.Performer{{Role: "nurse"}}
	inner, err := readiness.NewProtocol(readiness.Protocol{Stays: []readiness.Stay{{Code: "same-day", At: readiness.ClockTime{Hour: 18}, Default: true}}, Steps: []readiness.Step{
		{Code: "swab", Title: "Swab", Performers: nurse, Need: readiness.Must, Window: readiness.Window{Due: []readiness.Point{{Anchor: readiness.AnchorSurgery, Offset: readiness.Offset{N: -10}}}}},
		{Code: "wound", Title: "Wound", Performers: nurse, Need: readiness.Must, Trigger: "wound-heard-of", Window: readiness.Window{Opens: raised, Due: raised}},
	}})
	require.NoError(t, err)
	p := &Protocol{Protocol: inner}
	const (
		swab  = "Needed before surgery, and nobody recorded in time that they were done: “Swab”."
		wound = "These were asked from the day of surgery on, and it is recorded that they could not be done: “Wound”."
	)
	for _, r := range []struct {
		name, now, heard string
		done             bool // the swab
		want             []string
	}{
		{"in hospital", "2026-11-30 12:00", "", false, []string{swab}},
		{"at home", "2026-12-03 12:00", "", false, []string{swab}},
		{"at home, and a wound was heard of", "2026-12-03 12:00", "2026-12-03 09:00", false, []string{swab, wound}},
		{"the wound alone", "2026-12-03 12:00", "2026-12-03 09:00", true, []string{wound}},
		{"nothing", "2026-12-03 12:00", "", true, nil},
	} {
		t.Run(r.name, func(t *testing.T) {
			c := f.hipOn(t, onS)
			c.Entries = map[readiness.Key]readiness.Entry{}
			if r.done {
				c.Entries[readiness.Key{Step: "swab", Round: 1}] = readiness.Entry{Outcome: readiness.Done, On: date(t, "2026-11-12"), For: c.Snapshot()}
			}
			if r.heard != "" {
				c.Raised = []readiness.Raised{{Trigger: "wound-heard-of", Key: "k", At: f.clock(t, r.heard)}}
				c.Entries[readiness.Key{Step: "wound", Repeat: "k", Round: 1}] = readiness.Entry{Outcome: readiness.Failed, For: c.Snapshot()}
			}
			c.Arrived = f.clock(t, "2026-11-30 06:00")
			if r.name != "in hospital" {
				c.Left = f.clock(t, "2026-11-30 18:00")
			}
			require.Equal(t, r.want, notMet(readiness.Make(&c, p.Protocol, f.Calendar, f.clock(t, r.now)), p))
		})
	}
}

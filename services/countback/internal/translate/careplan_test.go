package translate

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"example.org/countback/pkg/fhir"
	"example.org/countback/pkg/readiness"
)

// view is a plan of the kept protocol, as it is rendered.
func view(t *testing.T, f Facility, p *Protocol, now string, change func(*Booking)) PlanView {
	t.Helper()
	w := newWorld(t, f, p, now)
	b := &Booking{
		Primary: "Appointment/a", Members: []string{"Appointment/a", "Procedure/o", "ServiceRequest/s"},
		Patient: "Patient/p", Meets: true, Opens: true, Case: w.c,
	}
	if change != nil {
		change(b)
	}
	pl := readiness.Make(&b.Case, p.Protocol, f.Calendar, w.now)
	v := PlanView{CaseID: "case-1", Booking: b, Plan: pl, Created: f.clock(t, "2026-10-01 15:00")}
	for n := range pl.Items {
		v.Tasks = append(v.Tasks, fmt.Sprintf("task-%d", n+1))
	}
	return v
}

// examplePlans is a plan in every case state, and with every reason.
func examplePlans(t *testing.T, f Facility, p *Protocol) map[string]PlanView {
	out := map[string]PlanView{}
	add := func(name, now string, change func(*Booking)) { out[name] = view(t, f, p, now, change) }
	entry := func(step string, o readiness.Outcome) func(*Booking) {
		return func(b *Booking) {
			on := map[string]string{"fluids": "2026-11-30", "call": "2026-11-27", "ring": "2026-12-02"}[step]
			if on == "" {
				on = "2026-11-12"
			}
			b.Case.Entries[readiness.Key{Step: step, Round: 1}] = readiness.Entry{Outcome: o, On: date(t, on), For: b.Case.Snapshot()}
		}
	}
	all := func(b *Booking) {
		b.Case.Facts["has_pets"] = false
		for _, step := range []string{"visit", "fluids", "call", "practise", "ring"} {
			entry(step, readiness.Done)(b)
		}
	}
	add("on-track", "2026-11-10 09:00", nil)
	add("ready", "2026-11-28 09:00", all)
	add("behind", "2026-11-24 09:00", nil)
	add("infeasible", "2026-11-30 00:00", func(b *Booking) { entry("visit", readiness.Done)(b) })
	add("infeasible-failed", "2026-11-20 09:00", entry("visit", readiness.Failed))
	add("infeasible-booked-too-late", "2026-11-30 06:00", func(b *Booking) {
		all(b)
		delete(b.Case.Entries, readiness.Key{Step: "fluids", Round: 1})
		b.Case.Booked = f.clock(t, "2026-12-01 09:00")
	})
	hold := func(name, kind, words string) {
		v := out[name]
		v.Holds = []HoldView{
			{Row: HoldRow{ID: "flag-1", Kind: kind}, Kind: p.Kind(kind), Words: words},
			{Row: HoldRow{ID: "flag-0", Kind: kind}, Kind: p.Kind(kind), Words: words, Ended: "Released by Maud Fennimore: looked at."},
		}
		out[name] = v
	}
	add("held", "2026-11-10 09:00", func(b *Booking) { b.Case.Held = true })
	hold("held", "recent-infection", "a urinary infection with symptoms of Mon 2 Nov 2026: surgery from Mon 9 Nov 2026 (7 days)")
	add("no-date", "2026-11-10 09:00", func(b *Booking) { b.Case.Held = true; b.Case.Day = 0; b.Case.Start = b.Case.Left })
	hold("no-date", readiness.KindNoDate, "the booking has no confirmed date")
	add("arrived", "2026-11-30 09:00", all)
	add("home", "2026-12-01 12:00", func(b *Booking) { all(b); delete(b.Case.Entries, readiness.Key{Step: "ring", Round: 1}) })
	add("closed", "2026-12-01 12:00", all)
	add("cancelled", "2026-11-10 09:00", func(b *Booking) { b.Case.Ending = readiness.Cancelled })
	add("inferred-and-unclear", "2026-11-10 09:00", func(b *Booking) {
		b.Links = []Link{{From: "Appointment/a", To: "Procedure/o", Rule: LinkInferred}}
		b.Case.Raised = []readiness.Raised{{Trigger: TriggerUnclear, Key: "Appointment/a", At: f.clock(t, "2026-11-09 09:00"), Why: "It is not clear which procedure belongs to this booking; none was linked and a person is asked."}}
	})
	add("partial-both-sides", "2026-11-10 09:00", func(b *Booking) {
		b.Case.Facts = map[string]any{"joint": "knee", "side": "both", "extent": "partial"}
	})
	return out
}

func TestCarePlanGoldens(t *testing.T) {
	f, p := chicago(t), keptProtocol(t)
	statuses := map[readiness.CaseState]string{
		readiness.CaseCancelled: "revoked", readiness.CaseClosed: "completed", readiness.CaseHeld: "on-hold",
	}
	seen := map[readiness.CaseState]bool{}
	for name, v := range examplePlans(t, f, p) {
		seen[v.Plan.State] = true
		t.Run(name, func(t *testing.T) {
			body, err := f.CarePlan(v, p)
			require.NoError(t, err)
			c := parse(t, body)
			golden(t, "careplan/"+name+".json", pretty(t, body))

			want := statuses[v.Plan.State]
			if want == "" {
				want = "active"
			}
			require.Equal(t, want, c.String("status"))
			require.True(t, strings.HasPrefix(name, string(v.Plan.State)) || name == "no-date" || name == "inferred-and-unclear" || name == "partial-both-sides", "%s is %s", name, v.Plan.State)
			require.Equal(t, len(v.Plan.Items), c.Get("activity").Len())
			require.Contains(t, c.String("description"), Caution)
			require.Contains(t, c.String("description"), ExampleNotice)
			require.Contains(t, c.String("text", "div"), "local emergency number")
		})
	}
	require.Len(t, seen, 9, "a plan in every case state")
}

// Once a named approver has signed, no plan says that nobody has.
func TestApprovedPlan(t *testing.T) {
	f, p := chicago(t), keptProtocol(t)
	signed := *p.Protocol
	signed.Approved = true
	approved := *p
	approved.Protocol = &signed
	body, err := f.CarePlan(view(t, f, p, "2026-11-10 09:00", nil), &approved)
	require.NoError(t, err)
	require.NotContains(t, string(body), ExampleNotice)
	require.Contains(t, parse(t, body).String("description"), Caution)
}

// Text that people wrote is shown as text.
func TestNarrativeIsEscaped(t *testing.T) {
	f, p := chicago(t), keptProtocol(t)
	named := *p.Protocol
	named.Title = `<script>"hip" & 'knee'</script>`
	other := *p
	other.Protocol = &named
	body, err := f.CarePlan(view(t, f, p, "2026-11-10 09:00", nil), &other)
	require.NoError(t, err)
	div := parse(t, body).String("text", "div")
	require.NotContains(t, div, "<script>")
	require.Contains(t, div, "&lt;script&gt;")
	sheet, err := f.Sheet(body, nil)
	require.NoError(t, err)
	require.NotContains(t, sheet.Headline, "&")
}

func TestSamePlanSameBytes(t *testing.T) {
	f, p := chicago(t), keptProtocol(t)
	for name, v := range examplePlans(t, f, p) {
		one, err := f.CarePlan(v, p)
		require.NoError(t, err)
		two, err := f.CarePlan(examplePlans(t, f, p)[name], p)
		require.NoError(t, err)
		require.Equal(t, string(one), string(two))
	}
}

func TestProvenanceGoldens(t *testing.T) {
	f := chicago(t)
	for name, a := range map[string]Act{
		"create": {Activity: "CREATE", At: f.clock(t, "2026-10-01 15:00"), Targets: []string{"CarePlan/case-1/_history/1", "Task/task-1/_history/1"}, Sources: []string{"Appointment/a/_history/1", "Procedure/o/_history/2"}, Protocol: "http://hospital.example/fhir/PlanDefinition/kept|1"},
		"time": {Activity: "UPDATE", Why: "time passed", At: f.clock(t, "2026-11-24 00:00"), Targets: []string{"Task/task-1/_history/2"},
			Told:     map[string]Told{"Task/task-1/_history/2": {Rule: "Due Mon 23 Nov 2026 (7 days before surgery).", Sources: []readiness.Source{{Text: "A rule of the hospital", Mark: "common-practice"}}}},
			Protocol: "http://hospital.example/fhir/PlanDefinition/kept|1"},
	} {
		t.Run(name, func(t *testing.T) {
			body, err := f.Provenance(a)
			require.NoError(t, err)
			r := parse(t, body)
			golden(t, "provenance/"+name+".json", pretty(t, body))
			require.Equal(t, len(a.Targets), r.Get("target").Len())
			require.Equal(t, len(a.Sources), r.Get("entity").Len())
			for _, e := range r.Get("entity").Items() {
				require.Equal(t, "source", e.String("role"))
			}
		})
	}
}

// A sheet is read back from what a client would get.
func TestSheet(t *testing.T) {
	f, p := chicago(t), keptProtocol(t)
	v := view(t, f, p, "2026-11-26 09:00", func(b *Booking) { b.Case.Booked = f.clock(t, "2026-11-26 08:00") })
	carePlan, err := f.CarePlan(v, p)
	require.NoError(t, err)
	var tasks [][]byte
	for n := range v.Plan.Items {
		r := rowOf(t, f, &v.Plan.Items[n], nil)
		task, err := f.Task(r, TaskMeta{ID: v.Tasks[n], CaseID: "case-1", Version: 1, Updated: f.clock(t, "2026-11-26 09:00")}, p)
		require.NoError(t, err)
		body, err := fhir.Marshal(task)
		require.NoError(t, err)
		tasks = append(tasks, body)
	}
	s, err := f.Sheet(carePlan, tasks)
	require.NoError(t, err)
	require.Equal(t, "Readiness plan: left hip replacement. Day of surgery: Monday 30 November 2026, anaesthesia from 07:30 CST.", s.Headline)
	require.Equal(t, "State: on-track. 5 steps apply; for 1 more something must be known first.\nTo find out: whether the person has pets at home."+
		"\nBooked on Thu 26 Nov 2026, 4 days before surgery: 1 step is later than usual and is asked for as soon as possible. Surgery needs by Fri 27 Nov 2026 “The visit”."+
		"\nThe booked day can still be met if all that surgery needs is done in time.", s.State)
	require.Contains(t, s.Notice, ExampleNotice)
	lines := map[string]SheetLine{}
	for _, l := range s.Lines {
		lines[l.Step] = l
	}
	visit := lines["The visit"]
	require.Equal(t, "task-1", visit.TaskID)
	require.Equal(t, []string{"Primary care", "Sat 31 Oct 2026", "Mon 23 Nov 2026", "Mon 30 Nov 2026 07:30 CST", "due", "as soon as possible; by Sun 29 Nov 2026, to leave time for what follows"},
		[]string{visit.Who, visit.Opens, visit.Due, visit.Last, visit.State, visit.Remark})
	require.True(t, visit.Asked)
	require.NotEmpty(t, visit.Rule)

	pets := lines["The pets"]
	require.Equal(t, "as soon as possible; needs to know whether the person has pets at home", pets.Remark)
	require.False(t, pets.Asked)

	call := lines["The call"]
	require.Equal(t, date(t, "2026-11-27"), call.DueDay)
	require.True(t, f.clock(t, "2026-11-27 17:00").Equal(call.DueAt))
	require.Empty(t, lines["Practise"].Opens, "it waits for another")

	_, err = f.Sheet([]byte("{"), nil)
	require.Error(t, err)
	_, err = f.Sheet(carePlan, [][]byte{[]byte("{}")})
	require.Error(t, err)
}

package translate

import (
	"bytes"
	"fmt"
	"testing"
	"text/tabwriter"

	"example.org/countback/pkg/readiness"
)

// The whole plan of one case, for a reader to check against the protocol's
// table. Every step that asks about something applies here, one medicine stands
// for all, and every event was raised on Thu 12 Nov 2026 at 10:00.
func TestWholePlan(t *testing.T) {
	p, f := defaultProtocol(t), chicago(t)
	c := f.hipOn(t, onS)
	c.Facts = allFacts(p)
	c.Repeats = map[string][]string{}
	for n := range p.Steps {
		if s := &p.Steps[n]; s.RepeatFor != "" {
			c.Repeats[s.RepeatFor] = []string{"one"}
		}
		if s := &p.Steps[n]; s.Trigger != "" {
			c.Raised = append(c.Raised, readiness.Raised{Trigger: s.Trigger, Key: "event", At: f.clock(t, "2026-11-12 10:00")})
		}
	}
	pl := readiness.Make(&c, p.Protocol, f.Calendar, f.clock(t, "2026-10-01 09:00"))
	var b bytes.Buffer
	fmt.Fprintf(&b, "Surgery %s, booked Thu 1 Oct 2026, home %s, state %s, next change %s\n\n",
		readiness.Moment{Day: pl.Day, At: pl.Start}.Words(), pl.Discharge.Words(), pl.State, pl.NextChange.Format("2006-01-02 15:04"))
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "STEP\tWHO\tNEED\tOPENS\tDUE\tLAST\tSTATE\tEXPIRES\tON HOLD")
	for n := range pl.Items {
		i := &pl.Items[n]
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", i.Step.Code, i.Step.Performers[0].Role, need(i.Step),
			orDash(i.Opens), orDash(i.Due), orDash(i.Last), i.State, expires(i.Step.Expiry), onHold(i.Step))
	}
	w.Flush()
	b.WriteString("\nRules as they are told:\n\n")
	for n := range pl.Items {
		fmt.Fprintf(&b, "%s: %s\n", pl.Items[n].Step.Code, p.Why(&pl.Items[n]))
	}
	golden(t, "plan-2026-11-30.golden", b.Bytes())
}

func orDash(m readiness.Moment) string {
	if m.IsZero() {
		return "-"
	}
	return m.Words()
}

func need(s *readiness.Step) string {
	out := map[readiness.Need]string{
		readiness.Must: "must", readiness.MustToLeave: "must before leaving", readiness.Should: "should", readiness.Could: "could",
	}[s.Need]
	if s.Fixed {
		out += ", fixed"
	}
	if s.Condition != nil {
		out += " if " + s.Condition.Text
	}
	return out
}

func expires(e readiness.Expiry) string {
	out := map[readiness.ExpiryKind]string{
		readiness.NeverExpires: "never", readiness.ThisDate: "this date", readiness.OwnEndDate: "own end date",
		readiness.ExpiresAfter: fmt.Sprintf("%d days", e.Days),
	}[e.Kind]
	for _, v := range e.VoidedBy {
		out += " or new " + v
	}
	return out
}

func onHold(s *readiness.Step) string {
	if s.PausesOnHold {
		return "pause"
	}
	return "go on"
}
